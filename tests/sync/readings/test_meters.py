"""What a meter repeats and whether two agree, held against published figures."""

import math
from statistics import stdev

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from app.sync.readings.meters import agreement, least_difference, pooled_deviation, repeatability

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


@pytest.mark.parametrize(
    ("readings", "low", "high"),
    [  # 2.5 and 97.5 % of chi-square, from memory; 99 degrees: NIST e-Handbook 1.3.5.8
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
    """ISO 5725-6: 2.77 standard deviations. By hand at 6.5 kg/h and 0.8 %: 2.77 x sqrt(0.052^2 + 0.0722^2) = 0.246, one
    step of 0.25; at 2 %: 2.77 x sqrt(0.13^2 + 0.0722^2) = 0.412, two steps."""
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
    """His differences have mean 1.58, standard deviation 1.23 and t = 4.06; the band follows from these."""
    first, second = ([math.exp(x) for x in one] for one in SLEEP)
    found = agreement(first, second)
    half = math.log(found.high / found.ratio)
    assert math.log(found.ratio) == pytest.approx(1.58, abs=1e-9)
    assert 1.58 / (half / 2.2622) == pytest.approx(4.06, abs=0.005)
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
