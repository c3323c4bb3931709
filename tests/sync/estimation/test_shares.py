"""The shares by all readings of one state, against other ways to the same model and against what must not matter."""

import itertools
import math
import random
from dataclasses import replace

import numpy as np
import pytest
from scipy import stats

from app.sync.engine.events import Meter, Reading
from app.sync.estimation import share_mixture
from app.sync.estimation.share_mixture import APART, APART_SD, LEAST_TAU, LEVEL_SD, TAUS, USUAL_TAU, Course
from app.sync.estimation.shares import LogReading, SharePosterior, pooled
from app.sync.readings.idle_wander import DRIFT, WANDER
from app.sync.readings.rounds import MOST
from tests.sync.idling_engines import log_reading

TOLERANCE = 0.08
EIGHT = tuple(range(1, 9))
FLOWS = {1: 6.5, 2: 6.6, 3: 7.6, 4: 6.4, 5: 6.7, 6: 6.1, 7: 6.5, 8: 6.6}
MONTE_CARLO = 0.03
"""Three standard errors of 3000 draws at even chances."""


def read(flows: dict[int, float], rounds: int = 1, seed: int = 1, sd: float = 0.02) -> list[LogReading]:
    """Rounds without closing readings, of a meter without steps."""
    rng = random.Random(seed)
    bores = [bore for _ in range(rounds) for bore in flows]
    return [
        LogReading(bore, math.log(flows[bore]) + sd * rng.gauss(0, 1), sd**2, 20.0 * n) for n, bore in enumerate(bores)
    ]


def probabilities(found: SharePosterior) -> list[float]:
    return [p for share in found.shares.values() for p in (share.inside, share.above, share.below)]


def course_of(readings: list[LogReading], bores: int) -> Course:
    at = np.array([r.at for r in readings])
    return Course(
        bores,
        np.array([r.bore - 1 for r in readings]),
        np.array([r.log_flow for r in readings]),
        np.array([r.variance for r in readings]),
        (at - at.mean()) / 60,
        np.array([r.moves for r in readings]),
    )


def likely(tau: float) -> float:
    """The prior of a spread, up to a factor."""
    return 1 / (1 + (tau / USUAL_TAU) ** 2) / (1 + (LEAST_TAU / tau) ** 4)


@pytest.mark.parametrize("own", [0.0, 0.022])
def test_weights_means_and_covariances_are_those_of_the_joint_normal_distribution(own: float) -> None:
    """scipy's multivariate normal density, and conditioning of a joint Gaussian (C. M. Bishop, Pattern Recognition and
    Machine Learning, 2006, equations 2.81 and 2.82)."""
    readings = read({1: 6.5, 2: 6.9, 3: 6.2, 4: 7.4}, rounds=2)
    found = share_mixture.mixture_of(course_of(readings, 4), own)
    at = np.array([r.at for r in readings])
    shown = np.array([r.log_flow for r in readings])
    shown = shown - shown.mean()
    minutes = (at - at.mean()) / 60
    noise = 0.02**2 * np.eye(8) + WANDER**2 * np.exp(-np.abs(at[:, None] - at) / 180)
    noise += LEVEL_SD**2 + DRIFT**2 * np.outer(minutes, minutes)
    rows = np.tile(np.eye(4), (2, 1))
    weights, means, covariances = [], [], []
    for tau, apart in itertools.product(TAUS, range(5)):
        prior = np.diag([tau**2 + own**2 + (APART_SD**2 if n == apart else 0) for n in range(4)])
        total = noise + rows @ prior @ rows.T
        odds = 1 - APART if apart == 4 else APART / 4
        density = stats.multivariate_normal.pdf(shown, np.zeros(8), total)
        weights.append(density * odds * likely(tau))
        gain = prior @ rows.T @ np.linalg.inv(total)
        means.append(gain @ shown)
        covariances.append(prior - gain @ rows @ prior)
    kept = np.flatnonzero(np.array(weights) / sum(weights) > share_mixture.LEAST_WEIGHT)
    expected = np.array(weights)[kept]
    assert found.weights == pytest.approx(expected / expected.sum(), rel=1e-3)
    assert found.means == pytest.approx(np.array(means)[kept], abs=1e-6)
    assert found.covariances == pytest.approx(np.array(covariances)[kept], abs=1e-7)


