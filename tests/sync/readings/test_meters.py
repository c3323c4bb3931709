"""What a meter repeats and whether two agree, held against published figures."""

import math
from statistics import stdev

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from app.sync.readings.meters import agreement, least_difference, pooled_deviation, repeatability, repeated_in_rounds

SIRSTV = (
    (196.3052, 196.1240, 196.1890, 196.2569, 196.3403),
    (196.3042, 196.3825, 196.1669, 196.3257, 196.0422),
    (196.1303, 196.2005, 196.2889, 196.0343, 196.1811),
    (196.2795, 196.1748, 196.1494, 196.1485, 195.9885),
    (196.2119, 196.1051, 196.1850, 196.0052, 196.2090),
)
"""NIST Statistical Reference Datasets, SiRstv: five instruments, five readings each."""

SLEEP = ((0.7, -1.6, -0.2, -1.2, -0.1, 3.4, 3.7, 0.8, 0.0, 2.0), (1.9, 0.8, 1.1, 0.1, -0.1, 4.4, 5.5, 1.6, 4.6, 3.4))
"""Student 1908, additional hours of sleep of ten patients by two drugs."""


def test_the_pooled_deviation_is_the_one_that_nist_certifies() -> None:
    deviation, freedom = pooled_deviation(SIRSTV)
    assert deviation == pytest.approx(0.104076068334656, rel=1e-9)  # certified residual standard deviation
    assert freedom == 20


def test_sums_of_squares_pool_as_in_the_handbook() -> None:
    """NIST e-Handbook 2.4.4.4: five artefacts of 60 degrees of freedom each pool to 0.10290.

    Each series here is two equal halves about its mean, which gives it the handbook's sum of squares.
    """
    squares = (0.48115, 0.69209, 0.48483, 1.21752, 0.30076)
    series = [[5.0, *([5.0 + math.sqrt(s / 60)] * 30), *([5.0 - math.sqrt(s / 60)] * 30)] for s in squares]
    deviation, freedom = pooled_deviation(series)
    assert freedom == 300
    assert deviation == pytest.approx(0.10290, abs=5e-6)


GAUGED = (
    ((0.29, 0.41, 0.64), (0.08, 0.25, 0.07), (0.04, -0.11, -0.15)),
    ((-0.56, -0.68, -0.58), (-0.47, -1.22, -0.68), (-1.38, -1.13, -0.96)),
    ((1.34, 1.17, 1.27), (1.19, 0.94, 1.34), (0.88, 1.09, 0.67)),
    ((0.47, 0.50, 0.64), (0.01, 1.03, 0.20), (0.14, 0.20, 0.11)),
    ((-0.80, -0.92, -0.84), (-0.56, -1.20, -1.28), (-1.46, -1.07, -1.45)),
    ((0.02, -0.11, -0.21), (-0.20, 0.22, 0.06), (-0.29, -0.67, -0.49)),
    ((0.59, 0.75, 0.66), (0.47, 0.55, 0.83), (0.02, 0.01, 0.21)),
    ((-0.31, -0.20, -0.17), (-0.63, 0.08, -0.34), (-0.46, -0.56, -0.49)),
    ((2.26, 1.99, 2.01), (1.80, 2.12, 2.19), (1.77, 1.45, 1.87)),
    ((-1.36, -1.25, -1.31), (-1.68, -1.62, -1.50), (-1.49, -1.77, -2.16)),
)
"""Measurement Systems Analysis reference manual, 4th ed., as transcribed publicly: ten parts, each three times by three
people. Published mean squares: repeatability 0.04598, part by person 0.01994."""


def test_repeatability_is_that_of_the_measurement_systems_manual() -> None:
    deviation, freedom = pooled_deviation([cell for part in GAUGED for cell in part])
    assert freedom == 60
    assert deviation**2 == pytest.approx(0.04598, abs=6e-6)


def test_what_rounds_leave_over_is_the_interaction_of_the_manual() -> None:
    """Its people as rounds, its parts as bores: a mean of three readings has a third of the mean square."""
    means = [[math.exp(sum(part[person]) / 3) for part in GAUGED] for person in range(3)]
    found = repeated_in_rounds([means], 1e-9)
    assert found is not None
    assert found.freedom == 18
    assert 3 * found.scatter**2 == pytest.approx(0.01994, abs=6e-6)


