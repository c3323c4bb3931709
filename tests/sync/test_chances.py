"""Chances of what a test may show, from first principles: all that may be shown adds up to one in every state."""

import itertools

import numpy as np
import pytest

from app.sync.diagnosis.causes import BORE_CAUSES, EngineFault, bore_states
from app.sync.diagnosis.chain import expected
from app.sync.diagnosis.evidence import Deviation
from app.sync.diagnosis.likelihood import WRONG, of_bore, of_engine
from app.sync.diagnosis.measurements import CATALOGUE, Extent, FindingKind, Use
from app.sync.slips.changes import Floats

WORDED = [measure for measure in FindingKind if CATALOGUE[measure].use is Use.WORD]
OF_BORES = [measure for measure in FindingKind if measure not in WORDED and CATALOGUE[measure].scope is Extent.BORE]
OF_ENGINES = [measure for measure in FindingKind if measure not in WORDED and CATALOGUE[measure].scope is Extent.ENGINE]


@pytest.mark.parametrize("measure", WORDED)
def test_one_of_the_words_is_said_in_every_state(measure: FindingKind) -> None:
    said = sum(of_bore(measure, Deviation(0.0, 1.0, word)) for word in CATALOGUE[measure].words)
    assert said == pytest.approx(np.ones(bore_states().size.shape), abs=1e-12)


@pytest.mark.parametrize("measure", WORDED)
def test_one_of_the_pairs_of_words_is_said_in_every_state(measure: FindingKind) -> None:
    words = CATALOGUE[measure].words
    said = sum(
        of_bore(measure, Deviation(0.0, 1.0, word, True, before)) for word, before in itertools.product(words, words)
    )
    assert said == pytest.approx(np.ones(bore_states().size.shape), abs=1e-12)


@pytest.mark.parametrize("measure", OF_BORES)
def test_every_figure_of_a_bore_lies_somewhere(measure: FindingKind) -> None:
    """By the trapezoid rule; what was typed wrong may lie anywhere in the range of the figure, and is left out."""
    spread = CATALOGUE[measure].spread
    reach = float(np.abs(expected()[measure]).max()) * 3 + 12 * spread
    at, step = np.linspace(-reach, reach, 4001, retstep=True)
    anywhere = of_bore(measure, Deviation(1e9, spread))
    within = np.sum([of_bore(measure, Deviation(float(off), spread)) - anywhere for off in at], axis=0) * step
    known = bore_states().cause != BORE_CAUSES.index(EngineFault.UNKNOWN)
    assert within[known] == pytest.approx(np.full(known.sum(), 1 - WRONG), abs=2e-3)
    assert anywhere[known] == pytest.approx(WRONG / (CATALOGUE[measure].high - CATALOGUE[measure].low), rel=1e-9)


@pytest.mark.parametrize("measure", OF_ENGINES)
def test_every_figure_of_an_engine_lies_somewhere(measure: FindingKind) -> None:
    spread, reach = CATALOGUE[measure].spread, CATALOGUE[measure].high - CATALOGUE[measure].low
    at, step = np.linspace(-4 * reach, 4 * reach, 4001, retstep=True)
    anywhere = of_engine(measure, Deviation(1e9, spread), None, 2)
    within = (
        np.sum([of_engine(measure, Deviation(float(off), spread), None, 2) - anywhere for off in at], axis=0) * step
    )
    assert within == pytest.approx(np.full(len(within), 1 - WRONG), abs=2e-3)


def shown(cause: EngineFault, measure: FindingKind) -> Floats:
    """What is expected of a measurement in the states of a cause."""
    return np.asarray(expected()[measure][bore_states().cause == BORE_CAUSES.index(cause)])


@pytest.mark.parametrize("measure", [*expected()])
def test_a_sound_bore_whose_plate_stands_as_it_should_is_off_by_nothing(measure: FindingKind) -> None:
    states = bore_states()
    sound = (states.cause == BORE_CAUSES.index(EngineFault.NONE)) & (states.size == 0)
    assert sound.any()
    assert expected()[measure][sound] == pytest.approx(0.0, abs=1e-12)


def test_a_bore_without_spark_gives_no_torque_and_a_cool_pipe() -> None:
    sizes = bore_states().size[bore_states().cause == BORE_CAUSES.index(EngineFault.SPARK)]
    assert shown(EngineFault.SPARK, FindingKind.DROP) == pytest.approx(-sizes)
    assert shown(EngineFault.SPARK, FindingKind.HEAT) == pytest.approx(-380.0 * sizes)
    assert shown(EngineFault.SPARK, FindingKind.AIR) == pytest.approx(0.0 * sizes)


def test_lean_and_rich_lie_to_either_side_and_both_run_cooler() -> None:
    assert (shown(EngineFault.LEAN, FindingKind.MIXTURE) > 0).all()
    assert (shown(EngineFault.RICH, FindingKind.MIXTURE) < 0).all()
    for cause in (EngineFault.LEAN, EngineFault.RICH):
        assert (shown(cause, FindingKind.HEAT) < 0).all()


def test_a_plate_open_too_far_takes_more_air_and_lowers_its_vacuum() -> None:
    air, vacuum = shown(EngineFault.PLATE, FindingKind.AIR), shown(EngineFault.PLATE, FindingKind.VACUUM)
    assert (np.sign(air) == -np.sign(vacuum)).all()
    assert (air != 0).all()
