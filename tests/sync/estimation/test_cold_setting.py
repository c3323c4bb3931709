"""Plates set cold: what is known of their gaps once hot, and that engines of another make agree with it."""

import math

import numpy as np
import pytest

from app.sync.engine.engine_air import usual_breathing
from app.sync.engine.events import BladeReset, ColdSetting, Event, IdleSpeed, Meter, StopTurn
from app.sync.engine.hardware import likely_hardware
from app.sync.engine.idle_flow import solve_idle
from app.sync.engine.layout import Bank, Layout
from app.sync.engine.units import KPA, THOU
from app.sync.estimation.filter import run_filter
from app.sync.estimation.posterior import Posterior, prior_for, start_prior
from app.sync.estimation.predict import set_cold
from app.sync.planning.cold_setting import outward
from app.sync.planning.recent_events import moves_at
from tests.sync.column_engines import DISPLACEMENT, HARDWARE, V8, WANTED, ColumnEngine, edge, visited

FOUR = Layout((Bank("A", (1, 2, 3, 4), 2, 1),))
TWINS = Layout((Bank("A", (1, 2, 3, 4), 2, 2, ("shaft", "blade", "shaft")),))
FIVE = 5 * THOU
SPEED = 850 / 60


def fresh(layout: Layout = FOUR) -> Posterior:
    return prior_for(layout, likely_hardware(2e-3, 4), usual_breathing(4, 2e-3, SPEED))


def all_set(layout: Layout, gauged: bool = False) -> list[ColdSetting]:
    return [ColdSetting(bore, FIVE, (FIVE,), 0.0, gauged) for bore, _ in outward(layout)]


@pytest.mark.parametrize(("gauged", "hand"), [(False, 0.4), (True, 0.2)])
def test_a_plate_set_cold_is_known_to_hand_and_heat(gauged: bool, hand: float) -> None:
    """Root of the sum of squares of three independent errors, in thousandths: hand, heat of all, heat of its own."""
    found = set_cold(fresh(), all_set(FOUR, gauged))
    spread = np.sqrt(np.diag(found.covariance))[:4] / THOU
    assert found.gaps == pytest.approx(FIVE)
    assert spread[0] == pytest.approx(math.hypot(hand, 0.2, 0.15), rel=1e-6)  # set last, so nothing disturbed it
    assert spread == pytest.approx(math.hypot(hand, 0.2, 0.15), rel=0.06)
    assert found.covariance[0, 3] == pytest.approx((0.2 * THOU) ** 2)  # the heat of all alone


def test_what_was_set_outright_no_longer_tells_what_the_engine_needs() -> None:
    assert np.abs(fresh().covariance[:4, -1]).min() > 0
    assert set_cold(fresh(), all_set(FOUR)).covariance[:4, -1] == pytest.approx(0.0, abs=1e-18)


def test_plates_not_set_yet_follow_the_stop_screw_and_stay_in_doubt() -> None:
    found = set_cold(fresh(), all_set(FOUR)[:2])  # bores 2 and 3
    spread = np.sqrt(np.diag(found.covariance))[:4]
    assert found.gaps == pytest.approx(FIVE, rel=0.02)
    assert min(spread[0], spread[3]) > 3 * max(spread[1], spread[2])


def test_a_plate_on_a_shaft_with_another_is_set_with_it() -> None:
    assert [bore for bore, _ in outward(TWINS)] == [2, 3]
    spread = np.sqrt(np.diag(set_cold(fresh(TWINS), all_set(TWINS)).covariance))[:4]
    before = np.sqrt(np.diag(fresh(TWINS).covariance))[:4]
    assert spread[0] < 0.7 * before[0]
    assert spread[3] < 0.7 * before[3]


def test_no_settings_change_nothing() -> None:
    before = fresh()
    assert set_cold(before, []) is before


def test_settings_come_before_all_else_and_are_no_moves() -> None:
    later: list[Event] = [IdleSpeed(SPEED, 0.0), StopTurn("A", 0.125, 1.0), BladeReset(2, 3, FIVE, (FIVE,), 2.0)]
    told = run_filter(fresh(), Meter(), [*all_set(FOUR), *later])
    known = run_filter(set_cold(fresh(), all_set(FOUR)), Meter(), later)
    assert np.array_equal(told.mean, known.mean)
    assert np.array_equal(run_filter(fresh(), Meter(), all_set(FOUR)).mean, set_cold(fresh(), all_set(FOUR)).mean)
    assert moves_at([*all_set(FOUR), *later]) == [5, 6]


@pytest.mark.parametrize("slow", [0.80, 0.87, 1.15])
def test_where_the_gaps_are_known_the_tachometer_tells_what_the_engine_needs(slow: float) -> None:
    """The idle that the posterior settles at is the one read, however far the demand has to move for it."""
    found = run_filter(fresh(), Meter(), [*all_set(FOUR), IdleSpeed(slow * SPEED, 0.0)])
    settled = solve_idle(found.engine, found.areas, found.log_demand)
    assert float(settled.log_speed) == pytest.approx(math.log(slow), abs=0.012)


@pytest.mark.slow
def test_errors_of_an_unlike_engine_are_as_large_as_believed() -> None:
    """400 plates of 50 engines with a plate law, hands and heat of their own: squares of errors over what is believed
    of them are chi-squared with 1 degree of freedom each, mean 1, and no more than believed."""
    squares, shared = [], []
    for seed in range(50):
        engine = ColumnEngine(seed, 33 * KPA, Meter("vacuum", 0.5 * KPA, 0.02), 101.325 * KPA)
        engine.set_cold(FIVE)
        found = run_filter(start_prior(V8, HARDWARE, DISPLACEMENT, WANTED), engine.meter, engine.events)
        errors = np.array([edge(engine.angles[bore]) for bore in V8.bores]) - found.gaps
        squares += list(errors**2 / np.diag(found.covariance)[:8])
        shared.append(errors @ np.linalg.solve(found.covariance[:8, :8], errors) / 8)
    assert 0.7 < float(np.mean(squares)) < 1.15
    assert 0.7 < float(np.mean(shared)) < 1.15


@pytest.mark.slow
def test_visits_of_an_unlike_engine_take_fewer_minutes_hot_and_end_as_even() -> None:
    usual = [visited(seed, 20 * KPA) for seed in range(6)]
    cold = [visited(seed, 20 * KPA, cold_feeler=FIVE) for seed in range(6)]
    assert np.mean([one.minutes for one in cold]) < np.mean([one.minutes for one in usual]) - 3
    assert sum(one.worst <= 0.1 for one in cold) >= sum(one.worst <= 0.1 for one in usual) - 1
