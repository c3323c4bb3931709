"""One engine with its whole history as a file, version 4: what may be in it.

As version 3 (see ``v3``), but a reason that the program gave is stored as codes: why a bore was skipped or a value set
aside, what a waiver passed over, why the first hardware is on record, and where a meter's repeatability comes from.
``static/exchange/engine-4.schema.json`` is the JSON Schema. A file of this version must be read for ever: what a later
version needs goes into models of its own.
"""

from typing import Annotated, Literal

from pydantic import Field

from app.shop.exchange.versions import v1 as v1
from app.shop.exchange.versions import v2 as v2
from app.shop.exchange.versions import v3 as v3
from app.shop.exchange.versions.v3 import Bank, Check, Correction, Engine, Layout, Move, Part, Round, SignOff, whole

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
    "from_v2",
    "from_v3",
    "whole",
]

CODED = (
    "Words as typed, or `codes:` and a JSON array of reasons. A reason is an array of its code and an object of its "
    "values, which may be reasons or arrays of them."
)
Coded = Annotated[str, Field(max_length=4000, description=CODED)]


class Meter(v3.Meter):
    """An instrument that a visit was read with; step and range in its own unit."""

    repeatability_from: Coded


class Fitting(v3.Fitting):
    """What was fitted from a time on."""

    why: Coded


class Reading(v3.Reading):
    """One meter value at one bore, or word that it was skipped or set aside."""

    why: Coded


class Override(v3.Override):
    """Word that a phase was waived with something missing; ``gate`` names the one thing when it was not all of it."""

    missing: Coded


class Visit(Part):
    """One time the engine was worked on, with everything recorded then; ``changed`` names what was since the last."""

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
    version: Literal[4]
    exported_at: v1.Time
    engine: Engine
    meters: v1.Many[Meter]
    fittings: Annotated[v1.Many[Fitting], Field(min_length=1)]
    visits: v1.Many[Visit]


def from_v3(file: v3.EngineFile) -> EngineFile:
    """A file of version 3 as one of this version: its words stay words."""
    return EngineFile.model_validate({**file.model_dump(mode="json"), "version": 4})


def from_v2(file: v2.EngineFile) -> EngineFile:
    """A file of version 2 as one of this version, by way of version 3."""
    return from_v3(v3.from_v2(file))


def from_v1(file: v1.EngineFile) -> EngineFile:
    """A file of version 1 as one of this version, by way of versions 2 and 3."""
    return from_v2(v2.from_v1(file))
