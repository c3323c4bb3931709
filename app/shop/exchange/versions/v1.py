"""One engine with its whole history as a file, version 1: what may stand in it.

The models are the definition; ``static/exchange/engine-1.schema.json`` is their JSON Schema and is handed out by the
server. A file of this version must be read for ever: what a later version needs goes into models of its own.

Rows name one another by key, because ids differ from shop to shop. Readings, moves and checks stand in the order in
which they were stored; a move or check names what was newest when it was stored, null for nothing. Engine and fitting
are in base units (metre, cubic metre, radian, revolutions per second); a reading is in the unit of its meter.

A shop's settings, studies of its meters, people and tablets stay with it: the other shop judges the same readings by
its own.
"""

import re
from datetime import datetime
from typing import Annotated, Literal, TypeVar

from pydantic import AfterValidator, BaseModel, ConfigDict, FailFast, Field


def _moment(text: str) -> str:
    if datetime.fromisoformat(text).tzinfo is None:
        raise ValueError("no offset from UTC")
    return text


UUID = re.compile("[0-9a-f]{8}(-[0-9a-f]{4}){3}-[0-9a-f]{12}")


def _uuid(text: str) -> str:
    if UUID.fullmatch(text) is None:
        raise ValueError("not a UUID in small letters")
    return text


class Part(BaseModel):
    """No field that is not known, no text where a number belongs."""

    model_config = ConfigDict(extra="forbid", strict=True, frozen=True)


Row = TypeVar("Row")
Many = Annotated[list[Row], FailFast()]
"""A list that is looked at up to its first entry that is wrong: thousands of them are not told one by one."""

Key = Annotated[str, AfterValidator(_uuid), Field(json_schema_extra={"format": "uuid"})]
Hash = Annotated[str, Field(max_length=64, description="Hash of what was sent under the key.")]
Time = Annotated[str, AfterValidator(_moment), Field(json_schema_extra={"format": "date-time"})]
Text = Annotated[str, Field(max_length=1000)]
Short = Annotated[str, Field(max_length=120)]
Real = Annotated[float, Field(allow_inf_nan=False)]
Size = Annotated[float, Field(gt=0, allow_inf_nan=False)]
Bore = Annotated[int, Field(ge=1, le=999)]
Number = Annotated[int, Field(ge=1, le=100_000)]
Slug = Literal["cold-preset", "first-fire", "heat-soaked-recheck", "part-throttle-bank-balance", "lock-down"]


class Engine(Part):
    """What the engine is and whose it is: displacement in cubic metres, idle speed in revolutions per second."""

    key: Key
    payload: Hash
    serial: Short
    description: Short
    displacement: Size
    displacement_unit: Literal["L", "cu in"]
    customer: Short
    vehicle: Short
    idle_speed: Size
    registered_at: Time


class Meter(Part):
    """An instrument that a visit was read with; step and range in its own unit."""

    key: Key
    payload: Hash
    name: Short
    quantity: Literal["flow", "vacuum"]
    unit: Literal["kg/h", "kPa", "inHg", "mmHg"]
    step: Size
    low: Real
    high: Real
    repeatability: Size
    repeatability_from: Text


class Bank(Part):
    """One line of bores, front first, with the bores its stop screw and its link act at."""

    name: Annotated[str, Field(min_length=1, max_length=10)]
    bores: Annotated[Many[Bore], Field(min_length=1, max_length=12)]
    stop: Bore
    drive: Bore


class Layout(Part):
    """Where the bores sit; the bore of the throttle sensor; bores whose plate has no return spring of its own."""

    banks: Annotated[Many[Bank], Field(min_length=1, max_length=2)]
    sensor: Bore | None
    springless: Many[Bore]


class Figure(Part):
    """A hardware figure in base units, and whether it was measured on this engine."""

    value: Real
    measured: bool


class Fitting(Part):
    """What was fitted from a time on."""

    key: Key
    payload: Hash
    number: Number
    layout: Layout
    hardware: dict[str, Figure]
    why: Text
    at: Time


class Round(Part):
    """One pass over the bores; ``opening`` in metres, 0 at idle."""

    key: Key
    payload: Hash
    phase: Slug
    number: Number
    opening: Real
    begun_at: Time


class Reading(Part):
    """One meter value at one bore, or word that it was skipped."""

    key: Key
    payload: Hash
    round: Key
    bore: Bore
    kind: Literal["turn", "closing", "again", "skip"]
    value: Annotated[float, Field(ge=0, le=100_000, allow_inf_nan=False)] | None
    unit: Literal["kg/h", "kPa", "inHg", "mmHg"]
    why: Text
    by: Text
    at: Time
    supersedes: Key | None


class Move(Part):
    """One adjustment made: turns, flats, or metres of blade, by kind; the leaves of a blade in metres."""

    key: Key
    payload: Hash
    phase: Slug
    kind: Literal["stop", "blade", "link", "bypass"]
    bank: Annotated[str, Field(max_length=10)]
    near: Bore | None
    far: Bore | None
    amount: Real
    leaves: Annotated[str, Field(max_length=200, pattern=r"^[0-9eE+\-. ]*$")]
    advised: bool
    after_reading: Key | None
    by: Text
    at: Time
    supersedes: Key | None


class Check(Part):
    """One thing that a phase asks for, as recorded, in the item's own unit."""

    key: Key
    payload: Hash
    phase: Slug
    item: Annotated[str, Field(max_length=60)]
    number: Real | None
    text: Text
    after_move: Key | None
    by: Text
    at: Time
    supersedes: Key | None


class Override(Part):
    """Word that a phase was passed with something missing; ``gate`` names the one thing when it was not all of it."""

    key: Key
    payload: Hash
    phase: Slug
    missing: Text
    why: Text
    gate: Short | None
    by: Text
    at: Time


class SignOff(Part):
    """A named person's word that the engine is fit to leave."""

    key: Key
    payload: Hash
    name: Text
    at: Time


class Correction(Part):
    """A new issue of the sheet; it names what was newest before it."""

    key: Key
    payload: Hash
    number: Number
    after_reading: Key | None
    after_check: Key | None
    why: Text
    by: Text
    at: Time


class Visit(Part):
    """One time the engine was worked on, with everything recorded then; ``changed`` names what was since the last."""

    key: Key
    payload: Hash
    fitting: Key
    meter: Key
    number: Number
    place: Literal["test cell", "vehicle", "telephone"]
    job: Short
    why: Short
    by: Short
    opened_at: Time
    changed: Text | None
    rounds: Many[Round]
    readings: Many[Reading]
    moves: Many[Move]
    checks: Many[Check]
    overrides: Many[Override]
    sign_off: SignOff | None
    corrections: Many[Correction]


class EngineFile(Part):
    """The whole file."""

    format: Literal["evenbore-engine"]
    version: Literal[1]
    exported_at: Time
    engine: Engine
    meters: Many[Meter]
    fittings: Annotated[Many[Fitting], Field(min_length=1)]
    visits: Many[Visit]
