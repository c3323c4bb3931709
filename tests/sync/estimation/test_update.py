"""The update of the estimate against published least squares: with next to nothing known before, it is that."""

from collections.abc import Sequence

import numpy as np
import pytest
from numpy.typing import NDArray

from app.sync.estimation.filter import kalman_update
from app.sync.estimation.foretold import Innovation

Floats = NDArray[np.float64]


def updated(design: Floats, readings: Floats, noise: Floats, before: Floats) -> tuple[Floats, Floats]:
    """Mean and covariance after readings, of a state of which only the standard deviations ``before`` are known."""
    mean, cov = np.zeros(design.shape[1]), np.diag(before**2)
    innovation = Innovation(readings - design @ mean, design, np.diag(noise**2))
    return kalman_update(mean, cov, innovation, innovation.covariance(cov))


# NIST/SEMATECH e-Handbook 2.3.4.2, designs for four and for five gauge blocks that eliminate drift: the item added and
# the one taken away in each difference, the divisor, and by how many of it each difference counts in the items and in
# the drift a half step.
FOUR = (
    ((1, 2), (4, 1), (3, 4), (2, 3), (2, 4), (4, 1), (1, 3), (3, 2)),
    168,
    (
        (35, -35, -7, 7, -7),
        (-14, 14, 14, 42, -5),
        (-7, 7, 35, -35, -3),
        (-14, 14, -42, -14, -1),
        (-21, 21, -7, -49, 1),
        (-14, 14, 14, 42, 3),
        (21, -21, -49, -7, 5),
        (14, -14, 42, 14, 7),
    ),
    (0.3227, 0.3227, 0.5204, 0.5204),
)
FIVE = (
    ((1, 2), (2, 3), (3, 4), (4, 5), (5, 1), (4, 1), (2, 4), (5, 2), (3, 5), (1, 3)),
    330,
    (
        (66, -66, 0, 0, 0, -9),
        (-33, 33, -99, -33, -33, -7),
        (0, 0, 66, -66, 0, -5),
        (0, 0, 0, 66, -66, -3),
        (-33, 33, 33, 33, 99, -1),
        (-33, 33, 33, 99, 33, 1),
        (-33, 33, -33, -99, -33, 3),
        (33, -33, 33, 33, 99, 5),
        (0, 0, 66, 0, -66, 7),
        (33, -33, -99, -33, -33, 9),
    ),
    (0.3162, 0.3162, 0.5477, 0.5477, 0.5477),
)
Design = tuple[Sequence[tuple[int, int]], int, Sequence[Sequence[int]], Sequence[float]]


def compared(pairs: Sequence[tuple[int, int]], drift: bool = True) -> Floats:
    """One row a difference, and last the restraint: items 1 and 2 together."""
    items = max(max(pair) for pair in pairs)
    rows = np.zeros((len(pairs) + 1, items + 1))
    for row, (added, taken) in enumerate(pairs):
        rows[row, added - 1], rows[row, taken - 1] = 1, -1
        rows[row, -1] = 2 * row - len(pairs) + 1 if drift else 0
    rows[-1, :2] = 1
    return rows


@pytest.mark.parametrize("design", [FOUR, FIVE])
def test_differences_count_as_in_the_handbooks_designs(design: Design) -> None:
    pairs, divisor, multipliers, factors = design
    rows, exact = compared(pairs), np.append(np.ones(len(pairs)), 1e-6)
    wide = np.full(rows.shape[1], 1e3)
    for at, expected in enumerate(multipliers):
        reading = np.eye(len(pairs) + 1)[at]
        mean, _ = updated(rows, reading, exact, wide)
        assert mean[:-1] * divisor == pytest.approx(expected[:-1], abs=1e-3)
        assert mean[-1] == pytest.approx(expected[-1] / sum(row[-1] ** 2 for row in multipliers), abs=1e-6)
    _, cov = updated(rows, np.zeros(len(rows)), exact, wide)
    assert np.sqrt(np.diag(cov))[:-1] == pytest.approx(factors, abs=6e-5)
    together, _ = updated(rows, np.eye(len(rows))[-1], exact, wide)
    assert together == pytest.approx([0.5] * (rows.shape[1] - 1) + [0.0], abs=1e-5)


