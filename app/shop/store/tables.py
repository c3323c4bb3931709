"""The tables, as SQLModel classes. ``migrations/`` makes them; nothing here creates or changes a table.

Every table is STRICT. Times are ISO 8601 text in UTC. Hardware is in base units; a reading is as the meter showed it.

Rows of every table but ``engine`` are never changed or deleted (triggers see to it): a correction is a new row that
names the one it supersedes. ``key`` is made by the writer, so that the same write sent twice is stored once;
``payload`` is a hash of what was sent under it.
"""

from sqlalchemy import REAL, CheckConstraint, Text, UniqueConstraint
from sqlmodel import Field

from app.shop.store.access import pairing_rows, program_rows  # noqa: F401
from app.shop.store.access.people_rows import Person as Person
from app.shop.store.access.people_rows import PinTry as PinTry
from app.shop.store.access.people_rows import Tablet as Tablet
from app.shop.store.access.site_rows import RoomRow as RoomRow
from app.shop.store.access.site_rows import SiteRow as SiteRow
from app.shop.store.engine_events import EngineEvent as EngineEvent
from app.shop.store.engine_events import StopEnd as StopEnd
from app.shop.store.findings import FindingRow as FindingRow
from app.shop.store.handing import tables as handing_tables  # noqa: F401
from app.shop.store.live import tables as live_tables  # noqa: F401
from app.shop.store.proof import proved_rows as proved_rows
from app.shop.store.rows import STRICT
from app.shop.store.rows import Evidence as Evidence
from app.shop.store.rows import Row as Row
from app.shop.store.rows import metadata as metadata

REFERENCE = "reference IS NULL OR (reference = 'absolute' AND quantity = 'vacuum')"
POWER_OFF = "power_off IS NULL OR power_off = 1"
SD = "sd IS NULL OR (sd > 0 AND sd < 1 AND value IS NOT NULL)"
TAKEN_BACK = "taken_back IS NULL OR (taken_back = 1 AND supersedes_id IS NOT NULL)"


class Engine(Row, table=True):
    """An engine and whom it belongs to. The one table whose rows may change; ``version`` counts the changes."""

    __table_args__ = (STRICT,)
    serial: str = Field(sa_type=Text)
    serial_folded: str = Field(sa_type=Text, unique=True)
    description: str = Field(sa_type=Text)
    displacement: float = Field(sa_type=REAL)
    displacement_unit: str = Field(sa_type=Text)
    customer: str = Field(sa_type=Text)
    vehicle: str = Field(sa_type=Text)
    idle_speed: float = Field(sa_type=REAL)
    registered_at: str = Field(sa_type=Text, index=True)
    version: int = 1


class Fitting(Evidence, table=True):
    """What is fitted to an engine from ``at`` on: layout and hardware as JSON (see ``fittings``)."""

    __table_args__ = (UniqueConstraint("engine_id", "number"), STRICT)
    engine_id: int = Field(foreign_key="engine.id", ondelete="RESTRICT")
    number: int
    layout: str = Field(sa_type=Text)
    hardware: str = Field(sa_type=Text)
    why: str = Field(sa_type=Text)
    at: str = Field(sa_type=Text)


class Practice(Evidence, table=True):
    """Word that an engine is simulated, for training. What it is follows from ``seed`` and ``trouble`` (see
    ``app.sync.simulation.simulator``); where it stands, from the readings and moves of its visits."""

    __table_args__ = (UniqueConstraint("engine_id"), STRICT)
    engine_id: int = Field(foreign_key="engine.id", ondelete="RESTRICT")
    seed: int
    trouble: str = Field(sa_type=Text)
    at: str = Field(sa_type=Text)


class MeterRow(Evidence, table=True):
    """An instrument of the shop. ``step``, ``low`` and ``high`` are in its own unit.

    ``reference``: ``absolute`` for a column that counts from nothing; None for one from the day's air, and for flow.
    ``site_id`` is whose it is, None for a meter of all sites.
    """

    __tablename__ = "meter"
    __table_args__ = (CheckConstraint(REFERENCE, name="reference"), STRICT)
    name: str = Field(sa_type=Text)
    quantity: str = Field(sa_type=Text)
    unit: str = Field(sa_type=Text)
    step: float = Field(sa_type=REAL)
    low: float = Field(sa_type=REAL)
    high: float = Field(sa_type=REAL)
    repeatability: float = Field(sa_type=REAL)
    repeatability_from: str = Field(sa_type=Text)
    reference: str | None = Field(default=None, sa_type=Text)
    site_id: int | None = None


