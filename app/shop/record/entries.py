"""The entries that a record is made of: what each row of evidence says, as frozen values.

An entry has the columns of its table under their own names, ``ident`` for the primary key; rows of the database never
leave ``store`` and the loader. What a row means is told in ``store.tables``.
"""

from dataclasses import dataclass, fields
from typing import Any, NamedTuple, TypeVar

E = TypeVar("E", bound="Entry")


class Repeats(NamedTuple):
    """How a meter repeats, as fractions of a reading: as its studies saw it, and the limit that it is judged by."""

    seen: float
    judged: float


ABSOLUTE = "absolute"
"""The reference of a pressure meter that counts from nothing and not from the day's air."""


@dataclass(frozen=True, slots=True)
class Entry:
    """What every entry has: its primary key, the key under which it was written, and a hash of what was sent."""

    ident: int
    key: str
    payload: str

    @classmethod
    def of(cls: type[E], row: Any) -> E:
        """The entry that a stored row says: any object with these attributes."""
        return cls(*(getattr(row, name) for name in names_of(cls)))

    @property
    def id(self) -> int:
        """The primary key, as templates that also show rows ask for it."""
        return self.ident


def names_of(kind: type[Entry]) -> tuple[str, ...]:
    """The fields of an entry, in their order."""
    return tuple(one.name for one in fields(kind))


def columns_of(kind: type[Entry]) -> tuple[str, ...]:
    """The columns of its table that hold them."""
    return tuple("id" if name == "ident" else name for name in names_of(kind))


@dataclass(frozen=True, slots=True)
class EngineEntry(Entry):
    """An engine's facts: displacement [m3], wanted idle speed [rev/s]."""

    serial: str
    serial_folded: str
    description: str
    displacement: float
    displacement_unit: str
    customer: str
    vehicle: str
    idle_speed: float
    registered_at: str
    version: int


@dataclass(frozen=True, slots=True)
class FittingEntry(Entry):
    """What is fitted from ``at`` on; layout and hardware as JSON text."""

    engine_id: int
    number: int
    layout: str
    hardware: str
    why: str
    at: str


@dataclass(frozen=True, slots=True)
class MeterEntry(Entry):
    """A meter; ``step``, ``low`` and ``high`` in its own unit."""

    name: str
    quantity: str
    unit: str
    step: float
    low: float
    high: float
    repeatability: float
    repeatability_from: str
    reference: str | None
    site_id: int | None

    @property
    def absolute(self) -> bool:
        """Whether it shows pressure itself and not what is missing to the day's air."""
        return self.reference == ABSOLUTE

    @property
    def estimate(self) -> Repeats:
        """What is taken for its repeatability before a study."""
        return Repeats(self.repeatability, self.repeatability)

    @property
    def unit_name(self) -> str:
        """Its unit as it is shown."""
        return f"{self.unit} abs." if self.absolute else self.unit


@dataclass(frozen=True, slots=True)
class VisitEntry(Entry):
    """The visit as it was opened."""

    engine_id: int
    fitting_id: int
    meter_id: int
    number: int
    place: str
    job: str
    why: str
    by: str
    opened_at: str
    setup: int | None
    changed: str | None
    runs: str | None
    meter_own: float | None
    meter_low: float | None
    meter_limit: float | None
    intake: str | None
    intake_note: str | None
    site_id: int | None


@dataclass(frozen=True, slots=True)
class RoundEntry(Entry):
    """The head of a round; ``opening`` [m] under the central lever, 0 at idle."""

    visit_id: int
    phase: str
    number: int
    opening: float
    begun_at: str
    from_above: int | None


@dataclass(frozen=True, slots=True)
class SpeedEntry(Entry):
    """How fast the engine ran in a round off idle [rev/s]; a row of the table ``opening_speed``."""

    round_id: int
    speed: float
    after_move: int
    by: str
    at: str
    supersedes_id: int | None


@dataclass(frozen=True, slots=True)
class MoveEntry(Entry):
    """An adjustment made; ``amount`` in turns, flats or meters by ``kind``. ``taken_back`` 1: it was not made.

    ``power_off`` 1: the throttles had no power then.
    """

    visit_id: int
    phase: str
    kind: str
    bank: str
    near: int | None
    far: int | None
    amount: float
    leaves: str
    advised: int
    after_reading: int
    by: str
    at: str
    supersedes_id: int | None
    taken_back: int | None
    power_off: int | None = None


@dataclass(frozen=True, slots=True)
class CheckEntry(Entry):
    """An item recorded; ``number`` in the item's own unit."""

    visit_id: int
    phase: str
    item: str
    number: float | None
    text: str
    after_move: int
    by: str
    at: str
    supersedes_id: int | None


@dataclass(frozen=True, slots=True)
class WaiverEntry(Entry):
    """A phase, or one gate of it, waived with a reason; a row of the table ``override``."""

    visit_id: int
    phase: str
    missing: str
    why: str
    gate: str | None
    by: str
    at: str


@dataclass(frozen=True, slots=True)
class EngineEventEntry(Entry):
    """Word that the engine was ``started`` or ``stopped``."""

    visit_id: int
    what: str
    after_reading: int
    after_check: int
    by: str
    at: str


@dataclass(frozen=True, slots=True)
class StopEndEntry(Entry):
    """What ended the stops of every check up to ``after_check``: cause and remedy."""

    visit_id: int
    after_check: int
    cause: str
    cause_text: str
    remedy: str
    by: str
    at: str


@dataclass(frozen=True, slots=True)
class ElsewhereEntry(Entry):
    """Word that a visit belongs to another ``store`` until its sign-off, or with ``away`` 0 that it no longer does."""

    visit_id: int
    store: str
    away: int
    by: str
    at: str


@dataclass(frozen=True, slots=True)
class SignOffEntry(Entry):
    """The sign-off."""

    visit_id: int
    name: str
    at: str
    after_study: int | None


@dataclass(frozen=True, slots=True)
class CorrectionEntry(Entry):
    """A correction after the sign-off."""

    visit_id: int
    number: int
    after_reading: int
    after_check: int
    why: str
    by: str
    at: str


@dataclass(frozen=True, slots=True)
class MeterReading(Entry):
    """One value as the meter showed it, or word that the bore was skipped: a row of the table ``reading``."""

    round_id: int
    bore: int
    kind: str
    value: float | None
    unit: str
    why: str
    by: str
    at: str
    supersedes_id: int | None
    sd: float | None = None
    look_id: int | None = None
    speed: float | None = None
    fixed: int | None = None
    alike: float | None = None
