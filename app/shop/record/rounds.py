"""A round of readings as it was recorded, with what follows from them."""

from collections.abc import Iterator
from dataclasses import dataclass, field, replace
from datetime import datetime
from functools import cached_property, lru_cache
from typing import TYPE_CHECKING, TypeVar

from app.shop.record.entries import MeterReading, RoundEntry, SpeedEntry
from app.shop.record.superseding import current, places
from app.sync.engine.events import Reading
from app.sync.engine.units import FLOW_UNITS, PRESSURE_UNITS
from app.sync.readings.rounds import MOST_OF_A_BORE, last_of_each
from app.sync.readings.speed_law import at_one_speed

if TYPE_CHECKING:
    from _typeshed import DataclassInstance

T = TypeVar("T", bound="DataclassInstance")

UNITS = {**FLOW_UNITS, **PRESSURE_UNITS}
"""What a meter may read in, as multiples of the base unit (by definition)."""


@dataclass(frozen=True)
class Round:
    """A round: every bore in turn, with every reading and every engine speed ever entered in it, oldest first.

    Worked out from those: ``readings`` that count (not superseded, skips left out), each in the place of the one that
    it corrects; ``latest`` of each bore, the drift check apart; ``closing``, the drift check that ended the round;
    ``skipped`` bores, not read after all; ``newest`` id, 0 for none; ``first_rows``, by each row the one that was
    entered first in its place, and ``ended``, the last of those, 0 for none; ``lever``, its opening [m] and whether it
    was reached from above; ``in_question``, pairs of readings of one bore's turn, older first, each entered without
    sight of the other.

    ``idle_held``: a controller may have held the idle, so that engine speed beside the readings says nothing of them.
    """

    row: RoundEntry
    entered: tuple[MeterReading, ...]
    speeds: tuple[SpeedEntry, ...] = ()
    idle_held: bool = True
    readings: tuple[MeterReading, ...] = field(init=False)
    latest: dict[int, MeterReading] = field(init=False)
    closing: MeterReading | None = field(init=False)
    closed: bool = field(init=False)
    skipped: dict[int, MeterReading] = field(init=False)
    newest: int = field(init=False)
    first_rows: dict[int, int] = field(init=False)
    ended: int = field(init=False)
    lever: tuple[float, bool] = field(init=False)
    in_question: tuple[tuple[MeterReading, MeterReading], ...] = field(init=False)

    def __post_init__(self) -> None:
        first_rows, counting = places(self.entered), current(self.entered)
        if len(counting) < len(self.entered):
            counting.sort(key=lambda r: first_rows[r.ident])
        readings = tuple([r for r in counting if r.value is not None])
        closings = [r for r in readings if r.kind == "closing"]
        closing = closings[0] if closings else None
        read = {r.bore for r in readings}
        fill(
            self,
            readings=readings,
            latest={r.bore: r for r in readings if r.kind != "closing"},
            closing=closing,
            closed=closing is not None,
            skipped={r.bore: r for r in counting if r.value is None and r.bore not in read},
            newest=max([r.ident for r in self.entered], default=0),
            first_rows=first_rows,
            ended=max(first_rows.values(), default=0),
            lever=(self.row.opening, bool(self.row.from_above)),
            in_question=tuple(_in_question(readings)),
        )

    def plus(self, new: MeterReading) -> "Round":
        """This round with one more reading. A further one of a bore that was read changes little, and what follows from
        all those before it is not worked out again."""
        if new.kind != "again" or new.supersedes_id is not None or new.bore not in self.latest:
            return replace(self, entered=(*self.entered, new))
        return like(
            self,
            entered=(*self.entered, new),
            readings=(*self.readings, new),
            latest={**self.latest, new.bore: new},
            newest=new.ident,
            first_rows={**self.first_rows, new.ident: new.ident},
            ended=new.ident,
            times=tuple(sorted((*self.times, seconds(new.at)))),
            gone_by=_gone_by((*self.gone_by, new)),
        )

    def held(self, idle_held: bool) -> "Round":
        """This round, with or without a controller that may hold the idle."""
        if idle_held == self.idle_held or all(one.speed is None for one in self.entered):
            return self
        return replace(self, idle_held=idle_held)

    @cached_property
    def times(self) -> tuple[float, ...]:
        """When anything was entered [s], in that order."""
        return tuple(sorted([seconds(row.at) for row in self.entered]))

    @cached_property
    def gone_by(self) -> tuple[MeterReading, ...]:
        """Those of the ``readings`` that are judged: the first, the drift check, and of each bore the last ones."""
        return _gone_by(self.readings)

    @cached_property
    def in_base_units(self) -> tuple[Reading, ...]:
        """The readings ``gone_by`` in base units, as the estimator takes them: a corrected one at the time it was
        taken."""
        firsts = [self.first_rows[row.ident] for row in self.gone_by]
        corrected = firsts != [row.ident for row in self.gone_by]
        taken = {row.ident: row.at for row in (self.entered if corrected else self.gone_by)}
        read = tuple([_reading(row, taken[first]) for row, first in zip(self.gone_by, firsts, strict=True)])
        tells = not self.idle_held and self.row.opening == 0 and {row.unit for row in self.gone_by} <= FLOW_UNITS.keys()
        return at_one_speed(read) if tells else read

    def first_bore(self) -> int | None:
        """The bore read first, which the drift check goes back to; a correction of it changes nothing in that."""
        return next((r.bore for r in self.entered if r.bore in self.latest and r.value is not None), None)


def fill(frozen: object, **values: object) -> None:
    """Set the fields of a frozen value that follow from its others, while it is made."""
    for name, value in values.items():
        object.__setattr__(frozen, name, value)


def like(frozen: T, **values: object) -> T:
    """A copy of a frozen value with other ``values``, all that follow from each other among them: nothing is worked out
    again here. What had been worked out when it was asked for does not go along, unless it is among them."""
    fields = type(frozen).__dataclass_fields__
    made = object.__new__(type(frozen))
    vars(made).update({name: value for name, value in vars(frozen).items() if name in fields}, **values)
    return made


def _gone_by(readings: tuple[MeterReading, ...]) -> tuple[MeterReading, ...]:
    if len(readings) <= MOST_OF_A_BORE:
        return readings
    read = [row.bore for row in readings]
    kept = {0, *last_of_each(read, len(set(read)))}
    return tuple([row for at, row in enumerate(readings) if at in kept or row.kind == "closing"])


def _in_question(readings: tuple[MeterReading, ...]) -> Iterator[tuple[MeterReading, MeterReading]]:
    first: dict[tuple[str, int], MeterReading] = {}
    for reading in readings:
        if reading.kind in ("turn", "closing"):
            older = first.setdefault((reading.kind, reading.bore), reading)
            if older is not reading:
                yield older, reading


@lru_cache(maxsize=8192)
def seconds(at: str) -> float:
    """Seconds of a stored time from a fixed start."""
    return datetime.fromisoformat(at).timestamp()


def _reading(row: MeterReading, taken: str) -> Reading:
    if row.value is None:
        raise ValueError("a skipped bore has no reading")
    value = row.value * UNITS[row.unit]
    at, closes = seconds(taken), row.kind == "closing"
    return Reading(row.bore, value, at, closes, row.sd, row.speed, bool(row.fixed), row.alike)
