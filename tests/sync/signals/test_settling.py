"""When a live value may be taken."""

import math

import numpy as np
import pytest

from app.sync.signals.settling import Unsettled, look
from tests.sync.signals.traces import Floats, ticks


def stepped(lag: float, at: float = 2.0, step: float = 0.3, seconds: float = 20.0) -> tuple[Floats, Floats]:
    """A step of the air, as an instrument with a lag shows it: 1 - exp(-t / lag) of it (a first-order lag)."""
    times = ticks(seconds)
    gone = np.maximum(times - at, 0.0)
    return times, 1 - step * (1 - np.exp(-gone / lag))


def first_taken(times: Floats, values: Floats, changed: float, lag: float) -> float:
    return next(float(now) for now in times[::20] if now > changed and _at(times, values, now, changed, lag) is None)


def _at(times: Floats, values: Floats, now: float, changed: float, lag: float) -> Unsettled | None:
    seen = times <= now
    return look(times[seen], values[seen], now, changed, lag, speed=15.0).lack


@pytest.mark.parametrize("lag", [0.2, 0.5])
def test_less_than_half_a_percent_of_a_step_is_left(lag: float) -> None:
    times, values = stepped(lag)
    now = first_taken(times, values, 2.0, lag)
    seen = times <= now
    taken = look(times[seen], values[seen], now, 2.0, lag, speed=15.0)
    assert taken.value == pytest.approx(0.7, rel=0.005)
    assert now - 2.0 < 5.0


def test_a_slow_sensor_is_offered_no_earlier_than_its_lag_allows() -> None:
    times, values = stepped(2.0)
    assert first_taken(times, values, 2.0, 2.0) - 2.0 >= 12.0


def test_what_still_moves_is_not_taken() -> None:
    times = ticks(10.0)
    assert look(times, 1 + 0.02 * times, 10.0).lack is Unsettled.MOVING
    assert look(times, np.ones_like(times), 10.0).lack is None


def test_the_idle_that_wanders_for_all_bores_alike_keeps_none_of_them_waiting() -> None:
    times = ticks(10.0)
    common = 1 + 0.04 * np.sin(2 * np.pi * times / 3)
    alone = look(times, 1.05 * common, 10.0)
    beside = look(times, 1.05 * common, 10.0, others=common)
    assert beside.lack is None
    assert (beside.window, beside.sd < alone.sd) == (2.0, True)
    assert alone.window > 2.0


@pytest.mark.parametrize("seed", range(6))
def test_a_value_that_scatters_is_averaged_for_longer_and_taken_all_the_same(seed: int) -> None:
    """Cycles that differ by 6 %, 7.5 a second: a mean of two seconds is 2 % unsure, one of eight 1 %."""
    rng, times = np.random.default_rng(seed), ticks(16.0)
    cycles = 1 + 0.06 * rng.standard_normal(200)
    values = cycles[(times * 7.5).astype(int)]
    seen = [now for now in times[1600::40] if _at(times, values, float(now), 0.0, 0.1) is None]
    assert seen
    taken = look(times[times <= seen[0]], values[times <= seen[0]], float(seen[0]), 0.0, 0.1, speed=15.0)
    assert taken.value == pytest.approx(1.0, abs=0.03)
    assert taken.sd <= 0.01


def test_without_values_there_is_nothing_to_take() -> None:
    none = np.array([])
    found = look(none, none, 10.0)
    assert math.isnan(found.value)
    assert found.lack is Unsettled.NO_VALUE


def test_right_after_a_move_nothing_is_taken_however_still_it_stands() -> None:
    times = ticks(10.0)
    assert look(times, np.ones_like(times), 10.0, changed=9.0).lack is Unsettled.TOO_SOON


@pytest.mark.parametrize("seed", range(3))
def test_what_scatters_too_far_for_the_longest_window_is_not_taken(seed: int) -> None:
    """Cycles that differ by 15 %, 7.5 a second: the mean of sixteen seconds, 120 of them, is 1.4 % unsure."""
    rng, times = np.random.default_rng(seed), ticks(32.0)
    values = (1 + 0.15 * rng.standard_normal(260))[(times * 7.5).astype(int)]
    lacks = {_at(times, values, float(now), 0.0, 0.1) for now in times[3200::80]}
    assert lacks == {Unsettled.SCATTERS, Unsettled.MOVING}
