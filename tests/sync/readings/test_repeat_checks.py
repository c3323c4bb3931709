"""The same bore read again: where two readings part, and which are gone by."""

import pytest

from app.sync.engine.events import Meter
from app.sync.readings.repeat_checks import accepted, at_idle, inconsistent

ONE = Meter(step=12**0.5, repeatability=0.0)
"""Its readings have a standard deviation of 1, whatever they are."""

TENTH = Meter(step=1e-9, repeatability=0.1)


def test_two_readings_contradict_one_another_from_four_standard_deviations_of_their_difference() -> None:
    """4 x 1.41421 = 5.657; by a tenth of their mean, b - 10 = 0.5657 (10 + b) / 2 at b = 17.89."""
    assert not inconsistent([15.6, 10.0], ONE)
    assert inconsistent([15.7, 10.0], ONE)
    assert not inconsistent([10.0, 17.8], TENTH)
    assert inconsistent([10.0, 18.0], TENTH)


def test_three_readings_contradict_one_another_when_no_two_are_near_the_middle_one() -> None:
    assert inconsistent([10.0, 14.1, 5.9], ONE)
    assert not inconsistent([10.0, 13.9, 5.9], ONE)
    assert not inconsistent([10.0, 14.1, 5.9, 1.0], ONE)


PERFECT = Meter(step=0.0, repeatability=0.0)
"""Its readings have no error."""


def test_the_same_value_again_contradicts_nothing_however_good_the_meter() -> None:
    assert not inconsistent([10.0, 10.0], PERFECT)
    assert accepted([10.0, 10.0, 10.0], PERFECT) == [10.0, 10.0, 10.0]
    assert inconsistent([10.0, 10.1], PERFECT)


def test_of_three_those_within_four_standard_deviations_of_the_middle_one_count() -> None:
    """Of a meter whose standard deviation is 2, four of them are 8."""
    two = Meter(step=2 * 12**0.5, repeatability=0.0)
    assert accepted([10.0, 10.0, 17.9], two) == [10.0, 10.0, 17.9]
    assert accepted([10.0, 10.0, 18.1], two) == [10.0, 10.0]


def test_the_outlier_of_the_handbook_is_left_out_and_nothing_else() -> None:
    """NIST/SEMATECH e-Handbook 1.3.5.17.1: by Grubbs' test 245.57 is the one outlier. The meter repeats as the seven
    others do, within 1.11."""
    readings = [199.31, 199.53, 200.19, 200.82, 201.92, 201.95, 202.18, 245.57]
    assert accepted(readings, Meter(step=1e-9, repeatability=1.11 / 201)) == readings[:-1]


def test_a_meter_that_shows_nothing_repeats_as_it_does_on_the_bench() -> None:
    """A share of nothing is nothing; on top of 2.4 % an idle that strays by 0.7 % makes 2.5 %."""
    assert at_idle(Meter(repeatability=0.024), 0.0).repeatability == 0.024
    assert at_idle(Meter(repeatability=0.024), 1e-3).repeatability == pytest.approx(0.025, rel=1e-3)
