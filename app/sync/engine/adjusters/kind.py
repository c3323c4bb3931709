"""What every kind of adjuster says of itself: where it sits, what a move of it is, which bores it acts on, how far."""

import math
from abc import ABC, abstractmethod
from enum import StrEnum
from typing import ClassVar, Literal

from app.sync.engine.events import Move, OtherTurn, Place
from app.sync.engine.hardware import Hardware
from app.sync.engine.layout import Adjuster, Layout, OtherScrew

Sits = Literal["bank", "coupler", "bore"]
"""What names the place of an adjuster: its bank, the two bores of its coupler, or one bore."""

Unit = Literal["turns", "flats", "leaves"]
"""What a move is measured in: turns of a screw, sixths of a turn of a rod, or the leaves of a feeler [m]."""

Way = Literal["in", "out"]

Effect = Literal["turns a bank", "sets a gap", "turns plates", "lets air past", "off idle"]
"""What a move does to the engine.

``turns a bank``: every plate of its bank by an angle that follows from the drawing. ``sets a gap``: one plate to a gap
outright, and what hangs on it along. ``turns plates``: the plates it reaches, by an angle that readings teach. ``lets
air past``: it opens an area beside the plates it reaches, which readings teach too. ``off idle``: nothing at idle.
"""


class ToldBy(StrEnum):
    """What tells two suspects apart that a round at idle cannot."""

    STOP_MARKS = "stop_marks"
    """Paint marks on both stop screws, the throttle position sensor, or a part-throttle round."""
    SAME_METER = "same_meter"
    """The meter of the last visit."""
    BORE_CHECK = "bore_check"
    """A leak test, then a clean plate."""
    BYPASS_COUNT = "bypass_count"
    """The turns of the bypass screw, counted to its seat and back, against those recorded."""
    STOP_TEST = "stop_test"
    """Back the stop screw out 1/8 turn and see whether the bank follows."""
    REREAD = "reread"
    """The bores between them once more."""


class AdjusterKind(ABC):
    """One kind of adjuster. A further kind derives from ``ScrewWithGain`` below, and is told to ``register``.

    slug
        Its name in records, JSON and engine files; never changed once published.
    sits, unit
        What names its place, and what its amount is measured in.
    positive
        Which way a screw of it is turned when its amount is positive.
    most
        The largest amount of one move, either way, in its unit.
    effect
        What it does to the engine.
    at_idle
        Whether it changes how an engine idles: follows from ``effect``.
    slip_share
        How likely it is to have slipped untouched between two visits, against one coupler.
    told_apart_by
        What tells a slip of it from dirt or a leak of the bore that it acts on: see ``app.sync.slips``.
    further
        Whether layouts name its screws under ``extra``, by its slug, and not in a part of their own.
    """

    slug: ClassVar[str]
    sits: ClassVar[Sits]
    unit: ClassVar[Unit] = "turns"
    positive: ClassVar[Way] = "in"
    most: ClassVar[float] = 4.0
    effect: ClassVar[Effect]
    at_idle: ClassVar[bool]
    slip_share: ClassVar[float] = 1.0
    told_apart_by: ClassVar[ToldBy] = ToldBy.BORE_CHECK
    further: ClassVar[bool] = False

    def __init_subclass__(cls) -> None:
        super().__init_subclass__()
        cls.at_idle = getattr(cls, "effect", None) != "off idle"

    @abstractmethod
    def adjusters(self, layout: Layout) -> tuple[Adjuster, ...]:
        """Those of this kind that an engine has, in walking order.

        Parameters: ``layout`` of the engine.
        """

    @abstractmethod
    def may_be(self, adjuster: Adjuster) -> bool:
        """Whether an adjuster is of this kind, as far as that can be told without the engine's layout.

        Parameters: ``adjuster`` of any engine.
        """

    def holds(self, layout: Layout, adjuster: Adjuster) -> bool:
        """Whether an adjuster of an engine is of this kind.

        Parameters: ``layout`` of the engine; ``adjuster`` one of its own.
        """
        return self.may_be(adjuster)

    @abstractmethod
    def reach(self, layout: Layout, adjuster: Adjuster) -> tuple[int, ...]:
        """The bores that it acts on, nearest first for a coupler, front first otherwise.

        Parameters: ``layout`` of the engine; ``adjuster`` of this kind.
        """

    @abstractmethod
    def adjuster(self, place: Place) -> Adjuster:
        """The adjuster at a place.

        Parameters: ``place`` as this kind is placed.
        """

    @abstractmethod
    def place(self, adjuster: Adjuster) -> Place:
        """Where an adjuster sits; the inverse of ``adjuster``.

        Parameters: ``adjuster`` of this kind.
        """

    @abstractmethod
    def move(self, place: Place, amount: float, leaves: tuple[float, ...] = (), at: float = 0.0) -> Move:
        """The move of an adjuster.

        Parameters: ``place`` where it sits; ``amount`` in ``unit``; ``leaves`` [m] of a feeler; ``at`` [s].
        """

    @abstractmethod
    def gap_per_unit(self, layout: Layout, hardware: Hardware, adjuster: Adjuster, rate: float) -> float:
        """Change of edge gap at the bores it acts on, per unit of its amount [m]. Off idle for a link rod.

        Parameters: ``layout`` of the engine; ``hardware`` fitted; ``adjuster`` of this kind; ``rate`` by which a gap
        opens as its plate turns [m/rad].
        """


