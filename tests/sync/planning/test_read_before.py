"""When a reading comes before the next move: after a reset in doubt, at a bore that is neither in nor out, and
where one reading alone is far from all others."""

from types import SimpleNamespace
from typing import Any

import pytest

from app.sync.engine.events import BladeReset, Meter, Reading
from app.sync.engine.layout import Bank, Layout
from app.sync.engine.units import THOU
from app.sync.planning.advice import AdviceReason
from app.sync.planning.contradictions import to_read_again
from app.sync.planning.planner import read_before

RESET = BladeReset(2, 3, 4 * THOU, (4 * THOU,), 0.0)


def why(outside: float, told: list[int], events: tuple[Any, ...] = (), read: tuple[int, ...] = ()) -> object:
    """The reason of the reading that comes before a move at bore 4, None where the move comes first."""
    bench: Any = SimpleNamespace(events=events, read=read, told=told, outside=lambda _: outside)
    found = read_before(4, bench)
    return found.why if found is not None else None


@pytest.mark.parametrize(
    ("told", "asked"), [([], True), ([4], True), ([4, 4], False), ([4, 4, 4], False), ([3, 3, 3, 4], True)]
)
def test_a_bore_that_is_neither_in_nor_out_is_read_twice_and_then_moved(told: list[int], asked: bool) -> None:
    assert (why(0.5, told) is AdviceReason.DOUBTFUL) is asked


@pytest.mark.parametrize(("outside", "asked"), [(0.1, False), (0.2, True), (0.8, True), (0.9, False)])
def test_a_bore_that_is_surely_in_or_surely_out_is_not_read_again(outside: float, asked: bool) -> None:
    """Surely means in seven of eight cases (our judgement)."""
    assert (why(outside, []) is AdviceReason.DOUBTFUL) is asked


def test_after_a_reset_its_own_bore_is_read_once_where_it_may_have_missed() -> None:
    assert why(0.3, [4, 4], (RESET,)) is AdviceReason.AFTER_MOVE
    assert why(0.3, [4, 4], (RESET,), read=(3,)) is None
    assert why(0.2, [4, 4], (RESET,)) is None


FOUR = Layout((Bank("A", (1, 2, 3, 4), 1, 1),))


def shown(*values: float) -> list[Reading]:
    """Bores 1, 2, ... read in turn [kg/h]."""
    return [Reading(bore, value / 3600, 20.0 * bore) for bore, value in enumerate(values, 1)]


@pytest.mark.parametrize(
    ("before", "since", "asked"),
    [
        (shown(6.5, 6.5, 8.5, 6.5), shown(38), (1,)),  # more than 3 times the others, which were not read since
        (shown(6.5, 6.5, 8.5, 6.5), shown(1), (1,)),
        (shown(6.5, 6.5, 8.5, 6.5), shown(15), ()),  # a move may do that
        (shown(6.5, 6.5, 8.5, 6.5), [*shown(38), *shown(38)], ()),  # twice alike
        (shown(1, 6.5, 6.5, 6.5), shown(1), ()),  # it stood there before
        ([], shown(38), ()),  # far from what?
    ],
)
def test_after_a_move_a_reading_far_from_all_others_is_taken_twice(
    before: list[Reading], since: list[Reading], asked: tuple[int, ...]
) -> None:
    """What is far: ``MISREAD_TIMES`` (our judgement)."""
    found = to_read_again(FOUR, Meter(), since, before)
    assert (found.bores if found is not None else ()) == asked
