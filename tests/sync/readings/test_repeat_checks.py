"""The same bore read again: where two readings part, which are gone by, and from what scatter on something is loose."""

import pytest
from scipy.special import chdtri, ndtr

from app.sync.engine.events import Meter
from app.sync.readings.repeat_checks import accepted, excess_scatter, inconsistent

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


def test_the_outlier_of_the_handbook_is_left_out_and_nothing_else() -> None:
    """NIST/SEMATECH e-Handbook 1.3.5.17.1: by Grubbs' test 245.57 is the one outlier. The meter repeats as the seven
    others do, within 1.11."""
    readings = [199.31, 199.53, 200.19, 200.82, 201.92, 201.95, 202.18, 245.57]
    assert accepted(readings, Meter(step=1e-9, repeatability=1.11 / 201)) == readings[:-1]


@pytest.mark.parametrize("count", [3, 5, 9])
def test_scatter_is_loose_from_the_chi_square_of_five_in_ten_thousand(count: int) -> None:
    """One reading at the mean, the others as far above as below; the border by the exact law, which the cube root
    comes near to within 6 % of the sum of squares."""
    border = float(chdtri(count - 1, ndtr(-3.3)))
    for part, loose in ((0.94, False), (1.06, True)):
        apart = (part * border / (count - 1)) ** 0.5
        values = [100.0, *[100.0 + apart] * (count // 2), *[100.0 - apart] * (count // 2)]
        assert excess_scatter(values, ONE) is loose


def test_two_readings_or_a_meter_without_error_say_nothing_of_scatter() -> None:
    assert not excess_scatter([6.0, 9.0], ONE)
    assert not excess_scatter([6.0, 6.0, 9.0, 9.0], Meter(step=0.0, repeatability=0.0))


def test_one_far_away_is_a_misread_and_two_are_scatter() -> None:
    assert not excess_scatter([100.0, 100.0, 100.0, 120.0], ONE)
    assert excess_scatter([100.0, 100.0, 100.0, 120.0, 80.0], ONE)
