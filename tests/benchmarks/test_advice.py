"""The bench itself: same seeds, same figures, and advice that is worth having on a few engines of the tuning set."""

import statistics

import pytest

from app.sync.engine.layout import Bank, Layout
from tests.benchmarks import lessons
from tests.benchmarks.advice import Outcome, cold_line, one_cold, one_engine
from tests.benchmarks.engine import Imperfections, SimulatedEngine, layout_of
from tests.benchmarks.people import adviser

SEEDS = (3003, 3005, 3008)


def test_the_same_engine_goes_the_same_way_twice() -> None:
    one, same = (one_engine(3008, "adviser", 4, 1, Imperfections()) for _ in range(2))
    assert one == same


def test_following_the_advice_evens_engines_and_takes_longer_than_knowing_every_plate() -> None:
    advised = [one_engine(seed, "adviser", 8, 2, Imperfections()) for seed in SEEDS]
    known = [one_engine(seed, "oracle", 8, 2, Imperfections()) for seed in SEEDS]
    assert statistics.median(o.minutes for o in advised) > statistics.median(o.minutes for o in known)
    assert all(o.said.startswith("done") and o.within(0.12) for o in advised)


def test_plates_set_cold_save_hot_minutes_and_end_as_even() -> None:
    def ended(plates_set: bool) -> list[Outcome]:
        return [one_cold(seed, 8, 2, Imperfections(), False, plates_set) for seed in SEEDS]

    usual, cold = ended(False), ended(True)
    assert all(one.cold_minutes == pytest.approx(13.4) and one.said.startswith("done") for one in cold)
    assert all(one.cold_minutes == 0.0 for one in usual)
    assert statistics.median(o.minutes for o in cold) < statistics.median(o.minutes for o in usual)
    assert statistics.mean(o.worst_at_first for o in cold) < 0.5 * statistics.mean(o.worst_at_first for o in usual)
    assert all(one.within(0.1) for one in cold)
    assert cold_line("8", cold).split()[:3] == ["8", "3", "13.4"]


def test_a_visit_taught_by_another_is_the_same_engine_with_the_same_hands() -> None:
    usual, taught = lessons.one_engine(3002, 4, 1, same_meter=True)
    assert usual.worst_at_first == taught.worst_at_first
    assert taught.said.startswith("done")


ALONE = Layout((Bank("A", (1,), 1, 1),))
PAIR = Layout((Bank("A", (1,), 1, 1), Bank("B", (2,), 2, 2)))


@pytest.mark.parametrize("layout", [ALONE, PAIR, layout_of(2, 1), layout_of(10, 2)])
def test_advice_comes_to_an_end_on_any_layout(layout: Layout) -> None:
    assert adviser(SimulatedEngine(layout, 3001)).startswith(("done", "cannot"))