class Setup(Evidence, table=True):
    """One version of settings, as JSON; the newest holds, at a site with versions of its own the newest of those.

    ``brought`` is 1 where it came along with a visit of another shop.
    """

    __table_args__ = (STRICT,)
    said: str = Field(sa_type=Text)
    why: str = Field(sa_type=Text)
    by: str = Field(sa_type=Text)
    at: str = Field(sa_type=Text)
    site_id: int | None = None
    brought: int | None = None


class Study(Evidence, table=True):
    """A study of a meter: one bore read again and again, or, with ``other_id``, bores read with both meters.

    ``place``: at which engine and bore. ``second_place`` and ``second_by``: where and by whom its second half is read.
    """

    __table_args__ = (STRICT,)
    meter_id: int = Field(foreign_key="meter.id", ondelete="RESTRICT")
    other_id: int | None = Field(default=None, foreign_key="meter.id", ondelete="RESTRICT")
    place: str = Field(sa_type=Text)
    by: str = Field(sa_type=Text)
    at: str = Field(sa_type=Text)
    second_place: str | None = Field(default=None, sa_type=Text)
    second_by: str | None = Field(default=None, sa_type=Text)


class StudyReading(Evidence, table=True):
    """One value of a study, in the meter's unit. ``place`` counts readings, or bores of a comparison, from 1."""

    __tablename__ = "study_reading"
    __table_args__ = (UniqueConstraint("supersedes_id"), STRICT)
    study_id: int = Field(foreign_key="study.id", ondelete="RESTRICT", index=True)
    meter_id: int = Field(foreign_key="meter.id", ondelete="RESTRICT")
    place: int
    value: float = Field(sa_type=REAL)
    by: str = Field(sa_type=Text)
    at: str = Field(sa_type=Text)
    supersedes_id: int | None = Field(default=None, foreign_key="study_reading.id", ondelete="RESTRICT")


class MeterDue(Evidence, table=True):
    """The day on which a meter is to be checked next (ISO); the newest row of a meter counts."""

    __tablename__ = "meter_due"
    __table_args__ = (STRICT,)
    meter_id: int = Field(foreign_key="meter.id", ondelete="RESTRICT")
    due: str = Field(sa_type=Text)
    why: str = Field(sa_type=Text)
    by: str = Field(sa_type=Text)
    at: str = Field(sa_type=Text)


class Visit(Evidence, table=True):
    """One time the engine is worked on. ``setup`` is the version of the settings it is judged by, None the defaults.

    ``changed`` names what was changed since the last sign-off, with commas between. ``runs`` says whether the engine
    ran as it came in, None where that was not asked. ``meter_own``, ``meter_low`` and
    ``meter_limit`` are what its meter had repeated in the visits before, None where those tell too little. ``intake``
    is the code of what sat on the intakes while they were read, ``intake_note`` what a person wrote; None where it
    was not told. ``site_id`` is where it was opened, None in a shop without sites.
    """

    __table_args__ = (UniqueConstraint("engine_id", "number"), STRICT)
    engine_id: int = Field(foreign_key="engine.id", ondelete="RESTRICT")
    fitting_id: int = Field(foreign_key="fitting.id", ondelete="RESTRICT")
    meter_id: int = Field(foreign_key="meter.id", ondelete="RESTRICT")
    number: int
    place: str = Field(sa_type=Text)
    job: str = Field(sa_type=Text)
    why: str = Field(sa_type=Text)
    by: str = Field(sa_type=Text)
    opened_at: str = Field(sa_type=Text, index=True)
    setup: int | None = None
    changed: str | None = Field(default=None, sa_type=Text)
    runs: str | None = Field(default=None, sa_type=Text)
    meter_own: float | None = Field(default=None, sa_type=REAL)
    meter_low: float | None = Field(default=None, sa_type=REAL)
    meter_limit: float | None = Field(default=None, sa_type=REAL)
    intake: str | None = Field(default=None, sa_type=Text)
    intake_note: str | None = Field(default=None, sa_type=Text)
    site_id: int | None = None


