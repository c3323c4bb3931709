"""One engine with its whole history as a file, version 2: what may stand in it.

As version 1 (see ``v1``), and how neighbouring plates are joined, which bores have a bypass screw, whether a
common plenum joins the runners, turns of a coupler's own screw, and meters that read in cfm.
``static/exchange/engine-2.schema.json`` is the JSON Schema. A file of this version must be read for ever: what a later
version needs goes into models of its own.
"""

from typing import Annotated, Any, Literal

from pydantic import Field

from app.shop.exchange.versions import v1 as v1
from app.shop.exchange.versions.v1 import (
    Bore,
    Check,
    Correction,
    Engine,
    Figure,
    Hash,
    Key,
    Number,
    Override,
    Part,
    Real,
    Round,
    Short,
    SignOff,
    Size,
    Slug,
    Text,
    Time,
)

__all__ = [
    "Bank",
    "Check",
    "Correction",
    "Engine",
    "EngineFile",
    "Fitting",
    "Layout",
    "Meter",
    "Move",
    "Override",
    "Part",
    "Reading",
    "Round",
    "SignOff",
    "Visit",
    "from_v1",
]

Unit = Literal["kg/h", "cfm", "kPa", "inHg", "mmHg"]
JOINTS = "Each bore to the next one, front first; empty where every joint is a coupler reset on a blade."


class Meter(Part):
    """An instrument that a visit was read with; step and range in its own unit."""

    key: Key
    payload: Hash
    name: Short
    quantity: Literal["flow", "vacuum"]
    unit: Unit
    step: Size
    low: Real
    high: Real
    repeatability: Size
    repeatability_from: Text


class Bank(v1.Bank):
    """One line of bores, front first, with the bores its stop screw and its link act at, and how they are joined."""

    joints: Annotated[
        v1.Many[Literal["blade", "screw", "screw-in", "screw-out", "shaft"]], Field(max_length=11, description=JOINTS)
    ]


class Layout(Part):
    """Where the bores sit and what hangs them together.

    ``sensor`` is the bore of the throttle sensor, ``springless`` are bores whose plate has no return spring of its own,
    ``bypass`` those with a bypass screw; ``plenum`` says whether a common plenum joins the runners.
    """

    banks: Annotated[v1.Many[Bank], Field(min_length=1, max_length=2)]
    sensor: Bore | None
    springless: v1.Many[Bore]
    bypass: v1.Many[Bore]
    plenum: bool


class Fitting(Part):
    """What was fitted from a time on."""

    key: Key
    payload: Hash
    number: Number
    layout: Layout
    hardware: dict[str, Figure]
    why: Text
    at: Time


class Reading(Part):
    """One meter value at one bore, or word that it was skipped."""

    key: Key
    payload: Hash
    round: Key
    bore: Bore
    kind: Literal["turn", "closing", "again", "skip"]
    value: Annotated[float, Field(ge=0, le=100_000, allow_inf_nan=False)] | None
    unit: Unit
    why: Text
    by: Text
    at: Time
    supersedes: Key | None


class Move(Part):
    """One adjustment made: turns, flats, or metres of blade, by kind; the leaves of a blade in metres.

    Turns of a stop screw or of a coupler's screw are positive inward, those of a bypass screw outward.
    """

    key: Key
    payload: Hash
    phase: Slug
    kind: Literal["stop", "blade", "screw", "link", "bypass"]
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
    rounds: v1.Many[Round]
    readings: v1.Many[Reading]
    moves: v1.Many[Move]
    checks: v1.Many[Check]
    overrides: v1.Many[Override]
    sign_off: SignOff | None
    corrections: v1.Many[Correction]


class EngineFile(Part):
    """The whole file."""

    format: Literal["evenbore-engine"]
    version: Literal[2]
    exported_at: Time
    engine: Engine
    meters: v1.Many[Meter]
    fittings: Annotated[v1.Many[Fitting], Field(min_length=1)]
    visits: v1.Many[Visit]


def whole(layout: dict[str, Any]) -> dict[str, Any]:
    """A layout's JSON with what is left out of it where an engine has not got it."""
    banks = [{"joints": [], **bank} for bank in layout["banks"]]
    return {"bypass": [], "plenum": False, **layout, "banks": banks}


def from_v1(file: v1.EngineFile) -> EngineFile:
    """A file of version 1 as one of this version: it knew couplers on blades only."""
    said = file.model_dump(mode="json")
    fittings = [{**fitting, "layout": whole(fitting["layout"])} for fitting in said["fittings"]]
    return EngineFile.model_validate({**said, "version": 2, "fittings": fittings})