def difference_inside(first: list[float], second: list[float], sd: float) -> float:
    """Chance that both of two bores are inside, by quadrature over their difference, read by turns.

    Trapezoids over the difference; tau and the drift are summed and integrated out by hand.
    """
    count = len(first)
    at = 20.0 * np.arange(2 * count)
    minutes = (at - at.mean()) / 60
    cov = sd**2 * np.eye(2 * count) + WANDER**2 * np.exp(-np.abs(at[:, None] - at) / 180)
    cov += 1e2 + DRIFT**2 * np.outer(minutes, minutes)
    shown = np.ravel(np.column_stack([first, second]))
    half = np.tile([0.5, -0.5], count)
    grid = np.linspace(-0.6, 0.6, 4001)
    off = (shown - shown.mean())[None] - grid[:, None] * half
    likelihood = stats.multivariate_normal.pdf(off, np.zeros(2 * count), cov)
    prior = np.zeros_like(grid)
    for tau in TAUS:
        alike = stats.norm.pdf(grid, 0, math.sqrt(2) * tau)
        apart = stats.norm.pdf(grid, 0, math.sqrt(2 * tau**2 + APART_SD**2))
        prior += ((1 - APART) * alike + APART * apart) * likely(tau)
    mass = likelihood * prior
    share = np.tanh(grid / 2)
    return float(np.trapezoid(np.where(np.abs(share) <= TOLERANCE, mass, 0), grid) / np.trapezoid(mass, grid))


@pytest.mark.parametrize(("apart", "sd"), [(0.02, 0.02), (0.14, 0.02), (0.17, 0.04), (0.25, 0.04)])
def test_two_bores_are_inside_as_often_as_a_quadrature_says(apart: float, sd: float) -> None:
    rng = random.Random(3)
    first = [apart + sd * rng.gauss(0, 1) for _ in range(3)]
    second = [sd * rng.gauss(0, 1) for _ in range(3)]
    by_turns = [(1 + n % 2, value) for n, value in enumerate(np.ravel(np.column_stack([first, second])))]
    found = pooled((1, 2), [LogReading(b, float(v), sd**2, 20.0 * n) for n, (b, v) in enumerate(by_turns)], TOLERANCE)
    assert found.all_inside == pytest.approx(difference_inside(first, second, sd), abs=MONTE_CARLO)


