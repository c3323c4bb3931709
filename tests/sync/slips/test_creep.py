"""The cumulative sum against the handbook's chart and published run lengths; scores and naming on made-up visits."""

import random

import numpy as np
import pytest
from numpy.typing import NDArray
from scipy.special import ndtr

from app.sync.engine.events import Meter
from app.sync.engine.layout import Bank, Coupler, Layout, StopScrew
from app.sync.slips.changes import Pooled
from app.sync.slips.creep import LIMIT, SLACK, creeping, cusum, scores

EIGHT = Layout((Bank("A", (1, 2, 3, 4), stop=2, drive=2), Bank("B", (5, 6, 7, 8), stop=6, drive=6)))
FLOW = 6.5 / 3600


def test_handbook_chart() -> None:
    # NIST/SEMATECH e-Handbook 6.3.2.3: target 325, k 0.3175, h 4.1959; sums as printed, first signal at group 14.
    groups = [
        *(324.925, 324.675, 324.725, 324.350, 325.350, 325.225, 324.125, 324.525, 325.225, 324.600),
        *(324.625, 325.150, 328.325, 327.250, 327.825, 328.500, 326.675, 327.775, 326.875, 328.350),
    ]
    high = [0, 0, 0, 0, 0.03, 0, 0, 0, 0, 0, 0, 0, 3.01, 4.94, 7.45, 10.63, 11.99, 14.44, 16.00, 19.04]
    low = [0, 0.01, 0, 0.33, 0, 0, 0.56, 0.72, 0.17, 0.25, 0.31, 0, 0, 0, 0, 0, 0, 0, 0, 0]
    chart = cusum([group - 325 for group in groups], slack=0.3175, limit=4.1959)
    assert chart.high == pytest.approx(high, abs=0.006)
    assert chart.low == pytest.approx(low, abs=0.006)
    assert chart.signal == 14 - 1


def run_length(shift: float, slack: float, limit: float, chance: random.Random) -> int:
    """Values drawn until the chart signals."""
    seen: list[float] = []
    while True:
        seen += [chance.gauss(shift, 1.0) for _ in range(40 if shift else 400)]
        signal = cusum(seen, slack, limit).signal
        if signal is not None:
            return signal + 1


# Average run lengths, k 0.5, h 4, two-sided: Lucas and Crosier, Technometrics 24 (1982), table 1, as the manual of a
# statistics package quotes it.
@pytest.mark.parametrize(("shift", "published", "runs"), [(0.0, 168.0, 900), (0.5, 26.6, 1500), (1.0, 8.38, 3000)])
def test_published_run_lengths(shift: float, published: float, runs: int) -> None:
    chance = random.Random(20250101)
    lengths = [run_length(shift, 0.5, 4.0, chance) for _ in range(runs)]
    mean = sum(lengths) / runs
    error = (sum((length - mean) ** 2 for length in lengths) / runs) ** 0.5 / runs**0.5
    assert mean == pytest.approx(published, abs=3 * error)
    assert error < 0.05 * published


def staying(slack: float, limit: float, shift: float, states: int = 200) -> NDArray[np.float64]:
    """Chances of one side of a chart to go from one height to the next below the limit, shape (states, states).

    Source: D. Brook and D. A. Evans, Biometrika 59 (1972) 539-548.
    """
    width = 2 * limit / (2 * states - 1)
    apart = (np.arange(states)[None, :] - np.arange(states)[:, None]) * width + slack - shift
    chances = ndtr(apart + width / 2) - ndtr(apart - width / 2)
    chances[:, 0] = ndtr(apart[:, 0] + width / 2)
    return np.asarray(chances)


def mean_run(slack: float, limit: float, shift: float) -> float:
    """Average run length of one side of a chart."""
    chances = staying(slack, limit, shift)
    return float(np.linalg.solve(np.eye(len(chances)) - chances, np.ones(len(chances)))[0])


