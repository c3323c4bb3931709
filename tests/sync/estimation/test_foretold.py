"""What readings have in common, worked by hand: the idle strays, forgets where to, and drifts about their middle."""

import math

import numpy as np
import pytest
from scipy import stats

from app.sync.engine.engine_air import TACHOMETER_SD
from app.sync.engine.events import IdleSpeed, Meter, Reading
from app.sync.engine.hardware import likely_hardware
from app.sync.engine.layout import Bank, Layout
from app.sync.engine.units import LITER
from app.sync.estimation.foretold import AS_FORETOLD, FAR, FREEDOM, Surprise, taken
from app.sync.estimation.posterior import start_prior
from app.sync.readings.idle_wander import DRIFT, WANDER

FOUR = Layout((Bank("A", (1, 2, 3, 4), 1, 1),))
START = start_prior(FOUR, likely_hardware(2 * LITER, 4), 2 * LITER, 850 / 60)


def test_readings_a_minute_apart_drift_apart_from_their_middle() -> None:
    """At 0, 1 and 2 minutes the drift is -1, 0 and 1 minute's; nobody knows where the clock began. Straying is
    forgotten within three minutes, so that a third of it in logarithms is gone after one."""
    minute, one, two = DRIFT**2, math.exp(-1 / 3), math.exp(-2 / 3)
    strayed = WANDER**2 * np.array([[1.0, one, two], [one, 1.0, one], [two, one, 1.0]])
    expected = strayed + minute * np.array([[1.0, 0.0, -1.0], [0.0, 0.0, 0.0], [-1.0, 0.0, 1.0]])
    for began in (0.0, 3600.0):
        seen = taken(START, Meter(), [Reading(n + 1, 1.8e-3, began + 60.0 * n) for n in range(3)])
        assert seen.shared == pytest.approx(expected)
        assert seen.rows.tolist() == [0, 1, 2]


def test_unevenly_spaced_readings_drift_about_their_mean_time() -> None:
    """At 0, 0 and 1.5 minutes the mean is half a minute: -0.5, -0.5 and 1 minute's drift."""
    seen = taken(START, Meter(), [Reading(1, 1.8e-3, 0.0), Reading(2, 1.8e-3, 0.0), Reading(3, 1.8e-3, 90.0)])
    by, half = DRIFT * np.array([-0.5, -0.5, 1.0]), math.exp(-1.5 / 3)
    strayed = WANDER**2 * np.array([[1.0, 1.0, half], [1.0, 1.0, half], [half, half, 1.0]])
    assert seen.shared == pytest.approx(strayed + by[:, None] * by)


def test_readings_whose_times_were_not_told_do_not_drift_and_are_twenty_seconds_apart() -> None:
    seen = taken(START, Meter(), [Reading(1, 1.8e-3, 5.0), Reading(2, 1.8e-3, 5.0)])
    kept = math.exp(-20 / 180)
    assert seen.shared == pytest.approx(WANDER**2 * np.array([[1.0, kept], [kept, 1.0]]))


def test_the_tachometer_has_an_error_of_its_own_and_shares_none() -> None:
    seen = taken(START, Meter(), [Reading(1, 1.8e-3, 0.0), IdleSpeed(14.0, 0.0)])
    assert seen.shared == pytest.approx(np.diag([WANDER**2, TACHOMETER_SD**2]))
    assert seen.rows.tolist() == [0, -1]
    assert seen.read.tolist() == [True, False]


def test_a_reading_with_an_error_of_its_own_goes_by_that() -> None:
    told = [Reading(1, 1.8e-3, 0.0), Reading(2, 1.8e-3, 0.0, sd=0.004)]
    seen = taken(START, Meter(step=1e-5, repeatability=0.02), told)
    assert seen.repeats.tolist() == [0.02, 0.004]
    assert seen.step.tolist() == [1e-5, 0.0]


@pytest.mark.parametrize("rougher", [0.7, 1.0, 1.6])
def test_bands_after_moves_hold_nine_in_ten_of_a_visit_that_is_rougher_or_finer_than_foretold(rougher: float) -> None:
    """Nine in ten, and 0.04 beside that for what 4,000 draws and a belief worth three readings leave open."""
    rng = np.random.default_rng(7)
    held = []
    for _ in range(100):
        surprise = Surprise()
        for distance in rougher * rng.standard_normal(60):
            held.append(abs(distance) <= surprise.nine_in_ten)
            surprise = surprise.and_at(float(distance))
        held[-60:-40] = []  # before that the belief still says more than what was seen
    assert np.mean(held) == pytest.approx(0.9, abs=0.04)


def test_a_band_is_students_and_a_figure_far_out_widens_it_no_further_than_one_at_three_spreads() -> None:
    first = Surprise()
    assert first.nine_in_ten == pytest.approx(stats.t.ppf(0.95, FREEDOM) * AS_FORETOLD)
    far = [first.and_at(distance).nine_in_ten for distance in (FAR * AS_FORETOLD, 5.0, 400.0)]
    assert far == pytest.approx([far[0]] * 3)
    assert first.and_at(0.1).nine_in_ten < first.nine_in_ten < far[0]
