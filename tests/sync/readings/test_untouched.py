"""Readings that an adjustment elsewhere left as they were."""

import math

import numpy as np
import pytest

from app.sync.engine.events import BladeReset, Event, IdleSpeed, LinkTurn, Meter, Reading, StopTurn
from app.sync.engine.layout import Bank, Layout
from app.sync.engine.units import KG_PER_HOUR, THOU
from app.sync.estimation.evenness import evenness
from app.sync.estimation.shares import LogReading, pooled
from app.sync.readings.rounds import fit
from app.sync.readings.untouched import HANDLING, LEVEL_CHANGE, untouched

V4 = Layout((Bank("A", (1, 2), 1, 1), Bank("B", (3, 4), 3, 3)))
FOUR = Layout((Bank("A", (1, 2, 3, 4), 1, 1),))
RESET = BladeReset(3, 4, 5 * THOU, (5 * THOU,), 200.0)
METER = Meter(step=1e-9, repeatability=0.01)


def told(layout: Layout, *events: Event) -> list[tuple[int, list[int]]]:
    return [(state.moves, [one.bore for one in state.readings]) for state in untouched(layout, events)]


def read(*bores: int, value: float = 6.5) -> list[Reading]:
    return [Reading(bore, value * KG_PER_HOUR, 20.0 * n) for n, bore in enumerate(bores)]


@pytest.mark.parametrize(
    ("layout", "move", "left"),
    [
        (FOUR, RESET, [1, 2, 3]),
        (FOUR, BladeReset(1, 2, 5 * THOU, (5 * THOU,), 200.0), [1]),
        (FOUR, StopTurn("A", 0.0625, 200.0), []),
        (V4, StopTurn("A", 0.0625, 200.0), [3, 4]),
        (V4, LinkTurn("B", 1.0, 200.0), [1, 2]),
    ],
)
def test_what_an_adjustment_does_not_act_on_stands(layout: Layout, move: Event, left: list[int]) -> None:
    assert told(layout, *read(1, 2, 3, 4), move) == ([(1, left)] if left else [])


def test_states_are_told_apart_by_the_moves_since_and_the_newest_is_not_among_them() -> None:
    again = BladeReset(1, 2, 4 * THOU, (4 * THOU,), 300.0)
    events: list[Event] = [*read(1, 2, 3, 4), RESET, IdleSpeed(14.0, 210.0), *read(4, 1), again, *read(2)]
    assert told(FOUR, *events) == [(2, [1]), (1, [1])]


def test_without_a_move_nothing_is_from_before_it() -> None:
    assert told(FOUR, *read(1, 2, 3, 4, 1)) == []


def test_the_level_after_a_move_is_that_of_generalized_least_squares() -> None:
    """Two bores of the same share, one read before a move and one after it: the mean difference that is left is the
    reading's, shrunk by what is known of plates and levels (a linear Gaussian model written out here, as in D. Simon,
    Optimal State Estimation, 2006, chapter 3: a Gaussian prior is one more measurement)."""
    sd, apart = 0.01, 0.03
    readings = [LogReading(1, 0.0, sd**2, 0.0, moves=1), LogReading(2, apart, sd**2, 0.0)]
    found = pooled((1, 2), readings, 0.08)
    weights, taus = found.mixture.weights, found.mixture.taus
    spread = found.mixture.covariances[:, 0, 0] - 2 * found.mixture.covariances[:, 0, 1]
    spread = spread + found.mixture.covariances[:, 1, 1]
    noise = 2 * sd**2 + LEVEL_CHANGE**2 + HANDLING**2
    plain = np.argmax(weights)
    between = 2 * taus[plain] ** 2
    assert spread[plain] == pytest.approx(between * noise / (between + noise), rel=0.05)


def test_a_round_fit_carries_what_was_left_out_to_the_level_of_now() -> None:
    """The bore read in both states ties them: everything before stands 2 % lower now, as that one does."""
    before = [Reading(b, v, 0.0) for b, v in ((1, 2.0), (2, 2.1), (3, 1.9))]
    earlier = untouched(FOUR, [*before * 40, RESET])
    now = [Reading(4, 1.96, 400.0 + n) for n in range(40)] + [Reading(1, 1.96, 440.0 + n) for n in range(40)]
    found = fit(now, Meter(step=1e-9, repeatability=1e-4), earlier)
    assert found.values[2] / found.values[1] == pytest.approx(1.05, abs=0.004)
    assert found.values[1] == pytest.approx(1.96, rel=0.003)
    assert set(found.values) == {1, 2, 3, 4}


def test_a_verdict_needs_only_the_bores_that_were_moved() -> None:
    """And is less sure than by the same readings with nothing moved between."""
    before = read(1, 2, 3, 4, 1)
    now = [Reading(4, 6.5 * KG_PER_HOUR, 300.0), Reading(1, 6.5 * KG_PER_HOUR, 320.0, closing=True)]
    alone = evenness(FOUR, now, METER, 0.08)
    carried = evenness(FOUR, now, METER, 0.08, earlier=untouched(FOUR, [*before, RESET]))
    whole = evenness(FOUR, [*before, *now], METER, 0.08)
    assert alone.decision.all_inside is None
    assert [one.bore for one in carried.standings] == [1, 2, 3, 4]
    assert carried.verdict == "even"
    assert whole.standings[1].share_sd < carried.standings[1].share_sd


def test_what_was_uneven_before_stays_uneven() -> None:
    before = [*read(1, 2), *read(3, value=8.0), *read(4, 1)]
    now = [Reading(4, 6.5 * KG_PER_HOUR, 300.0), Reading(1, 6.5 * KG_PER_HOUR, 320.0, closing=True)]
    found = evenness(FOUR, now, METER, 0.08, earlier=untouched(FOUR, [*before, RESET]))
    assert found.verdict == "not even"
    assert found.decision.above == (3,)
    assert math.isclose(found.standings[2].share, 4 * 8.0 / (8.0 + 3 * 6.5) - 1, abs_tol=0.03)