@pytest.mark.parametrize(
    ("slack", "limit", "shift", "published", "within"),
    [
        (0.5, 3.0, 0.0, 117.59, 1e-3),  # Brook and Evans, as that manual quotes them
        (0.5, 3.0, 1.5, 3.75, 1e-3),
        (0.25, 8.0, 2.5, 4.1500836225, 1e-3),  # that manual
        (0.25, 8.01, 0.0, 2 * 370.0, 1e-2),  # one side of a two-sided chart: Hawkins 1993 in textbooks, from memory
        (0.5, 4.77, 0.0, 2 * 370.0, 1e-2),
    ],
)
def test_the_chain_has_the_published_run_lengths(
    slack: float, limit: float, shift: float, published: float, within: float
) -> None:
    assert mean_run(slack, limit, shift) == pytest.approx(published, rel=within)


def false_alarms(limit: float, charts: int, visits: int) -> float:
    """Chance that any of so many two-sided charts of quiet scores signals within so many visits."""
    start = np.eye(200)[0]
    quiet = float((start @ np.linalg.matrix_power(staying(SLACK, limit, 0.0), visits)).sum())
    return 1 - quiet ** (2 * charts)


def test_one_engine_in_ten_gives_a_false_alarm_within_ten_visits_at_the_limit() -> None:
    """Two banks of four: two stop screws and six couplers, their scores taken as independent."""
    charts = len(scores(EIGHT, *visit({}), Meter(), same_meter=True))
    assert false_alarms(LIMIT, charts, 10) == pytest.approx(0.10, abs=0.015)


def test_a_slip_of_one_standard_deviation_a_visit_is_found_within_ten() -> None:
    assert mean_run(SLACK, LIMIT, 1.0) < 10


def visit(changes: dict[int, float]) -> tuple[dict[int, Pooled], dict[int, Pooled]]:
    left = {bore: Pooled(FLOW, 3) for bore in EIGHT.bores}
    return left, {bore: Pooled(FLOW * (1 + changes.get(bore, 0.0)), 2) for bore in EIGHT.bores}


def test_a_score_points_at_the_adjuster_whose_bores_changed() -> None:
    found = scores(EIGHT, *visit({3: 0.04, 4: 0.04}), Meter(), same_meter=True)
    assert max(found, key=lambda adjuster: found[adjuster]) == Coupler(2, 3)
    assert found[Coupler(2, 3)] > 1.5
    assert set(found) == {StopScrew("A"), StopScrew("B"), *EIGHT.couplers()}


def test_a_score_needs_readings_from_both_visits() -> None:
    left, found = visit({})
    assert scores(EIGHT, left, {}, Meter(), same_meter=True) == {}
    only_one_bank = {bore: pooled for bore, pooled in found.items() if bore < 5}
    assert set(scores(EIGHT, left, only_one_bank, Meter(), same_meter=True)) == {
        StopScrew("A"),
        Coupler(2, 3),
        Coupler(3, 4),
        Coupler(2, 1),
    }


def test_creep_is_named_once_it_adds_up_and_not_before() -> None:
    small = scores(EIGHT, *visit({7: -0.035, 8: -0.035}), Meter(), same_meter=True)
    assert creeping([small] * 2) is None
    found = creeping([small] * 6)
    assert found is not None
    assert (found.adjuster, found.opening, found.since) == (Coupler(6, 7), False, 0)


def test_creep_starts_where_the_sum_last_stood_at_nothing() -> None:
    still = scores(EIGHT, *visit({}), Meter(), same_meter=True)
    small = scores(EIGHT, *visit({1: 0.05}), Meter(), same_meter=True)
    found = creeping([still, still, *[small] * 8])
    assert found is not None
    assert (found.adjuster, found.opening, found.since) == (Coupler(2, 1), True, 2)


def test_back_and_forth_is_not_creep() -> None:
    there = scores(EIGHT, *visit({1: 0.05}), Meter(), same_meter=True)
    back = scores(EIGHT, *visit({1: -0.05}), Meter(), same_meter=True)
    assert creeping([there, back] * 10) is None
    assert creeping([]) is None
