"""What is said of an engine by the probabilities of its shares, and what more rounds are foreseen to decide."""

import math

import numpy as np
import pytest

from app.sync.estimation.conformity import LIMIT_PROBABILITY, Conformity, decide, foresee, most_telling
from app.sync.estimation.shares import LogReading, SharePosterior, pooled

SIX = tuple(range(1, 7))
TOLERANCE = 0.08


def engine(shares: dict[int, float], sd: float, rounds: int = 1) -> SharePosterior:
    """Bores read without any error, by a meter that is known to have one."""
    bores = [bore for _ in range(rounds) for bore in SIX]
    flows = {bore: math.log(1 + shares.get(bore, 0.0)) for bore in SIX}
    return pooled(SIX, [LogReading(b, flows[b], sd**2, 20.0 * n) for n, b in enumerate(bores)], TOLERANCE)


def test_an_engine_that_is_surely_inside_is_even() -> None:
    found = decide(engine({2: 0.01}, 0.01, rounds=2), closed=True)
    assert found.conformity is Conformity.EVEN
    assert found.all_inside is not None
    assert found.all_inside >= 0.95
    assert (found.above, found.below, found.foreseen, found.rounds, found.read_next) == ((), (), (), None, ())


def test_bores_that_are_surely_outside_are_named_by_their_side() -> None:
    found = decide(engine({2: 0.25, 5: -0.25}, 0.01), closed=True)
    assert found.conformity is Conformity.NOT_EVEN
    assert (found.above, found.below) == ((2,), (5,))


def test_a_bore_that_is_surely_outside_is_said_before_the_round_is_closed() -> None:
    found = engine({2: 0.5}, 0.01, rounds=2)
    assert decide(found, closed=False).conformity is Conformity.NOT_EVEN


def test_many_bores_of_which_none_is_surely_outside_may_be_surely_not_all_inside() -> None:
    found = engine({1: 0.09, 2: -0.09, 3: 0.09, 4: -0.09, 5: 0.09, 6: -0.09}, 0.03, rounds=2)
    said = decide(found, closed=True)
    assert said.all_inside is not None
    assert said.all_inside <= 0.05
    assert (said.above, said.below) == ((), ())
    assert said.conformity is Conformity.NOT_EVEN


def test_nothing_is_said_of_bores_that_are_not_read() -> None:
    found = decide(pooled(SIX, [LogReading(3, 0.0, 4e-4, 0.0)], TOLERANCE), closed=False)
    assert found.conformity is Conformity.INCOMPLETE
    assert found.read_next == (1, 2, 4, 5, 6)
    assert found.all_inside is None


def test_an_even_engine_whose_round_is_open_is_incomplete() -> None:
    assert decide(engine({}, 0.01, rounds=2), closed=False).conformity is Conformity.INCOMPLETE


def test_a_bore_that_contradicts_itself_is_read_before_anything_is_said() -> None:
    readings = [LogReading(b, 0.0, 1e-4, 20.0 * n) for n, b in enumerate([*SIX, *SIX])]
    readings[8] = LogReading(3, 0.3, 1e-4, 160.0)
    found = decide(pooled(SIX, readings, TOLERANCE), closed=True)
    assert found.conformity is Conformity.INCOMPLETE
    assert found.read_next == (3,)


def test_an_undecided_engine_says_how_many_rounds_and_which_bores_first() -> None:
    found = decide(engine({2: 0.08, 4: -0.035}, 0.025), closed=True)
    assert found.conformity is Conformity.UNDECIDED
    assert found.rounds is not None
    chances = {each.rounds: each.decided for each in found.foreseen}
    assert chances[found.rounds] >= 0.5
    assert all(chance < 0.5 for rounds, chance in chances.items() if rounds < found.rounds)
    assert found.read_next[0] == 2
    assert not found.move_advised


