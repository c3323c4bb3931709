"""What a phase is made of: the things it asks for, its steps and cautions, by place and by the parts of an engine.

Everything here is a rule or a code. The words are in ``app.wording.work.phases`` and ``app.wording.work.safety``.
"""

from collections.abc import Collection, Mapping
from dataclasses import dataclass
from typing import Literal

from app.shop.procedure.codes import CautionCode, StepCode
from app.shop.procedure.parts import Part
from app.shop.reasons import Reason, because
from app.shop.record.measures import Quantity, Units
from app.shop.rejections import Rejection
from app.sync.engine.adjusters.kind import AdjusterKind
from app.sync.engine.adjusters.registry import kind_of, kinds
from app.sync.engine.layout import Layout

Place = Literal["test cell", "vehicle", "telephone"]
PLACES: tuple[Place, ...] = ("test cell", "vehicle", "telephone")

Stops = Literal["", "oil pressure at the start", "oil pressure when hot", "coolant", "oil", "head"]


ON_SCREEN: Mapping[str, str] = {"rev/min": "rpm"}
"""Units that records and the interface call by another name than pages and paper."""


@dataclass(frozen=True, slots=True)
class Item:
    """One thing to record. A ``number`` lies within ``low`` and ``high`` in ``unit``; a ``tick`` is done or not.

    ``required`` cannot be waived. ``fresh`` counts only when recorded after the last move. ``before_running`` comes
    ahead of the readings. ``when`` limits the item to engines that have the part, and ``where`` to the places it makes
    sense in. ``stops`` names the shop's limit beyond which the phase stops. A figure ``over_time`` is asked for again
    and again, and every one counts. Outside the places of ``needed`` it is recorded where there is a gauge, and not
    missed where there is none. One that is ``no_longer`` asked for is shown where it was recorded once, and one that
    stands ``aside`` is asked for elsewhere than on the checklist. A ``quantity`` is shown and typed in the unit that
    the shop chose for it, and recorded in ``unit``. At the places of ``first_at`` it comes ahead of the readings
    although it is not ``before_running``.

    ``ahead``: the engine is not read before it, though it may be waived. ``at_start``: it is looked at right after the
    start, and recorded once everything that comes before the key is. ``after`` names items of the phase that come
    before it. ``apart``: it is ticked on its own, never with others by one tap. ``puts_back`` names the item of an
    earlier phase that unplugged, held, removed or led something away; this one is asked for where that was ticked. A
    figure of one with ``choices`` is the place of one of them; ``offers`` are usual figures, for a tap each. Hands are
    at the linkage for one with the ``engine_off``.
    """

    slug: str
    kind: Literal["tick", "number"] = "tick"
    unit: str = ""
    low: float = 0.0
    high: float = 0.0
    required: bool = False
    fresh: bool = False
    before_running: bool = True
    when: Part = "always"
    where: tuple[Place, ...] = PLACES
    stops: Stops = ""
    over_time: bool = False
    needed: tuple[Place, ...] = PLACES
    quantity: Quantity | None = None
    aside: bool = False
    no_longer: bool = False
    first_at: tuple[Place, ...] = ()
    ahead: bool = False
    at_start: bool = False
    after: tuple[str, ...] = ()
    apart: bool = False
    puts_back: str = ""
    choices: tuple[str, ...] = ()
    offers: tuple[float, ...] = ()
    engine_off: bool = False

    def comes_first(self, place: str) -> bool:
        """Whether it comes ahead of the readings at that place."""
        return self.before_running or place in self.first_at

    @property
    def in_a_row(self) -> bool:
        """Whether it may be ticked with its neighbors by one tap: something to look at before the engine is read."""
        return self.kind == "tick" and self.before_running and not self.apart and bool(self.needed)

    def unit_in(self, units: Units) -> str:
        """The unit it is shown and typed in."""
        return units.of(self.quantity).name if self.quantity else ON_SCREEN.get(self.unit, self.unit)

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
class Step:
    """One thing to do, at engines that have the part ``when`` and do not have ``unless``."""

    code: StepCode
    when: Part = "always"
    unless: Part | None = None


@dataclass(frozen=True, slots=True)
class Caution:
    """One hazard, at the places ``where`` and at engines that have the part ``when`` and do not have ``unless``."""

    code: CautionCode
    where: tuple[Place, ...] = PLACES
    when: Part = "always"
    unless: Part | None = None


@dataclass(frozen=True, slots=True)
class Phase:
    """One of the five: its steps in order, the most serious caution first."""

    slug: str
    steps: tuple[Step, ...]
    items: tuple[Item, ...]
    cautions: tuple[Caution, ...]
    rounds: Literal["none", "coarse", "fine", "openings", "last"]
    moves: tuple[str, ...]

    def steps_for(self, parts: Collection[Part]) -> tuple[StepCode, ...]:
        """What to do in this phase at an engine that has those parts."""
        return tuple(
            one.code for one in self.steps if one.when in parts and (one.unless is None or one.unless not in parts)
        )

    def may_move(self, kind: AdjusterKind) -> bool:
        """Whether adjusters of that kind are moved in this phase: those of ``moves``, and where bores are evened every
        one that acts at idle."""
        return kind.slug in self.moves or (self.rounds == "fine" and kind.at_idle)

    def moves_for(self, layout: Layout) -> tuple[str, ...]:
        """Slugs of the kinds of adjuster that are moved in this phase and that an engine has, those of ``moves`` in
        their order first."""
        named = [kind_of(slug) for slug in self.moves]
        further = [kind for kind in kinds() if kind not in named and self.may_move(kind)]
        return tuple(kind.slug for kind in (*named, *further) if kind.adjusters(layout))

    def cautions_at(self, place: str, parts: Collection[Part]) -> tuple[CautionCode, ...]:
        """What to beware of in this phase at that place and at an engine that has those parts."""
        return tuple(
            one.code
            for one in self.cautions
            if place in one.where and one.when in parts and (one.unless is None or one.unless not in parts)
        )
