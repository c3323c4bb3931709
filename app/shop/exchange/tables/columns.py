"""The columns of the tables, with the type, the unit and the meaning of each: what the data dictionary says.

A column that was published keeps its name and its place; new ones are added at the end.
"""

from collections.abc import Iterable
from dataclasses import dataclass
from typing import Any, Literal

from app.shop.cross_check.findings import CANNOT, CAUTIONS_MISSED, REPAIRED
from app.shop.cross_check.findings import TAKEN_BACK as FINDING_BACK
from app.shop.procedure.items import PLACES
from app.shop.record.rounds import UNITS
from app.shop.record.visit_record import PHASE_ORDER
from app.sync.diagnosis.measurements import FindingKind
from app.sync.engine.adjusters.registry import kinds
from app.sync.estimation.evenness import BoreVerdict

Kind = Literal["string", "integer", "number", "boolean", "datetime"]

LOCAL = "%Y-%m-%d %H:%M:%S"
"""A time as spreadsheets take it for one: in the shop computer's own zone, to the second."""

YES, NO = "yes", "no"


VERDICTS = {
    BoreVerdict.EVEN: "even",
    BoreVerdict.OPEN: "more air",
    BoreVerdict.CLOSED: "less air",
    BoreVerdict.AT_LIMIT: "not sure",
}
"""What a table says of a bore's air: never the meter's words, which turn round with a vacuum meter."""


@dataclass(frozen=True, slots=True)
class Column:
    """One column. ``unit`` is a unit, or ``column:NAME`` for what stands in that column of the same row; ``filled``
    where no cell is empty."""

    name: str
    kind: Kind
    about: str
    unit: str = ""
    filled: bool = False
    one_of: tuple[str, ...] = ()

    def field(self) -> dict[str, Any]:
        """The column as a field of a Table Schema (Data Package 2.0), with ``unit`` beside its own properties."""
        said: dict[str, Any] = {"name": self.name, "type": self.kind, "description": self.about}
        if self.kind == "datetime":
            said["format"] = LOCAL if self.name.endswith("_local") else "default"
        if self.kind == "boolean":
            said |= {"trueValues": [YES], "falseValues": [NO]}
        if self.unit:
            said["unit"] = self.unit
        limits = {"required": True} if self.filled else {}
        return said | {"constraints": {**limits, **({"enum": list(self.one_of)} if self.one_of else {})}}


def names(of: Iterable[Column]) -> tuple[str, ...]:
    """The names of columns, the head of their table."""
    return tuple(column.name for column in of)


ENGINE = Column("engine", "string", "Serial of the engine, the only one of the shop.", filled=True)
VISIT = Column("visit", "integer", "Number of the visit, counted for each engine from 1.", filled=True)
PHASE = Column("phase", "string", "Phase that it belongs to.", filled=True, one_of=PHASE_ORDER)
PLACE = Column("place", "string", "Where the engine was worked on.", filled=True, one_of=PLACES)
JOB = Column("job", "string", "Job number of the visit, as typed.")
OPENED = Column("opened_at", "datetime", "When the visit was opened, UTC.", filled=True)
METER = Column("meter", "string", "Name of the meter of the visit.", filled=True)
BY = Column("by", "string", "Initials of the person who did it.")
AT = Column("at", "datetime", "When, UTC.", filled=True)
AT_LOCAL = Column("at_local", "datetime", "When, in the time zone of the shop computer.", filled=True)
STANDS = Column("stands", "boolean", "Whether the row counts: no later one corrects it or takes it back.", filled=True)

READINGS = (
    VISIT, PLACE, JOB, OPENED, METER,
    Column("round", "integer", "Number of the round, counted for each visit from 1.", filled=True),
    PHASE,
    Column("opening_m", "number", "Feeler under the central lever; 0 at idle.", "m", filled=True),
    Column("bore", "integer", "Bore that was read.", filled=True),
    Column("kind", "string", "Its turn in the round, the bore that closes it, a bore read again, or one skipped.",
           filled=True, one_of=("turn", "closing", "again", "skip")),
    Column("value", "number", "What the meter showed; empty for a bore that was skipped.", "column:unit"),
    Column("unit", "string", "Unit of the value.", filled=True, one_of=tuple(UNITS)),
    STANDS,
    Column("why", "string", "Why the bore was skipped, or an earlier value set aside."),
    BY, AT,
    Column("from_above", "boolean", "Whether the lever was opened further first and closed onto the feeler.",
           filled=True),
    Column("engine_rev_per_min", "integer", "Engine speed of a round off idle.", "rev/min"),
    ENGINE, AT_LOCAL,
    Column("opening_in", "number", "The same feeler as it is marked; 0 at idle.", "in", filled=True),
    Column("verdict", "string", "How the bore's air compares with the average of its round, by the readings since the "
           "last move before it and the tolerance of its phase; empty where the reading does not count, and for the "
           "reading that closes a round.", one_of=tuple(VERDICTS.values())),
    Column("air_percent", "number", "Air of the bore beside the average of its round: 5 for 5 % more.", "%"),
)  # fmt: skip

