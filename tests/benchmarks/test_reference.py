"""The slow reference: paired luck, draws that are what is believed, and choices that it may take."""

from dataclasses import replace

import numpy as np
import pytest

from app.sync.engine.events import BladeReset, Reading
from app.sync.engine.units import THOU
from app.sync.estimation.posterior import LEAST_GAP, start_prior
from app.sync.planning.advice import Advice, AdviceKind, AdviceReason
from tests.benchmarks.reference import Imagined, PairedEngine, advised, asked, choices, cost, do, paired
from tests.sync.column_engines import WANTED


def engine() -> PairedEngine:
    """A four after its first round."""
    stand = paired(3001, 4, 1)
    stand.read_speed()
    for bore in (*stand.layout.bores, 1):
        stand.read(bore, closing=len(stand.events) > len(stand.layout.bores))
    return stand


def test_the_same_reading_and_the_same_reset_meet_the_same_luck_whatever_came_before() -> None:
    usual, other = engine(), engine()
    other.read(2)
    for one in (usual, other):
        one.make(BladeReset(2, 3, 5 * THOU, (5 * THOU,), 0.0))
        one.read(3)
    assert usual.angles[3] == other.angles[3]
    shown = [next(e.value for e in reversed(one.events) if isinstance(e, Reading)) for one in (usual, other)]
    assert shown[0] == pytest.approx(shown[1], rel=0.05)  # at another minute the idle strayed elsewhere


def test_engines_drawn_are_as_is_believed_and_a_feeler_sets_them_so() -> None:
    stand = engine()
    belief = start_prior(stand.layout, stand.hardware, 4 * stand.per_bore, WANTED)
    drawn = [Imagined(stand, belief, number) for number in range(400)]
    gaps = np.array([one.state.gaps for one in drawn])
    spread = np.sqrt(np.diag(belief.covariance)[:4])
    assert np.abs(gaps.mean(axis=0) - belief.gaps).max() < 0.5 * spread.max()
    assert gaps.min() >= LEAST_GAP
    for one in drawn:
        one.make(BladeReset(2, 3, 5 * THOU, (5 * THOU,), 0.0))
    set_to = np.array([one.state.gaps[2] for one in drawn]) / THOU
    assert set_to.mean() == pytest.approx(5.0, abs=0.1)
    assert set_to.std() == pytest.approx(0.4, abs=0.06)  # what a hand misses by


def test_it_may_stop_only_once_a_whole_round_stands_and_what_it_costs_is_the_same_twice() -> None:
    stand = engine()
    belief = start_prior(stand.layout, stand.hardware, 4 * stand.per_bore, WANTED)
    advice = advised(stand, stand.events)
    assert asked(stand, advice)
    stops = [one for one in choices(stand, belief, advice) if one.kind is AdviceKind.DONE]
    assert len(stops) == 1
    assert cost(stand, belief, stops[0], 1) in (0.0, 30.0)
    do(stand, advice)
    assert not [one for one in choices(stand, belief, advised(stand, stand.events)) if one.kind is AdviceKind.DONE]


def test_where_it_is_told_to_stop_it_may_look_once_more_at_the_widest_bore() -> None:
    stand = engine()
    belief = start_prior(stand.layout, stand.hardware, 4 * stand.per_bore, WANTED)
    wide = replace(belief, mean=belief.mean * np.where(np.arange(belief.mean.size) == 2, 1.5, 1.0))
    (only,) = choices(stand, wide, Advice(AdviceKind.DONE, AdviceReason.EVEN))
    assert (only.kind, only.bores) == (AdviceKind.MEASURE, (stand.layout.bores[2],))
