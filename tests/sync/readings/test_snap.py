"""The snap test: a tight plate passes as often as said, a loose one is found, and the coupler that carries it named."""

import numpy as np
import pytest

from app.sync.engine.events import Meter
from app.sync.engine.layout import Bank, Coupler, Layout
from app.sync.readings.snap import CONFIDENCE, snap, suspects

EIGHT = Layout((Bank("A", (1, 2, 3, 4), 2, 2), Bank("B", (5, 6, 7, 8), 5, 5)), sensor=8, springless=frozenset({1, 5}))
FINE = Meter(step=1e-9, repeatability=0.02)


def test_the_suspects_are_the_springless_and_the_one_with_the_sensor() -> None:
    assert suspects(EIGHT) == (1, 5, 8)
    assert suspects(Layout((Bank("A", (1, 2), 1, 1),))) == ()


@pytest.mark.parametrize(("bore", "coupler"), [(1, Coupler(2, 1)), (8, Coupler(7, 8)), (5, None)])
def test_the_coupler_is_the_one_towards_the_stop_bore(bore: int, coupler: Coupler | None) -> None:
    assert snap(EIGHT, bore, 6.5, [6.5, 6.5, 6.5], FINE).coupler == coupler


def test_a_tight_plate_is_sent_for_a_look_one_time_in_a_hundred() -> None:
    """Readings drawn by the meter's own law: the share found loose is 1 - SURE within four standard errors."""
    rng = np.random.default_rng(5)
    draws = 6.5 * (1 + FINE.repeatability * rng.standard_normal((5_000, 4)))
    share = np.mean([snap(EIGHT, 8, d[0], d[1:], FINE).loose for d in draws.tolist()])
    expected = 1 - CONFIDENCE
    assert abs(share - expected) < 4 * (expected * CONFIDENCE / len(draws)) ** 0.5


def test_lost_motion_of_five_times_the_meter_is_found_nine_times_in_ten() -> None:
    rng = np.random.default_rng(6)
    draws = 6.5 * (1 + 5 * FINE.repeatability * rng.standard_normal((500, 4)))
    assert np.mean([snap(EIGHT, 8, d[0], d[1:], FINE).loose for d in draws.tolist()]) > 0.9


def test_the_border_is_the_chi_square_of_the_table() -> None:
    """Three blips that moved alike by d scatter with S = 3 d^2 / 4; chi-square of 0.99 and 3 is 11.345 by the table."""
    for squares, loose in ((11.2, False), (11.5, True)):
        shift = (squares * 4 / 3) ** 0.5 * 0.02 * 100.0
        mean = 100 + 3 * shift / 4
        meter = Meter(step=1e-9, repeatability=0.02 * 100 / mean)  # so that sigma is 2 whatever the mean
        assert snap(EIGHT, 8, 100.0, [100 + shift] * 3, meter).loose is loose


def test_a_coarse_step_is_no_lost_motion() -> None:
    meter = Meter(step=0.25, repeatability=0.001)
    assert not snap(EIGHT, 8, 6.5, [6.75, 6.5, 6.75], meter).loose
    assert snap(EIGHT, 8, 6.5, [7.0, 6.5, 7.0], meter).loose


def test_without_a_blip_nothing_can_be_said() -> None:
    with pytest.raises(ValueError, match="blip"):
        snap(EIGHT, 8, 6.5, [], FINE)


def test_a_plate_that_shares_a_shaft_is_carried_by_the_coupler_of_that_shaft() -> None:
    twins = Layout((Bank("A", (1, 2, 3, 4), 1, 1, ("shaft", "screw", "shaft")),), springless=frozenset({2, 4}))
    found = [snap(twins, bore, 6.5, [6.5], Meter()).coupler for bore in (2, 4)]
    assert found == [None, Coupler(2, 3)]


def test_scatter_and_what_was_expected_are_parts_of_the_mean() -> None:
    """By hand: about a mean of 100 the squares are 16 + 16, over two blips 16, its root 4."""
    found = snap(EIGHT, 8, 100.0, [104.0, 96.0], Meter(step=12**0.5, repeatability=0.0))
    assert found.scatter == pytest.approx(0.04)
    assert found.expected == pytest.approx(0.01)
    assert found.bore == 8