MOVES = (
    ENGINE, VISIT,
    Column("move", "integer", "The entry's place among those of the visit, from 1.", filled=True),
    PHASE,
    Column("kind", "string", "What was adjusted.", filled=True, one_of=tuple(kind.slug for kind in kinds())),
    Column("bank", "string", "Bank that it was done in."),
    Column("near", "integer", "Bore of the screw, or the bore of a coupler nearer to the bank's stop screw."),
    Column("far", "integer", "The bore beyond a coupler, whose plate is set."),
    Column("amount", "number", "How far. Turns of a screw: positive inward, of a bypass screw outward. Flats of a link "
           "rod: positive opens its bank earlier. A feeler: its thickness.", "column:unit", filled=True),
    Column("unit", "string", "Unit of the amount; a flat is a sixth of a turn.", filled=True,
           one_of=("turns", "flats", "in")),
    Column("advised", "boolean", "Whether it was the advised one.", filled=True),
    STANDS,
    Column("taken_back", "boolean", "Whether the entry says that an earlier one was not made.", filled=True),
    BY, AT, AT_LOCAL,
)  # fmt: skip

CHECKS = (
    ENGINE, VISIT, PHASE,
    Column("item", "string", "Code of the item.", filled=True),
    Column("label", "string", "The item in words."),
    Column("value", "number", "Its figure; empty for an item that is done or not.", "column:unit"),
    Column("unit", "string", "Unit of the figure, as it was recorded; empty for a plain number."),
    Column("choice", "string", "Words of the figure of an item that offers choices."),
    STANDS,
    Column("taken_back", "boolean", "Whether the entry says that an earlier one was a mistake.", filled=True),
    BY, AT, AT_LOCAL,
    Column("read_at", "datetime", "When a figure was read that is recorded again and again, UTC; empty for others."),
)  # fmt: skip

HOURS = (
    ENGINE, VISIT, PHASE,
    Column("recorded_minutes", "number", "Time at the engine by the times of the entries; a silence longer than the "
           "shop's setting is left out.", "min", filled=True),
    Column("minutes", "number", "The time that counts: as corrected by hand, or as recorded. Of the job, however "
           "many people worked on it.", "min", filled=True),
    Column("corrected", "boolean", "Whether it was corrected by hand.", filled=True),
    Column("why", "string", "Why the record says otherwise, as typed."),
    Column("by", "string", "Initials of the person who corrected it."),
    Column("at", "datetime", "When it was corrected, UTC; empty where it was not."),
)  # fmt: skip

FINDINGS = (
    ENGINE, VISIT,
    Column("kind", "string", "The test of the cross-check, or repaired.", filled=True,
           one_of=(*FindingKind, REPAIRED)),
    Column("bore", "integer", "Bore that it is of; empty for a bank or the whole engine."),
    Column("bank", "string", "Bank that it is of; empty for a bore or the whole engine."),
    Column("value", "number", "The figure, as it was entered.", "column:unit"),
    Column("word", "string", "What was seen, or the cause that was repaired."),
    Column("why", "string", "Why there is neither: cannot be made here, an earlier row is taken back, or a trainee "
           "began a test without its cautions.", one_of=(CANNOT, FINDING_BACK, CAUTIONS_MISSED)),
    Column("unit", "string", "Unit of the figure."),
    Column("spread", "number", "One standard deviation where the sender knew it: a share, or in the "
           "unit of a test that is held against others by its difference.", "1"),
    Column("source", "string", "What it was entered with.", filled=True, one_of=("tablet", "json", "csv")),
    STANDS, BY, AT, AT_LOCAL,
)  # fmt: skip

VISITS = (
    ENGINE, VISIT, PLACE, JOB,
    Column("why", "string", "Why the engine came, as typed."),
    OPENED,
    Column("opened_at_local", "datetime", "When it was opened, in the time zone of the shop computer.", filled=True),
    METER,
    Column("meter_unit", "string", "Unit that the meter reads in.", filled=True, one_of=tuple(UNITS)),
    Column("by", "string", "Initials of the person who opened it."),
    Column("signed_at", "datetime", "When it was signed off, UTC; empty while it is open."),
    Column("found_percent", "number", "Largest difference of two bores as found, in per cent of the average.", "%"),
    Column("left_percent", "number", "The same as left; empty while the visit is open.", "%"),
)  # fmt: skip

ENGINES = (
    ENGINE,
    Column("description", "string", "As typed."),
    Column("customer", "string", "As typed."),
    Column("vehicle", "string", "As typed."),
    Column("displacement", "number", "Of the whole engine.", "column:displacement_unit", filled=True),
    Column("displacement_unit", "string", "Unit of the displacement.", filled=True, one_of=("L", "cu in")),
    Column("bores", "integer", "How many bores it has.", filled=True),
    Column("banks", "integer", "How many banks they are in.", filled=True),
    Column("idle_rev_per_min", "number", "The idle speed wanted.", "rev/min", filled=True),
    Column("registered_at", "datetime", "When it was registered, UTC.", filled=True),
)  # fmt: skip
