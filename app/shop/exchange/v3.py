"""One engine with its whole history as a file, version 3: what may stand in it.

As version 2 (see ``exchange_v2``), and whether a round's opening was reached from above.
``static/exchange/engine-3.schema.json`` is the JSON Schema. A file of this version must be read for ever: what a later
version needs goes into models of its own.
"""

from typing import Annotated, Literal

from pydantic import Field

from app.shop.exchange import v1 as v1
from app.shop.exchange import v2 as v2
from app.shop.exchange.v2 import (
    Bank,
    Check,
    Correction,
    Engine,
    Fitting,
    Layout,
    Meter,
    Move,
    Override,
    Part,
    Reading,
    SignOff,
    whole,
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
    "from_v2",
    "whole",
]


class Round(v1.Round):
    """One pass over the bores; ``opening`` in metres, 0 at idle.

    ``from_above`` says whether the lever was opened further first and brought back; never at idle.
    """

    from_above: bool


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
    rounds: list[Round]
    readings: list[Reading]
    moves: list[Move]
    checks: list[Check]
    overrides: list[Override]
    sign_off: SignOff | None
    corrections: list[Correction]


class EngineFile(Part):
    """The whole file."""

    format: Literal["evenbore-engine"]
    version: Literal[3]
    exported_at: v1.Time
    engine: Engine
    meters: list[Meter]
    fittings: Annotated[list[Fitting], Field(min_length=1)]
    visits: list[Visit]


def from_v2(file: v2.EngineFile) -> EngineFile:
    """A file of version 2 as one of this version: nothing was reached from above yet."""
    said = file.model_dump(mode="json")
    visits = [{**v, "rounds": [{**one, "from_above": False} for one in v["rounds"]]} for v in said["visits"]]
    return EngineFile.model_validate({**said, "version": 3, "visits": visits})


def from_v1(file: v1.EngineFile) -> EngineFile:
    """A file of version 1 as one of this version, by way of version 2."""
    return from_v2(v2.from_v1(file))
