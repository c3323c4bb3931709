"""What a phase is made of: the things it asks for, its steps and cautions, by place and by the parts of an engine."""

from collections.abc import Collection, Mapping
from dataclasses import dataclass, field
from typing import Literal

from app.shop.procedure.parts import Part
from app.shop.reasons import Reason, because
from app.shop.record.measures import Quantity, Units
from app.shop.rejections import Rejection

Place = Literal["test cell", "vehicle", "telephone"]
PLACES: tuple[Place, ...] = ("test cell", "vehicle", "telephone")

MoveKind = Literal["stop", "blade", "screw", "link", "bypass"]

Stops = Literal["", "oil pressure at the start", "oil pressure when hot", "coolant", "oil"]

DEFER = (
    "The maker's instructions, local codes and the rules of licensed practice come first. "
    "Where they say otherwise, do as they say."
)


@dataclass(frozen=True, slots=True)
class Item:
    """One thing to record. A ``number`` lies within ``low`` and ``high`` in ``unit``; a ``tick`` is done or not.

    ``must`` may not be passed over by an override. ``fresh`` counts only when recorded after the last move.
    ``before_running`` stands ahead of the readings. ``when`` limits the item to engines that have the part, and
    ``where`` to the places it makes sense in. ``stops`` names the shop's limit beyond which the phase stops. A figure
    ``over_time`` is asked for again and again, and every one counts. Outside the places of ``needed`` it is recorded
    where there is a gauge, and not missed where there is none. A ``quantity`` is shown and typed in the unit that the
    shop chose for it, and recorded in ``unit``.
    """

    slug: str
    ask: str
    kind: Literal["tick", "number"] = "tick"
    unit: str = ""
    low: float = 0.0
    high: float = 0.0
    must: bool = False
    fresh: bool = False
    before_running: bool = True
    when: Part = "always"
    where: tuple[Place, ...] = PLACES
    stops: Stops = ""
    over_time: bool = False
    needed: tuple[Place, ...] = PLACES
    quantity: Quantity | None = None

    @property
    def short(self) -> str:
        """The item in two words, for paper."""
        return self.slug.replace("-", " ")

    def unit_in(self, units: Units) -> str:
        """The unit it is shown and typed in."""
        return units.of(self.quantity).name if self.quantity else self.unit

    def shown(self, number: float, units: Units) -> str:
        """A recorded figure of it as it is typed."""
        return units.of(self.quantity).shown(number) if self.quantity else f"{number:g}"

    def says(self, number: float, units: Units) -> str:
        """A recorded figure of it with the unit."""
        return f"{self.shown(number, units)} {self.unit_in(units)}"

    def kept(self, typed: float, units: Units) -> float:
        """A typed figure of it as it is recorded."""
        return units.of(self.quantity).kept(typed) if self.quantity else typed

    def range_in(self, units: Units) -> Reason:
        """What a figure of it may be, as the reason for which others are rejected."""
        low, high = (units.of(self.quantity).figure(n) if self.quantity else n for n in (self.low, self.high))
        return because(Rejection.OUT_OF_RANGE, low=low, high=high, unit=self.unit_in(units))


@dataclass(frozen=True, slots=True)
class Phase:
    """One of the five.

    ``cautions`` stand at every place; ``cautions_in`` adds what one place has and the others have not. ``steps_with``
    and ``cautions_with`` are for engines that have the part.
    """

    slug: str
    title: str
    aim: str
    steps: tuple[str, ...]
    items: tuple[Item, ...]
    cautions: tuple[str, ...]
    rounds: Literal["none", "coarse", "fine", "openings", "last"]
    moves: tuple[MoveKind, ...]
    cautions_in: Mapping[str, tuple[str, ...]] = field(default_factory=dict)
    steps_with: Mapping[Part, tuple[str, ...]] = field(default_factory=dict)
    cautions_with: Mapping[Part, tuple[str, ...]] = field(default_factory=dict)

    def steps_for(self, parts: Collection[Part]) -> tuple[str, ...]:
        """What to do in this phase at an engine that has those parts."""
        return self.steps + tuple(said for part, those in self.steps_with.items() if part in parts for said in those)

    def moves_for(self, parts: Collection[Part]) -> tuple[MoveKind, ...]:
        """The kinds of move that may be made in this phase at an engine that has those parts."""
        needs: dict[MoveKind, Part] = {"blade": "blades", "screw": "screws", "bypass": "bypass", "link": "two banks"}
        return tuple(kind for kind in self.moves if needs.get(kind, "always") in parts)

    def cautions_at(self, place: str, parts: Collection[Part]) -> tuple[str, ...]:
        """What to beware of in this phase at that place and at an engine that has those parts."""
        more = tuple(said for part, those in self.cautions_with.items() if part in parts for said in those)
        return self.cautions + self.cautions_in.get(place, ()) + more
