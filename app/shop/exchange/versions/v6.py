"""One engine with its whole history as a file, version 6: what may be in it.

As version 5 (see ``v5``), with the settings that visits are judged by, and a seal of every part whose row was proved
when the file was made, so that what changed or went missing on the way shows. Nothing of a seal names an id of a shop,
so that another shop can prove it and makes the same one of the same part.
``static/exchange/engine-6.schema.json`` is the JSON Schema. A file of this version must be read for ever: what a later
version needs goes into models of its own.
"""

from typing import Annotated, Any, Literal

from pydantic import Field, JsonValue, SerializerFunctionWrapHandler, model_serializer

from app.shop.exchange.versions import v1 as v1
from app.shop.exchange.versions import v2 as v2
from app.shop.exchange.versions import v3 as v3
from app.shop.exchange.versions import v4 as v4
from app.shop.exchange.versions import v5 as v5
from app.shop.exchange.versions.v5 import (
    Bank,
    Check,
    Correction,
    Engine,
    EngineEvent,
    Finding,
    Fitting,
    HoursCorrection,
    Layout,
    Meter,
    Move,
    Override,
    Part,
    Reading,
    Round,
    SignOff,
    Speed,
    StopEnd,
    whole,
)

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
    "PartSeal",
    "Reading",
    "Round",
    "SettingsVersion",
    "SignOff",
    "Speed",
    "StopEnd",
    "Visit",
    "from_v1",
    "from_v2",
    "from_v3",
    "from_v4",
    "from_v5",
    "whole",
]

SAID = (
    "The settings by name, in base units; one that is left out is at the default. People and the letterhead stay with "
    "the shop."
)
JUDGED = "Key of the settings that it is judged by; left out for the defaults."
SEALS = (
    "A seal for each entry with a key, but the engine, whose row was proved when the file was made; an entry without "
    "one was not."
)
SEAL = (
    "SHA-256 of the entry as JSON in ASCII, keys sorted, `, ` and `: ` between; of a visit without its lists, its "
    "sign-off and what is null."
)


class SettingsVersion(Part):
    """One version of a shop's settings that a visit is judged by."""

    key: v1.Key
    payload: v1.Hash
    said: Annotated[dict[str, JsonValue], Field(description=SAID)]
    at: v1.Time


class PartSeal(Part):
    """The seal of one entry."""

    key: v1.Key
    seal: Annotated[str, Field(pattern="^[0-9a-f]{64}$", description=SEAL)]


class Visit(v5.Visit):
    """One time the engine was worked on, with everything recorded then; ``changed`` names what was since the last.

    ``meter_own``, ``meter_low`` and ``meter_limit`` are what its meter had repeated in visits before, as fractions.
    """

    settings: Annotated[v1.Key | None, Field(description=JUDGED)] = None

    @model_serializer(mode="wrap")
    def _without_nothing(self, handler: SerializerFunctionWrapHandler) -> dict[str, Any]:
        left_out = v5.LEFT_OUT | {"settings"}
        return {name: value for name, value in handler(self).items() if value or name not in left_out}


class EngineFile(Part):
    """The whole file."""

    format: Literal["evenbore-engine"]
    version: Literal[6]
    exported_at: v1.Time
    engine: Engine
    meters: v1.Many[Meter]
    settings: v1.Many[SettingsVersion]
    fittings: Annotated[v1.Many[Fitting], Field(min_length=1)]
    visits: v1.Many[Visit]
    seals: Annotated[v1.Many[PartSeal], Field(description=SEALS)]


def from_v5(file: v5.EngineFile) -> EngineFile:
    """A file of version 5 as one of this version: it tells of no settings, and nothing in it has a seal."""
    return EngineFile.model_validate({**file.model_dump(mode="json"), "version": 6, "settings": [], "seals": []})


def from_v4(file: v4.EngineFile) -> EngineFile:
    """A file of version 4 as one of this version, by way of version 5."""
    return from_v5(v5.from_v4(file))


def from_v3(file: v3.EngineFile) -> EngineFile:
    """A file of version 3 as one of this version, by way of versions 4 and 5."""
    return from_v5(v5.from_v3(file))


def from_v2(file: v2.EngineFile) -> EngineFile:
    """A file of version 2 as one of this version, by way of versions 3 to 5."""
    return from_v5(v5.from_v2(file))


def from_v1(file: v1.EngineFile) -> EngineFile:
    """A file of version 1 as one of this version, by way of versions 2 to 5."""
    return from_v5(v5.from_v1(file))
