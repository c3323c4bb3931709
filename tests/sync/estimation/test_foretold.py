"""What readings have in common, worked by hand: the idle strays, forgets where to, and drifts about their middle."""

import math

import numpy as np
import pytest

from app.sync.engine.engine_air import TACHOMETER_SD
from app.sync.engine.events import IdleSpeed, Meter, Reading
from app.sync.engine.hardware import likely_hardware
from app.sync.engine.layout import Bank, Layout
from app.sync.engine.units import LITER
from app.sync.estimation.foretold import taken
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