def test_of_very_many_readings_the_last_of_each_bore_count() -> None:
    readings = read(FLOWS, rounds=100)
    odd = len(readings) - 20
    readings[odd] = replace(readings[odd], log_flow=readings[odd].log_flow + 1.0)
    found, last = pooled(EIGHT, readings, TOLERANCE), pooled(EIGHT, readings[-MOST:], TOLERANCE)
    assert found.shares == last.shares
    assert found.misread == (odd,)
    assert {share.readings for share in found.shares.values()} == {MOST // 8, MOST // 8 - 1}


def test_many_readings_give_what_the_engine_has() -> None:
    found = pooled(EIGHT, read(FLOWS, rounds=60, sd=0.01), TOLERANCE)
    mean = sum(FLOWS.values()) / 8
    for bore, share in found.shares.items():
        assert share.median == pytest.approx(FLOWS[bore] / mean - 1, abs=0.004)
        assert share.low < share.median < share.high < share.low + 0.01
    assert found.shares[3].above == 1.0
    assert found.all_inside == 0.0


def test_neither_unit_nor_start_of_the_clock_nor_order_of_the_list_matters() -> None:
    readings = read(FLOWS, rounds=2)
    found = pooled(EIGHT, readings, TOLERANCE)
    in_grams = [LogReading(r.bore, r.log_flow + math.log(1 / 3.6), r.variance, r.at + 5e4) for r in readings]
    assert probabilities(pooled(EIGHT, in_grams, TOLERANCE)) == pytest.approx(probabilities(found), abs=1e-3)
    other = pooled(EIGHT[::-1], readings, TOLERANCE)
    assert other.shares == found.shares
    assert list(other.shares) == list(EIGHT[::-1])
    late_first = pooled(EIGHT, readings[::-1], TOLERANCE)
    assert probabilities(late_first) == pytest.approx(probabilities(found), abs=1e-3)


def test_bores_by_other_names_are_the_same_bores() -> None:
    readings = read(FLOWS, rounds=2)
    found = pooled(EIGHT, readings, TOLERANCE)
    renamed = pooled(EIGHT, [LogReading(9 - r.bore, r.log_flow, r.variance, r.at) for r in readings], TOLERANCE)
    for bore in EIGHT:
        assert renamed.shares[9 - bore].median == pytest.approx(found.shares[bore].median, abs=2e-3)
        assert renamed.shares[9 - bore].inside == pytest.approx(found.shares[bore].inside, abs=MONTE_CARLO)
    assert renamed.all_inside == pytest.approx(found.all_inside, abs=MONTE_CARLO)


def test_bores_not_read_are_in_no_alarm_and_leave_the_whole_open() -> None:
    found = pooled(EIGHT, read({1: 6.5, 2: 6.6, 3: 6.4}), TOLERANCE)
    assert list(found.shares) == [1, 2, 3]
    assert found.unread == (4, 5, 6, 7, 8)
    assert found.all_inside is None
    assert not found.complete
    assert max(max(share.above, share.below) for share in found.shares.values()) < 0.95


def test_a_drift_is_not_taken_for_a_difference_between_bores() -> None:
    """Four per cent over a round, as an alternating series would show it: the bores are alike."""
    drifting = [LogReading(b, 0.005 * n, 0.005**2, 20.0 * n) for n, b in enumerate([*EIGHT, 1, *EIGHT, 1])]
    found = pooled(EIGHT, drifting, TOLERANCE)
    assert found.drift == pytest.approx(0.015, abs=0.003)
    assert max(abs(share.median) for share in found.shares.values()) < 0.005


def test_what_a_column_has_of_its_own_does_not_average_out() -> None:
    """With bores spread far wider, the share keeps the standard deviation ``own`` however often it is read."""
    flows = {bore: 6.5 * math.exp(0.15 * (-1) ** bore) for bore in range(1, 13)}
    often = pooled(tuple(flows), read(flows, rounds=30), TOLERANCE, own=0.03)
    expected = 0.03 * math.sqrt(11 / 12) * 2 * stats.norm.ppf(0.95)  # of ln; the mean is known as well as all others
    for share in often.shares.values():
        assert (share.high - share.low) / (1 + share.median) == pytest.approx(expected, rel=0.15)


def test_a_scale_that_is_not_known_makes_what_is_outside_unsure_in_size_and_nothing_else() -> None:
    """By hand: what lies beyond 8 % is known to a factor of exp(1.645 * 0.5) either way, nine times in ten."""
    readings = read({bore: 8.0 if bore == 3 else 6.5 for bore in EIGHT}, rounds=30, sd=0.001)
    known, guessed = (pooled(EIGHT, readings, TOLERANCE, scale=scale) for scale in (0.0, 0.5))
    wide, narrow = guessed.shares[3], known.shares[3]
    beyond = narrow.median - TOLERANCE
    assert wide.high == pytest.approx(TOLERANCE + beyond * math.exp(1.645 * 0.5), rel=0.05)
    assert wide.low == pytest.approx(TOLERANCE + beyond * math.exp(-1.645 * 0.5), rel=0.05)
    assert narrow.high - narrow.low < 0.2 * (wide.high - wide.low)
    assert guessed.all_inside == known.all_inside
    assert [one.inside for one in guessed.shares.values()] == [one.inside for one in known.shares.values()]


@pytest.mark.parametrize("wrong", [0.3, -0.3, math.log(10)])
def test_a_misread_value_is_left_out_where_two_others_agree(wrong: float) -> None:
    readings = read(FLOWS, rounds=3, sd=0.01)
    bad = readings[9]
    readings[9] = LogReading(bad.bore, bad.log_flow + wrong, bad.variance, bad.at)
    found = pooled(EIGHT, readings, TOLERANCE)
    assert found.misread == (9,)
    assert found.shares[2].readings == 2
    without = pooled(EIGHT, readings[:9] + readings[10:], TOLERANCE)
    assert found.shares[2].median == pytest.approx(without.shares[2].median, abs=2e-3)


def test_two_readings_that_contradict_each_other_ask_for_a_third() -> None:
    readings = read(FLOWS, rounds=2, sd=0.01)
    bad = readings[12]
    readings[12] = LogReading(bad.bore, bad.log_flow + 0.3, bad.variance, bad.at)
    found = pooled(EIGHT, readings, TOLERANCE)
    assert found.contradictory == (5,)
    assert found.misread == ()
    assert found.all_inside is None
    assert max(found.shares[5].above, found.shares[5].below) < 0.95
    third = pooled(EIGHT, [*readings, LogReading(5, math.log(6.7), 0.01**2, 400.0)], TOLERANCE)
    assert third.contradictory == ()
    assert third.misread == (12,)


def test_three_readings_of_which_no_two_agree_are_no_majority() -> None:
    readings = read(FLOWS, rounds=3, sd=0.01)
    for n, off in ((12, 0.3), (20, -0.3)):
        readings[n] = LogReading(5, readings[n].log_flow + off, 0.01**2, readings[n].at)
    found = pooled(EIGHT, readings, TOLERANCE)
    assert found.contradictory == (5,)
    assert found.misread == ()


def test_sound_readings_are_hardly_ever_left_out() -> None:
    """Four standard deviations: 6 in 100 000 by the normal distribution; 4800 readings here."""
    found = [pooled(EIGHT, read(FLOWS, rounds=3, seed=n), TOLERANCE) for n in range(200)]
    assert sum(len(each.misread) + len(each.contradictory) for each in found) <= 3


def test_the_error_of_a_reading_is_that_of_meter_and_step() -> None:
    """GUM, JCGM 100:2008, 4.3.7: a step of 0.25 is a standard deviation of 0.0722."""
    of_step = log_reading(Reading(1, 5.0 / 3600, 7.0), Meter(step=0.25 / 3600, repeatability=0.0))
    assert math.sqrt(of_step.variance) * 5.0 == pytest.approx(0.0722, abs=5e-5)
    assert of_step.log_flow == pytest.approx(math.log(5.0 / 3600))
    assert (of_step.bore, of_step.at) == (1, 7.0)


def test_a_needle_that_did_not_move_counts_as_a_quarter_step() -> None:
    nothing = log_reading(Reading(1, 0.0, 0.0), Meter(step=0.25 / 3600))
    assert nothing.log_flow == pytest.approx(math.log(0.0625 / 3600))
    assert nothing.variance > 1.0


def test_what_cannot_be_pooled_is_refused() -> None:
    with pytest.raises(ValueError, match="need a reading"):
        pooled(EIGHT, [], TOLERANCE)
    with pytest.raises(ValueError, match="bore that the engine has"):
        pooled((1, 2), read({3: 6.5}), TOLERANCE)
    with pytest.raises(ValueError, match="above 0"):
        log_reading(Reading(1, 3e4, 0.0), Meter(quantity="vacuum"))
    with pytest.raises(ValueError, match="above 0"):
        log_reading(Reading(1, 0.0, 0.0), Meter(step=0.0))