def test_a_likely_engine_read_often_enough_is_even_as_far_as_shown_though_more_would_decide() -> None:
    """Six bores read nine times: half as many readings again as bores."""
    air = {2: math.log(1.08), 4: math.log(0.965)}
    readings = [LogReading(b, air.get(b, 0.0), 6e-4, 20.0 * n) for n, b in enumerate([*SIX, 1, 3, 5])]
    before, after = (decide(pooled(SIX, readings[:count], TOLERANCE), closed=True) for count in (8, 9))
    assert before.conformity is Conformity.UNDECIDED
    assert after.conformity is Conformity.LIMIT
    for found in (before, after):
        assert LIMIT_PROBABILITY <= (found.all_inside or 0.0) < 0.95
        assert found.rounds is not None


def at_the_edge(inside: float) -> SharePosterior:
    """One bore close to the tolerance, so that ``inside`` is about the chance, after many rounds of a rough meter."""
    tried = [engine({2: edge}, 0.04, rounds=12) for edge in np.arange(0.05, 0.11, 0.001)]
    return min(tried, key=lambda found: abs((found.all_inside or 0.0) - inside))


def test_where_no_sensible_number_of_rounds_decides_a_likely_engine_is_even_as_far_as_shown() -> None:
    found = decide(at_the_edge(0.90), closed=True)
    assert found.conformity is Conformity.LIMIT
    assert all(each.decided < 0.5 for each in found.foreseen)
    assert not found.move_advised
    assert found.rounds is None


def test_where_no_sensible_number_of_rounds_decides_an_unlikely_engine_is_to_be_moved() -> None:
    found = decide(at_the_edge(0.5), closed=True)
    assert found.conformity is Conformity.UNDECIDED
    assert found.move_advised
    assert found.rounds is None
    assert found.read_next == ()


@pytest.mark.parametrize(("asked", "said"), [(0.80, Conformity.EVEN), (0.99, Conformity.UNDECIDED)])
def test_the_shop_says_what_probability_passes(asked: float, said: Conformity) -> None:
    assert decide(engine({2: 0.075}, 0.02), asked, closed=True).conformity is said


def test_of_the_unsure_bores_the_less_read_is_read_first() -> None:
    readings = [LogReading(b, 0.08 if b in (2, 5) else 0.0, 9e-4, 20.0 * n) for n, b in enumerate([*SIX, *[5] * 5])]
    assert most_telling(pooled(SIX, readings, TOLERANCE))[0] == 2


def test_foresight_is_what_reading_on_and_pooling_again_would_say() -> None:
    """Truths drawn from what is believed, read on with the meter's error, pooled by all readings and decided anew."""
    readings = [LogReading(b, 0.05 if b == 2 else 0.0, 6e-4, 20.0 * n) for n, b in enumerate(SIX)]
    found = pooled(SIX, readings, TOLERANCE)
    mixture = found.mixture
    rng = np.random.default_rng(11)
    said = []
    for _ in range(400):
        part = rng.choice(len(mixture.weights), p=mixture.weights)
        truth = rng.multivariate_normal(mixture.means[part], mixture.covariances[part])
        more = [
            LogReading(b, truth[b - 1] + math.sqrt(6e-4) * rng.standard_normal(), 6e-4, 120.0 + 20.0 * n)
            for n, b in enumerate([*SIX, *SIX])
        ]
        after = pooled(SIX, readings + more, TOLERANCE)
        inside = after.all_inside
        one_outside = max(max(s.above, s.below) for s in after.shares.values())
        said.append((inside is not None and inside >= 0.95, one_outside >= 0.95 or (inside or 0.0) <= 0.05))
    even, not_even = np.mean(said, axis=0)
    (foreseen,) = foresee(found, rounds=(2,))
    assert foreseen.even == pytest.approx(even, abs=0.08)
    assert foreseen.not_even == pytest.approx(not_even, abs=0.08)
    assert foreseen.decided == foreseen.even + foreseen.not_even