@pytest.mark.parametrize("design", [FOUR, FIVE])
def test_the_designs_leave_the_items_alone_whether_drift_is_reckoned_with_or_not(design: Design) -> None:
    pairs = design[0]
    readings = np.append(np.random.default_rng(2).standard_normal(len(pairs)), 0.0)
    with_drift, without = (
        updated(compared(pairs, drift), readings, np.ones(len(readings)), np.full(len(design[3]) + 1, 1e3))[0][:-1]
        for drift in (True, False)
    )
    assert with_drift == pytest.approx(without, abs=1e-8)


def test_made_up_items_and_drift_come_back() -> None:
    """Items 0.2, -0.2, 0.35 and -0.5 with 0.03 a half step, worked by hand."""
    readings = np.array([0.19, -0.85, 0.76, -0.58, 0.33, -0.61, 0.00, 0.76, 0.0])
    mean, _ = updated(compared(FOUR[0]), readings, np.full(9, 1e-3), np.full(5, 1e3))
    assert mean == pytest.approx([0.2, -0.2, 0.35, -0.5, 0.03], abs=1e-9)


NORRIS_X = np.array(
    [
        *(0.2, 337.4, 118.2, 884.6, 10.1, 226.5, 666.3, 996.3, 448.6, 777.0, 558.2, 0.4),
        *(0.6, 775.5, 666.9, 338.0, 447.5, 11.6, 556.0, 228.1, 995.8, 887.6, 120.2, 0.3),
        *(0.3, 556.8, 339.1, 887.2, 999.0, 779.0, 11.1, 118.3, 229.2, 669.1, 448.9, 0.5),
    ]
)
NORRIS_Y = np.array(
    [
        *(0.1, 338.8, 118.1, 888.0, 9.2, 228.1, 668.5, 998.5, 449.1, 778.9, 559.2, 0.3),
        *(0.1, 778.1, 668.8, 339.3, 448.9, 10.8, 557.7, 228.3, 998.0, 888.8, 119.6, 0.3),
        *(0.6, 557.6, 339.3, 888.0, 998.5, 778.9, 10.2, 117.6, 228.9, 668.4, 449.2, 0.2),
    ]
)


def test_a_line_is_the_one_that_nist_certifies() -> None:
    """NIST Statistical Reference Datasets, Norris: certified coefficients and their standard deviations."""
    design, noise = np.column_stack([np.ones(36), NORRIS_X]), np.full(36, 0.884796396144373)
    mean, cov = updated(design, NORRIS_Y, noise, np.array([1e3, 10.0]))
    assert mean == pytest.approx([-0.262323073774029, 1.00211681802045], rel=1e-5)
    assert np.sqrt(np.diag(cov)) == pytest.approx([0.232818234301152, 0.429796848199937e-03], rel=1e-4)


WAMPLER_3 = np.array(
    [
        *(760, -2042, 2111, -1684, 3888, 1858, 11379, 17560, 39287, 64382, 113159, 175108, 273291, 400186),
        *(581243, 811568, 1121004, 1506550, 2002767, 2611612, 3369180),
    ],
    dtype=np.float64,
)


def test_a_polynomial_is_the_one_that_nist_certifies() -> None:
    """NIST Statistical Reference Datasets, Wampler3: every coefficient is 1, and their standard deviations. The powers
    are taken of x / 20, for those of x itself are too far apart for any update of a covariance."""
    powers = 20.0 ** np.arange(6)
    design, noise = (np.arange(21) / 20.0)[:, None] ** np.arange(6), np.full(21, 2360.14502379268)
    mean, cov = updated(design, WAMPLER_3, noise, np.full(6, 1e8))
    certified = [2152.3262467817, 2363.55173469681, 779.343524331583, 101.47550755035, 5.64566512, 0.112324855]
    assert (mean / powers - 1) / certified == pytest.approx(np.zeros(6), abs=1e-3)
    assert np.sqrt(np.diag(cov)) / powers == pytest.approx(certified, rel=1e-3)