@pytest.mark.parametrize(
    ("readings", "low", "high"),
    [  # 2.5 and 97.5 % of chi-square, both from memory; of 99 degrees also in the NIST e-Handbook, 1.3.5.8
        (10, 2.700, 19.023),
        (100, 73.361, 128.422),
    ],
)
def test_the_band_of_a_figure_is_the_chi_square_of_the_table(readings: int, low: float, high: float) -> None:
    found = repeatability([[6.25, 6.75] * (readings // 2)], 0.25)
    freedom = readings - 1
    assert freedom * (found.scatter / found.high) ** 2 == pytest.approx(low, abs=6e-4)
    assert freedom * (found.scatter / found.low) ** 2 == pytest.approx(high, abs=6e-4)


@pytest.mark.parametrize(
    ("readings", "chi_square"),
    [(10, 3.325), (20, 10.117), (100, 77.046)],  # lower 5 %: NIST e-Handbook 1.3.6.7.4, from memory
)
def test_a_meter_is_judged_by_the_upper_limit_of_its_figure(readings: int, chi_square: float) -> None:
    found = repeatability([[6.25, 6.75] * (readings // 2)], 1e-6)
    freedom = readings - 1
    assert freedom * (found.scatter / found.limit) ** 2 == pytest.approx(chi_square, rel=3e-4)


def test_the_limit_holds_in_ninety_five_studies_of_a_hundred() -> None:
    """Simulated: 2,000 studies of ten readings of a meter that repeats within 2 %, a fixed seed."""
    rng = np.random.default_rng(12)
    studies = 6.5 * (1 + 0.02 * rng.standard_normal((2000, 10)))
    above = [repeatability([one.tolist()], 1e-6).limit >= 0.02 for one in studies]
    assert 0.935 < sum(above) / len(above) < 0.965


def test_the_least_difference_is_the_critical_difference_in_whole_steps() -> None:
    """ISO 5725-6:1994, as secondary sources give it: 2.77 standard deviations. By hand at 6.5 kg/h and 0.8 %:
    2.77 x sqrt(0.052^2 + 0.0722^2) = 0.246, one step of 0.25; at 2 %: 2.77 x sqrt(0.13^2 + 0.0722^2) = 0.412, two
    steps."""
    assert least_difference(6.5, 0.008, 0.25) == (0.25, 1)
    assert least_difference(6.5, 0.02, 0.25) == (0.5, 2)


def test_the_least_difference_parts_five_pairs_of_a_hundred() -> None:
    """Simulated pairs of one truth, with a step too fine to matter."""
    rng = np.random.default_rng(5)
    pairs = 6.5 * (1 + 0.02 * rng.standard_normal((20_000, 2)))
    apart, _ = least_difference(6.5, 0.02, 1e-4)
    assert np.mean(np.abs(pairs[:, 0] - pairs[:, 1]) >= apart) == pytest.approx(0.05, abs=0.006)


@pytest.mark.parametrize(
    ("pairs", "quantile"),
    [  # 97.5 % of Student's t, the usual table, from memory; 326 degrees: NIST e-Handbook 1.3.5.3
        (3, 4.3027),
        (6, 2.5706),
        (10, 2.2622),
        (327, 1.9673),
    ],
)
def test_the_band_of_a_ratio_is_students_of_the_table(pairs: int, quantile: float) -> None:
    logs = [0.02 + 0.01 * (-1) ** at * (at < pairs - pairs % 2) for at in range(pairs)]
    found = agreement([6.5] * pairs, [6.5 * math.exp(log) for log in logs])
    assert math.log(found.ratio) == pytest.approx(sum(logs) / pairs, abs=1e-12)
    assert math.log(found.high / found.ratio) == pytest.approx(quantile * stdev(logs) / math.sqrt(pairs), rel=3e-5)
    assert math.log(found.ratio / found.low) == pytest.approx(quantile * stdev(logs) / math.sqrt(pairs), rel=3e-5)


def test_two_meters_compare_as_student_compared_his_drugs() -> None:
    """He prints of the differences a mean of 1.58 and a standard deviation of 1.17, with n in the divisor; hence
    t = 1.58 x sqrt(9) / 1.17 = 4.05. With n - 1, as later texts do, the deviation is 1.23."""
    first, second = ([math.exp(x) for x in one] for one in SLEEP)
    found = agreement(first, second)
    half = math.log(found.high / found.ratio)
    assert math.log(found.ratio) == pytest.approx(1.58, abs=1e-9)
    error = half / 2.2622
    assert error * math.sqrt(9) == pytest.approx(1.17, abs=0.005)
    assert 1.58 / error == pytest.approx(1.58 * 3 / 1.17, rel=0.005)
    assert not found.agree
    assert found.pairs == 10


@given(st.lists(st.floats(5, 8), min_size=3, max_size=12), st.floats(0.8, 1.25))
def test_a_meter_that_always_reads_so_much_more_is_found_out(values: list[float], factor: float) -> None:
    found = agreement(values, [factor * value for value in values])
    assert found.ratio == pytest.approx(factor)
    assert found.low == pytest.approx(factor)


@given(st.lists(st.lists(st.floats(4, 9), min_size=2, max_size=10), min_size=1, max_size=4), st.floats(0.1, 10))
def test_the_figure_does_not_depend_on_the_unit(series: list[list[float]], size: float) -> None:
    one = repeatability(series, 0.25)
    other = repeatability([[size * x for x in each] for each in series], 0.25 * size)
    assert other.own == pytest.approx(one.own, rel=1e-6)
    assert other.scatter == pytest.approx(one.scatter, rel=1e-6, abs=1e-12)
    assert one.low <= one.scatter <= one.high


def test_ten_equal_readings_do_not_make_a_perfect_meter() -> None:
    found = repeatability([[6.5] * 10], 0.25)
    assert found.scatter == 0
    assert found.own == pytest.approx(0.25 / 6.5 / math.sqrt(12) * (2 / 9) ** 0.25)  # by the rule stated


def test_fine_steps_change_nothing() -> None:
    series = [[6.40, 6.52, 6.49, 6.61, 6.55]]
    found = repeatability(series, 1e-6)
    assert found.own == pytest.approx(found.scatter)


def test_one_reading_says_nothing() -> None:
    with pytest.raises(ValueError, match="two readings"):
        repeatability([[6.5], [7.0]], 0.25)
    with pytest.raises(ValueError, match="three pairs"):
        agreement([6.5, 6.5], [6.5, 6.5])
