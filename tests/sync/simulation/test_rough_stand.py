"""The plates of a rough training engine: even, but for one whose coupler is dead, and that by what was drawn."""

from functools import cache

import numpy as np
import pytest

from app.sync.engine.layout import Bank, Coupler, Layout
from app.sync.engine.units import REV_PER_MIN, THOU
from app.sync.simulation.rough_stand import RoughStand, rough_engine
from app.sync.simulation.simulator import Trouble, usable_for_training

V8 = Layout((Bank("A", (1, 3, 5, 7), stop=3, drive=1), Bank("B", (2, 4, 6, 8), stop=6, drive=2)))
GRADE: Trouble = "rough-easy"


@cache
def seeds(dead: bool) -> list[int]:
    """Of engines whose cause is a dead coupler, or another one."""
    return [seed for seed in range(40) if (rough_engine(V8, seed, GRADE).drawn[0] == "coupler") is dead][:4]


@pytest.mark.parametrize("at", range(4))
def test_every_other_cause_leaves_an_even_engine_that_idles_as_it_should(at: int) -> None:
    stand = RoughStand(V8, seeds(dead=False)[at], trouble=GRADE)
    assert stand.dead is None
    assert stand.worst() < 0.005
    assert stand.fast_by() == pytest.approx(0.0, abs=40 * REV_PER_MIN)  # 5 %


@pytest.mark.parametrize("at", range(4))
def test_a_dead_coupler_leaves_its_own_bore_off_by_what_was_drawn(at: int) -> None:
    stand = RoughStand(V8, seeds(dead=True)[at], trouble=GRADE)
    _, place, size = rough_engine(V8, stand.seed, GRADE).drawn
    assert stand.dead == V8.bores[place]
    flow, _ = stand.solve()
    others = np.delete(flow, place)
    assert flow[place] / others.mean() == pytest.approx(1 + size, rel=1e-3)
    assert np.ptp(others) < 0.01 * others.mean()
    assert stand.worst_at_first == pytest.approx((1 + size) / (1 + size / 8) - 1, rel=0.01)  # beside the mean of all


def test_a_repair_sets_the_plate_to_the_others_and_lets_it_answer_again() -> None:
    stand = RoughStand(V8, seeds(dead=True)[0], trouble=GRADE)
    bore = stand.dead
    assert bore is not None
    stand.repair()
    assert stand.worst() < 0.005
    carrier = V8.bank_of(bore).carrier(bore)
    assert isinstance(carrier, Coupler)
    stand.reset(carrier, (9 * THOU,))
    assert stand.gaps()[stand.place[bore]] == pytest.approx(9 * THOU, abs=2 * THOU)  # five times what hands stray by
    stood = stand.gaps()
    stand.repair()  # nothing is left to repair
    assert np.array_equal(stand.gaps(), stood)


def test_no_bore_on_a_stop_screw_of_its_own_is_drawn() -> None:
    assert rough_engine(V8, 1, GRADE).stops == (1, 6)  # bores 3 and 6, counted from 0 in walking order
    assert rough_engine(V8, 1, GRADE).bores == 8


def test_a_rough_engine_is_worth_training_on_though_it_is_even() -> None:
    stands = [RoughStand(V8, seed, trouble=GRADE) for seed in seeds(dead=False)]
    tame = [stand.gaps().min() >= 2 * THOU and stand.gaps().max() <= 9 * THOU for stand in stands]
    assert [usable_for_training(stand) for stand in stands] == tame
    assert any(tame)