class RoundRow(Evidence, table=True):
    """A round: every bore in turn. ``opening`` is what holds the central lever off its rest [m], 0 at idle.

    ``from_above`` is 1 where the lever was opened further first and brought back, None where it was opened up to there.
    """

    __tablename__ = "round"
    __table_args__ = (
        CheckConstraint("from_above IS NULL OR (from_above = 1 AND opening > 0)", name="from_above"),
        UniqueConstraint("visit_id", "number"),
        STRICT,
    )
    visit_id: int = Field(foreign_key="visit.id", ondelete="RESTRICT")
    phase: str = Field(sa_type=Text)
    number: int
    opening: float = Field(sa_type=REAL)
    begun_at: str = Field(sa_type=Text, index=True)
    from_above: int | None = None


class ReadingRow(Evidence, table=True):
    """One meter value at one bore, or word that the bore was skipped (no value, a reason).

    A live value has ``sd``, its standard error as a fraction, and a ``look``; ``speed`` [rev/s] where one was told.
    ``fixed``: by a sensor that stays at its bore; ``alike``: by what those differ, as compared.
    """

    __tablename__ = "reading"
    __table_args__ = (
        CheckConstraint("(kind = 'skip') = (value IS NULL)", name="skip_has_no_value"),
        CheckConstraint("kind IN ('turn', 'closing', 'again', 'skip')", name="kind"),
        CheckConstraint("value IS NULL OR value BETWEEN 0 AND 100000", name="value"),
        CheckConstraint(SD, name="sd"),
        CheckConstraint("speed > 0", name="speed"),
        CheckConstraint("fixed IS NULL OR (fixed IN (0, 1) AND value IS NOT NULL)", name="fixed"),
        CheckConstraint("alike IS NULL OR (alike >= 0 AND fixed = 1)", name="alike"),
        UniqueConstraint("supersedes_id"),
        STRICT,
    )
    round_id: int = Field(foreign_key="round.id", ondelete="RESTRICT", index=True)
    bore: int
    kind: str = Field(sa_type=Text)
    value: float | None = Field(default=None, sa_type=REAL)
    unit: str = Field(sa_type=Text)
    why: str = Field(default="", sa_type=Text)
    by: str = Field(sa_type=Text)
    at: str = Field(sa_type=Text, index=True)
    supersedes_id: int | None = Field(default=None, foreign_key="reading.id", ondelete="RESTRICT")
    sd: float | None = Field(default=None, sa_type=REAL)
    look_id: int | None = None
    speed: float | None = Field(default=None, sa_type=REAL)
    fixed: int | None = None
    alike: float | None = Field(default=None, sa_type=REAL)


class OpeningSpeed(Evidence, table=True):
    """How fast the engine runs in a round off idle [rev/s], the lever on its feeler; ``after_move`` as of a finding."""

    __tablename__ = "opening_speed"
    __table_args__ = (CheckConstraint("speed > 0", name="speed"), UniqueConstraint("supersedes_id"), STRICT)
    round_id: int = Field(foreign_key="round.id", ondelete="RESTRICT", index=True)
    speed: float = Field(sa_type=REAL)
    after_move: int
    by: str = Field(sa_type=Text)
    at: str = Field(sa_type=Text)
    supersedes_id: int | None = Field(default=None, foreign_key="opening_speed.id", ondelete="RESTRICT")


class MoveRow(Evidence, table=True):
    """One adjustment actually made. ``amount`` is in turns, flats, or meters of feeler, by ``kind``: turns of a stop
    screw or of a coupler's own screw are positive inward, those of a bypass screw outward. Which kinds there are is
    known to ``app.sync.engine.adjusters``, not to the table.

    ``after_reading`` is the visit's newest reading when the move was stored (0 for none): it places the move among the
    readings without asking a clock. A row that supersedes another keeps its place, and is what was really done;
    with ``taken_back`` 1 it says that nothing was, None otherwise. ``power_off`` 1: it was confirmed that throttles
    which motors move had no power, and that their maker's instructions allow it.
    """

    __tablename__ = "move"
    __table_args__ = (
        CheckConstraint("kind <> ''", name="kind"),
        CheckConstraint(TAKEN_BACK, name="taken_back"),
        CheckConstraint(POWER_OFF, name="power_off"),
        UniqueConstraint("supersedes_id"),
        STRICT,
    )
    visit_id: int = Field(foreign_key="visit.id", ondelete="RESTRICT", index=True)
    phase: str = Field(sa_type=Text)
    kind: str = Field(sa_type=Text)
    bank: str = Field(sa_type=Text)
    near: int | None = None
    far: int | None = None
    amount: float = Field(sa_type=REAL)
    leaves: str = Field(sa_type=Text)
    advised: int
    after_reading: int
    by: str = Field(sa_type=Text)
    at: str = Field(sa_type=Text, index=True)
    supersedes_id: int | None = Field(default=None, foreign_key="move.id", ondelete="RESTRICT")
    taken_back: int | None = None
    power_off: int | None = None


