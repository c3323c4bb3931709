"""One engine with its whole history as a file, version 3: what may stand in it.

As version 2 (see ``v2``), and whether a round's opening was reached from above, and screws of further kinds,
which are left out where an engine has none: which kinds there are is known to ``app.sync.engine.adjusters``.
``static/exchange/engine-3.schema.json`` is the JSON Schema. A file of this version must be read for ever: what a later
version needs goes into models of its own.
"""

from typing import Annotated, Any, Literal

from pydantic import AfterValidator, Field, SerializerFunctionWrapHandler, model_serializer

from app.shop.exchange.versions import v1 as v1
from app.shop.exchange.versions import v2 as v2
from app.shop.exchange.versions.v2 import (
    Bank,
    Check,
    Correction,
    Engine,
    Meter,
    Override,
    Part,
    Reading,
    SignOff,
    whole,
)
from app.sync.engine.adjusters.registry import kind_of, kinds

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


def _known(slug: str) -> str:
    try:
        return kind_of(slug).slug
    except KeyError:
        raise ValueError("a kind of adjuster that this program knows belongs here") from None


def _kinds(schema: dict[str, Any]) -> None:
    schema["enum"] = [kind.slug for kind in kinds()]


Kind = Annotated[str, AfterValidator(_known), Field(json_schema_extra=_kinds)]
EXTRA = "Bores with a screw of a further kind, by the slug of the kind; left out where there is none."


class Layout(v2.Layout):
    """Where the bores sit and what hangs them together.

    ``sensor`` is the bore of the throttle sensor, ``springless`` are bores whose plate has no return spring of its own,
    ``bypass`` those with a bypass screw; ``plenum`` says whether a common plenum joins the runners.
    """

    extra: Annotated[dict[str, v1.Many[v1.Bore]], Field(default_factory=dict, description=EXTRA)]

    @model_serializer(mode="wrap")
    def _without_nothing(self, handler: SerializerFunctionWrapHandler) -> dict[str, Any]:
        said: dict[str, Any] = handler(self)
        return said if self.extra else {name: value for name, value in said.items() if name != "extra"}


class Fitting(v2.Fitting):
    """What was fitted from a time on."""

    layout: Layout


class Move(Part):
    """One adjustment made: turns, flats, or metres of blade, by kind; the leaves of a blade in metres.

    Turns of a stop screw or of a coupler's screw are positive inward, those of a bypass screw outward.
    """

    key: v1.Key
    payload: v1.Hash
    phase: v1.Slug
    kind: Kind
    bank: Annotated[str, Field(max_length=10)]
    near: v1.Bore | None
    far: v1.Bore | None
    amount: v1.Real
    leaves: Annotated[str, Field(max_length=200, pattern=r"^[0-9eE+\-. ]*$")]
    advised: bool
    after_reading: v1.Key | None
    by: v1.Text
    at: v1.Time
    supersedes: v1.Key | None


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
    version: Literal[3]
    exported_at: v1.Time
    engine: Engine
    meters: v1.Many[Meter]
    fittings: Annotated[v1.Many[Fitting], Field(min_length=1)]
    visits: v1.Many[Visit]


def from_v2(file: v2.EngineFile) -> EngineFile:
    """A file of version 2 as one of this version: nothing was reached from above yet."""
    said = file.model_dump(mode="json")
    visits = [{**v, "rounds": [{**one, "from_above": False} for one in v["rounds"]]} for v in said["visits"]]
    return EngineFile.model_validate({**said, "version": 3, "visits": visits})


def from_v1(file: v1.EngineFile) -> EngineFile:
    """A file of version 1 as one of this version, by way of version 2."""
    return from_v2(v2.from_v1(file))
