"""Every adjuster of an engine is of one kind, whatever couples the plates."""

from typing import ClassVar

import pytest

from app.sync.engine.adjusters.kind import Effect, ScrewWithGain
from app.sync.engine.adjusters.registry import adjusters, kind_at, kinds
from app.sync.engine.events import BladeReset, BypassTurn, LinkTurn, Move, ScrewTurn, StopTurn
from app.sync.engine.hardware import Hardware, likely_hardware
from app.sync.engine.layout import Adjuster, Bank, Layout, OtherScrew
from app.sync.engine.units import THOU

MIXED = Layout(
    (Bank("A", (1, 2, 3, 4), 2, 2, ("screw-in", "shaft", "blade")), Bank("B", (5, 6, 7, 8), 6, 6)),
    bypass=frozenset({2, 3}),
)
SCREWS = Layout((Bank("A", (1, 2, 3, 4), 2, 2, ("screw-in", "screw-out", "screw")),))
BLADES = Layout((Bank("A", (1, 2, 3, 4), 1, 1),))


@pytest.mark.parametrize("layout", [MIXED, SCREWS, BLADES], ids=["mixed", "screws", "blades"])
def test_a_kind_holds_the_adjusters_that_it_names_and_no_others(layout: Layout) -> None:
    for adjuster in adjusters(layout):
        holding = [kind for kind in kinds() if kind.holds(layout, adjuster)]
        assert holding == [kind for kind in kinds() if adjuster in kind.adjusters(layout)], adjuster
        assert holding == [kind_at(layout, adjuster)]


class Eccentric(ScrewWithGain):
    """A screw of which it is told here which way it opens."""

    slug, positive, most = "eccentric", "out", 1.0
    effect: ClassVar[Effect] = "turns plates"
    opens: ClassVar[int]

    def size(self, hardware: Hardware) -> float:
        return 0.02

    def way(self, layout: Layout, adjuster: Adjuster) -> int:
        return self.opens


@pytest.mark.parametrize(("opens", "gap"), [(1, 0.0006), (0, 0.0006), (-1, -0.0006)])
def test_a_screw_of_which_the_way_is_not_known_is_counted_as_one_that_opens(opens: int, gap: float) -> None:
    """By hand: 0.02 rad a turn, and 0.03 m of gap a radian."""
    screw = type("Told", (Eccentric,), {"opens": opens})()
    found = screw.gap_per_unit(BLADES, likely_hardware(2e-3, 4), OtherScrew("eccentric", 2), 0.03)
    assert found == pytest.approx(gap)


@pytest.mark.parametrize(
    ("move", "amount"),
    [
        (StopTurn("A", 0.25, 0.0), 0.25),
        (LinkTurn("A", 1.5, 0.0), 1.5),
        (BypassTurn(3, -0.5, 0.0), -0.5),
        (ScrewTurn(2, 3, 0.125, 0.0), 0.125),
        (BladeReset(2, 3, 5 * THOU, (3 * THOU, 2 * THOU), 0.0), 5 * THOU),
    ],
)
def test_a_move_was_made_by_the_amount_of_its_kind(move: Move, amount: float) -> None:
    assert move.amount == amount
