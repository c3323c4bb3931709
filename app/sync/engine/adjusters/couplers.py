"""Couplers: reset on a feeler, which sets the far plate's gap outright, or set by a screw of their own."""

from collections.abc import Mapping

from app.sync.engine.adjusters.kind import AdjusterKind, ScrewWithGain
from app.sync.engine.events import BladeReset, Move, Place, ScrewTurn
from app.sync.engine.hardware import Hardware
from app.sync.engine.layout import Adjuster, AnyJoint, Coupler, Layout
from app.sync.engine.linkage import coupler_rotation

WAYS: Mapping[AnyJoint, int] = {"screw-in": 1, "screw-out": -1}
"""Which way a coupler's screw, turned in, moves the plates beyond it: opens them, or closes them
(by definition of the words)."""


class _CouplerKind(AdjusterKind):
    """What both kinds have in common: place, reach."""

    def may_be(self, adjuster: Adjuster) -> bool:
        """As in ``AdjusterKind``: which of the two kinds a coupler is, the layout says."""
        return isinstance(adjuster, Coupler)

    def reach(self, layout: Layout, adjuster: Adjuster) -> tuple[int, ...]:
        """As in ``AdjusterKind``: the far bore and all beyond it."""
        assert isinstance(adjuster, Coupler)
        return layout.bank_of(adjuster.near).beyond(adjuster)

    def adjuster(self, place: Place) -> Adjuster:
        """As in ``AdjusterKind``."""
        return Coupler(place.near or 0, place.far or 0)

    def place(self, adjuster: Adjuster) -> Place:
        """As in ``AdjusterKind``."""
        assert isinstance(adjuster, Coupler)
        return Place(near=adjuster.near, far=adjuster.far)


class FeelerCouplerKind(_CouplerKind):
    """A coupler reset with its far plate closed on a feeler [m]."""

    slug = "blade"
    sits = "coupler"
    unit = "leaves"
    effect = "sets a gap"

    def adjusters(self, layout: Layout) -> tuple[Adjuster, ...]:
        """As in ``AdjusterKind``."""
        return tuple(coupler for coupler in layout.couplers() if not layout.by_screw(coupler))

    def holds(self, layout: Layout, adjuster: Adjuster) -> bool:
        """As in ``AdjusterKind``."""
        return isinstance(adjuster, Coupler) and not layout.by_screw(adjuster)

    def move(self, place: Place, amount: float, leaves: tuple[float, ...] = (), at: float = 0.0) -> Move:
        """As in ``AdjusterKind``; the gap is ``amount``, or the leaves together where that is 0."""
        return BladeReset(place.near or 0, place.far or 0, amount or sum(leaves), leaves, at)

    def gap_per_unit(self, layout: Layout, hardware: Hardware, adjuster: Adjuster, rate: float) -> float:
        """As in ``AdjusterKind``: a gap is a gap."""
        return 1.0


class CouplerScrewKind(_CouplerKind, ScrewWithGain):
    """Positive is in, whichever way that opens what lies beyond [turns]."""

    slug = "screw"
    sits = "coupler"
    further = False
    effect = "turns plates"
    common_sd, own_sd = 0.35, 0.10  # our judgement
    sign_known = False

    def adjusters(self, layout: Layout) -> tuple[Adjuster, ...]:
        """As in ``AdjusterKind``: outward from each stop bore."""
        return tuple(coupler for coupler in layout.couplers() if layout.by_screw(coupler))

    def holds(self, layout: Layout, adjuster: Adjuster) -> bool:
        """As in ``AdjusterKind``."""
        return isinstance(adjuster, Coupler) and layout.by_screw(adjuster)

    def move(self, place: Place, amount: float, leaves: tuple[float, ...] = (), at: float = 0.0) -> Move:
        """As in ``AdjusterKind``."""
        return ScrewTurn(place.near or 0, place.far or 0, amount, at)

    def size(self, hardware: Hardware) -> float:
        """As in ``ScrewWithGain``."""
        return coupler_rotation(1.0, hardware)

    def way(self, layout: Layout, adjuster: Adjuster) -> int:
        """As in ``ScrewWithGain``."""
        assert isinstance(adjuster, Coupler)
        return WAYS.get(layout.joint(adjuster), 0)
