"""One engine with its whole history as a file, version 5: what may be in it.

As version 4 (see ``v4``), with more units of air flow and pressure, what a pressure meter counts from, what a meter had
repeated before, engines cooled by air or with motors at their plates, what sat on the intakes, moves that were taken
back, how fast the engine ran in a round off idle, its starts and stops, how long phases took where their record says
otherwise, and what a cross-check showed. What was not recorded is left out.
``static/exchange/engine-5.schema.json`` is the JSON Schema. A file of this version must be read for ever: what a later
version needs goes into models of its own.
"""

from typing import Annotated, Any, Literal

from pydantic import Field, SerializerFunctionWrapHandler, model_serializer

from app.shop.exchange.versions import v1 as v1
from app.shop.exchange.versions import v2 as v2
from app.shop.exchange.versions import v3 as v3
from app.shop.exchange.versions import v4 as v4
from app.shop.exchange.versions.v4 import (
    Bank,
    Check,
    Correction,
    Engine,
    Override,
    Part,
    Round,
    SignOff,
    whole,
)
from app.sync.engine.layout import Actuation, Cooling

__all__ = [
    "Bank",
    "Check",
    "Correction",
    "Engine",
    "EngineEvent",
    "EngineFile",
    "Finding",
    "Fitting",
    "HoursCorrection",
    "Layout",
    "Meter",
    "Move",
    "Override",
    "Part",
    "Reading",
    "Round",
    "SignOff",
    "Speed",
    "StopEnd",
    "Visit",
    "from_v1",
    "from_v2",
    "from_v3",
    "from_v4",
    "whole",
]

Unit = Literal["kg/h", "g/s", "cfm", "scfm", "L/min", "kPa", "mbar", "mmHg", "cmHg", "inHg"]
INTAKE = "What sat on the intakes while they were read, as a code; left out where it was not told."
REFERENCE = (
    "`absolute` for a column that shows pressure from nothing; null for one that shows what is missing to the day's "
    "air, and for a flow meter."
)

RUNS = "Whether the engine ran as it came in; left out where that was not asked."
POWER_OFF = "Whether it was confirmed that the throttles had no power then."
SD = "Standard error of a live value as a fraction of it; absent where a person read the meter."
BESIDE = "Engine speed beside the reading, in revolutions per second; absent where no instrument told it."
FIXED = "Whether it came from a sensor that stays at its bore, where other bores have other sensors; absent where not."
ALIKE = (
    "By what those sensors differ, one standard deviation as a fraction of the value, as they were last compared; "
    "absent where they were not."
)
TAKEN_BACK = "Whether nothing was adjusted after all: this entry takes back the one that it supersedes."


COOLING = "What cools the engine; left out for liquid."
ACTUATION = (
    "What opens the plates: motors, one a bank or one a bore, which joins no plate to another; left out for a cable or "
    "linkage."
)


class Layout(v4.Layout):
    """Where the bores sit and what hangs them together.

    ``sensor`` is the bore of the throttle sensor, ``springless`` are bores whose plate has no return spring of its own,
    ``bypass`` those with a bypass screw; ``plenum`` says whether a common plenum joins the runners.
    """

    cooling: Annotated[Cooling, Field(description=COOLING)] = "liquid"
    actuation: Annotated[Actuation, Field(description=ACTUATION)] = "linkage"

    @model_serializer(mode="wrap")
    def _without_nothing(self, handler: SerializerFunctionWrapHandler) -> dict[str, Any]:
        usual = {"extra": {}, "cooling": "liquid", "actuation": "linkage"}
        return {name: value for name, value in handler(self).items() if usual.get(name, ...) != value}


class Fitting(v4.Fitting):
    """What was fitted from a time on."""

    layout: Layout


class Meter(v4.Meter):
    """An instrument that a visit was read with; step and range in its own unit."""

    unit: Unit  # type: ignore[assignment]
    reference: Annotated[Literal["absolute"] | None, Field(description=REFERENCE)]


class Reading(v4.Reading):
    """One meter value at one bore, or word that it was skipped or set aside."""

    unit: Unit  # type: ignore[assignment]
    sd: Annotated[float | None, Field(gt=0, lt=1, description=SD, exclude_if=lambda sd: sd is None)] = None
    speed: Annotated[float | None, Field(gt=0, description=BESIDE, exclude_if=lambda speed: speed is None)] = None
    fixed: Annotated[bool, Field(description=FIXED, exclude_if=lambda fixed: not fixed)] = False
    alike: Annotated[float | None, Field(ge=0, description=ALIKE, exclude_if=lambda alike: alike is None)] = None


class Move(v4.Move):
    """One adjustment made: turns, flats, or metres of blade, by kind; the leaves of a blade in metres.

    Turns of a stop screw or of a coupler's screw are positive inward, those of a bypass screw outward. One that
    supersedes another says how that was really made, or that it was not.
    """

    taken_back: Annotated[bool, Field(description=TAKEN_BACK)] = False
    power_off: Annotated[bool, Field(description=POWER_OFF)] = False


class Speed(Part):
    """How fast the engine ran in a round off idle, in revolutions per second; in the order they were stored."""

    key: v1.Key
    payload: v1.Hash
    round: v1.Key
    speed: v1.Size
    after_move: v1.Key | None
    by: v1.Text
    at: v1.Time
    supersedes: v1.Key | None


LEFT_OUT = frozenset(
    {
        "runs",
        "speeds",
        "intake",
        "intake_note",
        "meter_own",
        "meter_low",
        "meter_limit",
        "engine_events",
        "stop_ends",
        "hours_corrections",
        "findings",
    }
)
"""Parts of a visit that a file does not name where they were not recorded."""