class ScrewWithGain(AdjusterKind):
    """A screw of which no drawing says what a turn does: a guess to begin with, learned from readings after it was
    turned.

    step
        The smallest turn that is advised.
    common_sd, own_sd
        Relative standard deviation of what a turn does: common to all screws of the kind, and of each alone.
    preset, travel
        Turns from its closed end after the cold preset, and from that end to the other; infinite where neither end is
        met in use.
    sign_known
        Whether it is certain, for every engine, which way it opens.
    """

    sits: ClassVar[Sits] = "bore"
    further: ClassVar[bool] = True
    step: ClassVar[float] = 1 / 16
    common_sd: ClassVar[float] = 0.35
    own_sd: ClassVar[float] = 0.15
    preset: ClassVar[float] = 0.0
    travel: ClassVar[float] = math.inf
    sign_known: ClassVar[bool] = True

    @property
    def has_end(self) -> bool:
        """Whether it meets an end in use, so that it has to be watched how far it can still be turned."""
        return not math.isinf(self.travel)

    @abstractmethod
    def size(self, hardware: Hardware) -> float:
        """What a turn is guessed to do, whichever way: angle of the plates [rad], or area beside them [m2].

        Parameters: ``hardware`` fitted.
        """

    def way(self, layout: Layout, adjuster: Adjuster) -> int:
        """1 where a positive turn opens, -1 where it closes, 0 where that is to be found out.

        Parameters: ``layout`` of the engine; ``adjuster`` of this kind.
        """
        return 1

    def room(self, opened: float) -> tuple[int, int]:
        """How many steps it can still be turned towards its closed end, negative, and towards the other.

        Parameters: ``opened`` turns by which it stands further open than after the preset.
        """
        if not self.has_end:
            most = round(1 / self.step)
            return -most, most
        out = self.preset + opened
        least, most = (-max(int(left / self.step + 1e-6), 0) for left in (out, self.travel - out))
        return least, -most

    def adjusters(self, layout: Layout) -> tuple[Adjuster, ...]:
        """As in ``AdjusterKind``: those that the layout names under this kind's slug."""
        own = {screw.bore: screw for screw in layout.extra if screw.kind == self.slug}
        return tuple(own[bore] for bore in layout.bores if bore in own)

    def may_be(self, adjuster: Adjuster) -> bool:
        """As in ``AdjusterKind``."""
        return isinstance(adjuster, OtherScrew) and adjuster.kind == self.slug

    def reach(self, layout: Layout, adjuster: Adjuster) -> tuple[int, ...]:
        """As in ``AdjusterKind``: its own bore alone."""
        bore = self.place(adjuster).near
        return () if bore is None else (bore,)

    def adjuster(self, place: Place) -> Adjuster:
        """As in ``AdjusterKind``."""
        return OtherScrew(self.slug, place.near or 0)

    def place(self, adjuster: Adjuster) -> Place:
        """As in ``AdjusterKind``."""
        assert isinstance(adjuster, OtherScrew)
        return Place(near=adjuster.bore)

    def move(self, place: Place, amount: float, leaves: tuple[float, ...] = (), at: float = 0.0) -> Move:
        """As in ``AdjusterKind``."""
        return OtherTurn(self.slug, place.near or 0, amount, at)

    def gap_per_unit(self, layout: Layout, hardware: Hardware, adjuster: Adjuster, rate: float) -> float:
        """As in ``AdjusterKind``; where the sign is to be found out, as if a positive turn opened."""
        turns_plates = self.effect == "turns plates"
        per_unit = rate if turns_plates else 2 / (math.pi * hardware.bore_diameter.value)
        return (self.way(layout, adjuster) or 1) * self.size(hardware) * per_unit