class CheckRow(Evidence, table=True):
    """One thing that a phase asks for, as recorded: ``number`` in the item's own unit.

    ``text`` takes an item back, or says when a figure was read that was entered later. ``after_move`` is the visit's
    newest move when the check was stored (0 for none).
    """

    __tablename__ = "check"
    __table_args__ = (UniqueConstraint("supersedes_id"), STRICT)
    visit_id: int = Field(foreign_key="visit.id", ondelete="RESTRICT", index=True)
    phase: str = Field(sa_type=Text)
    item: str = Field(sa_type=Text)
    number: float | None = Field(default=None, sa_type=REAL)
    text: str = Field(default="", sa_type=Text)
    after_move: int
    by: str = Field(sa_type=Text)
    at: str = Field(sa_type=Text, index=True)
    supersedes_id: int | None = Field(default=None, foreign_key="check.id", ondelete="RESTRICT")


class Override(Evidence, table=True):
    """Word that a phase was passed with something missing, by whom and why. ``missing`` says what, as it was then.
    ``gate`` names the one thing that was waived when it was not the whole phase. ``opened-by-mistake``, it stands for
    the whole visit: nothing was recorded in it, and it was ended.
    """

    __table_args__ = (STRICT,)
    visit_id: int = Field(foreign_key="visit.id", ondelete="RESTRICT", index=True)
    phase: str = Field(sa_type=Text)
    missing: str = Field(sa_type=Text)
    why: str = Field(sa_type=Text)
    gate: str | None = Field(default=None, sa_type=Text)
    by: str = Field(sa_type=Text)
    at: str = Field(sa_type=Text)


class SignOff(Evidence, table=True):
    """A named person's word that the engine is fit to leave. It ends the visit.

    One stored with a waiver ``opened-by-mistake`` only ends it: ``name`` are the initials of who said so.

    ``after_study`` is the newest reading of any meter's study by then: the visit stays judged by what was known.
    """

    __tablename__ = "sign_off"
    __table_args__ = (UniqueConstraint("visit_id"), STRICT)
    visit_id: int = Field(foreign_key="visit.id", ondelete="RESTRICT")
    name: str = Field(sa_type=Text)
    at: str = Field(sa_type=Text, index=True)
    after_study: int | None = None


class Correction(Evidence, table=True):
    """Word that something recorded was wrong, after the sign-off. The rows stored with it supersede what was wrong.

    ``number`` is the issue of the handover sheet that it makes, from 2. ``after_reading`` and ``after_check`` are the
    visit's newest rows before it (0 for none), so that an earlier issue can be shown as it was.
    """

    __table_args__ = (UniqueConstraint("visit_id", "number"), STRICT)
    visit_id: int = Field(foreign_key="visit.id", ondelete="RESTRICT")
    number: int
    after_reading: int
    after_check: int
    why: str = Field(sa_type=Text)
    by: str = Field(sa_type=Text)
    at: str = Field(sa_type=Text)


class HoursCorrection(Evidence, table=True):
    """Word that a phase of a visit took ``seconds`` in truth, and why its record says otherwise; the newest counts."""

    __tablename__ = "hours_correction"
    __table_args__ = (CheckConstraint("seconds >= 0", name="seconds"), STRICT)
    visit_id: int = Field(foreign_key="visit.id", ondelete="RESTRICT", index=True)
    phase: str = Field(sa_type=Text)
    seconds: float = Field(sa_type=REAL)
    why: str = Field(sa_type=Text)
    by: str = Field(sa_type=Text)
    at: str = Field(sa_type=Text)


EVIDENCE = (
    *("fitting", "meter", "visit", "round", "reading", "opening_speed", "move", "check", "override", "sign_off"),
    *("correction", "engine_event", "stop_end", "hours_correction", "finding"),
    *("study", "study_reading", "meter_due", "setup", "practice", "elsewhere"),
    *("person", "pin_try", "tablet", "feed", "look", "filling", "channel_check", "program", "program_write"),
    *("site", "room"),
)
"""The tables whose rows are only ever added."""