SPEEDS = "Engine speeds off idle; left out where none was recorded."


class EngineEvent(Part):
    """Word that the engine was started or stopped, after the newest reading and check of then."""

    key: v1.Key
    payload: v1.Hash
    what: Literal["started", "stopped"]
    after_reading: v1.Key | None
    after_check: v1.Key | None
    by: v1.Short
    at: v1.Time


class StopEnd(Part):
    """What ended the stops of every check up to ``after_check``: the cause, a code with words to it, and the remedy."""

    key: v1.Key
    payload: v1.Hash
    after_check: v1.Key
    cause: v1.Short
    cause_text: v1.Text
    remedy: v1.Text
    by: v1.Short
    at: v1.Time


class HoursCorrection(Part):
    """Word that a phase took ``seconds`` in truth, and why its record says otherwise; the newest of a phase counts."""

    key: v1.Key
    payload: v1.Hash
    phase: v1.Slug
    seconds: Annotated[v1.Real, Field(ge=0)]
    why: v1.Text
    by: v1.Short
    at: v1.Time


class Finding(Part):
    """What a cross-check showed at a bore, at a bank, or of the engine (neither): a ``value`` in its ``unit``, a
    ``word``, or ``why`` there is none; ``repaired`` has the cause as its word. One that supersedes another takes it
    back."""

    key: v1.Key
    payload: v1.Hash
    bore: v1.Bore | None
    bank: v1.Short
    kind: v1.Short
    value: v1.Real | None
    word: v1.Short | None
    why: v1.Short | None
    unit: v1.Short
    spread: Annotated[float | None, Field(gt=0, allow_inf_nan=False)]
    source: Literal["tablet", "json", "csv"]
    file: v1.Hash | None
    after_reading: v1.Key | None
    after_move: v1.Key | None
    by: v1.Short
    at: v1.Time
    supersedes: v1.Key | None


FINDINGS = "What was measured and seen to find why the engine runs uneven; left out where nothing was."
EVENTS = "Starts and stops of the engine; left out where none was recorded."
STOP_ENDS = "What ended stops for a figure beyond a limit; left out where there was none."
HOURS = "Times of phases that were corrected by hand, in the order they were stored; left out where none was."


class Visit(Part):
    """One time the engine was worked on, with everything recorded then; ``changed`` names what was since the last.

    ``meter_own``, ``meter_low`` and ``meter_limit`` are what its meter had repeated in visits before, as fractions.
    """

    key: v1.Key
    payload: v1.Hash
    fitting: v1.Key
    meter: v1.Key
    number: v1.Number
    place: Literal["test cell", "vehicle", "telephone"]
    job: v1.Short
    why: v1.Short
    by: v1.Short
    opened_at: v1.Time
    changed: v1.Text | None
    runs: Annotated[Literal["runs", "new-throttles", "fresh"] | None, Field(description=RUNS)] = None
    meter_own: Annotated[float | None, Field(ge=0, le=1)] = None
    meter_low: Annotated[float | None, Field(ge=0, le=1)] = None
    meter_limit: Annotated[float | None, Field(ge=0, le=1)] = None
    intake: Annotated[v1.Short | None, Field(description=INTAKE)] = None
    intake_note: v1.Short | None = None
    rounds: v1.Many[Round]
    readings: v1.Many[Reading]
    speeds: Annotated[v1.Many[Speed], Field(default_factory=list, description=SPEEDS)]
    moves: v1.Many[Move]
    checks: v1.Many[Check]
    overrides: v1.Many[Override]
    sign_off: SignOff | None
    corrections: v1.Many[Correction]
    engine_events: Annotated[v1.Many[EngineEvent], Field(default_factory=list, description=EVENTS)]
    stop_ends: Annotated[v1.Many[StopEnd], Field(default_factory=list, description=STOP_ENDS)]
    hours_corrections: Annotated[v1.Many[HoursCorrection], Field(default_factory=list, description=HOURS)]
    findings: Annotated[v1.Many[Finding], Field(default_factory=list, description=FINDINGS)]

    @model_serializer(mode="wrap")
    def _without_nothing(self, handler: SerializerFunctionWrapHandler) -> dict[str, Any]:
        return {name: value for name, value in handler(self).items() if value or name not in LEFT_OUT}


class EngineFile(Part):
    """The whole file."""

    format: Literal["evenbore-engine"]
    version: Literal[5]
    exported_at: v1.Time
    engine: Engine
    meters: v1.Many[Meter]
    fittings: Annotated[v1.Many[Fitting], Field(min_length=1)]
    visits: v1.Many[Visit]


def from_v4(file: v4.EngineFile) -> EngineFile:
    """A file of version 4 as one of this version: every column counted from the day's air."""
    said = file.model_dump(mode="json")
    meters = [{**meter, "reference": None} for meter in said["meters"]]
    return EngineFile.model_validate({**said, "version": 5, "meters": meters})


def from_v3(file: v3.EngineFile) -> EngineFile:
    """A file of version 3 as one of this version, by way of version 4."""
    return from_v4(v4.from_v3(file))


def from_v2(file: v2.EngineFile) -> EngineFile:
    """A file of version 2 as one of this version, by way of versions 3 and 4."""
    return from_v3(v3.from_v2(file))


def from_v1(file: v1.EngineFile) -> EngineFile:
    """A file of version 1 as one of this version, by way of versions 2 to 4."""
    return from_v2(v2.from_v1(file))
