"""The advice comes to an end on engines that answer with another law than its own."""

import pytest

from tests.benchmarks.unlike import LAYOUTS, MOST_MOVES, visit


@pytest.mark.parametrize(
    ("layout", "seed", "known"),
    [("6, one bank", 5, True), ("6, one bank", 10, True), ("12, two banks", 115, False)],  # these once went to and fro
)
def test_no_stop_screw_is_turned_again_unseen_and_the_visit_ends(layout: str, seed: int, known: bool) -> None:
    ended = visit(LAYOUTS[layout], seed, known)
    assert ended.again == 0
    assert 0 < ended.moves < MOST_MOVES / 2
    assert ended.worst <= 0.10
