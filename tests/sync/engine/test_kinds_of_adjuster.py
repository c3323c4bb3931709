"""Every adjuster of an engine is of one kind, whatever couples the plates."""

import pytest

from app.sync.engine.adjusters.registry import adjusters, kind_at, kinds
from app.sync.engine.layout import Bank, Layout

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
