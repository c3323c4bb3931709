"""What a test is worth before it is made: how much it tells, and how much it helps to name the cause right."""

import math
from collections.abc import Sequence
from functools import cache, lru_cache
from typing import NamedTuple

import numpy as np

from app.sync.diagnosis.causes import BORE_CAUSES, EngineFault, bore_states
from app.sync.diagnosis.evidence import Deviation
from app.sync.diagnosis.likelihood import engine_states, of_bore
from app.sync.diagnosis.likelihood import of_engine as likelihood_of_engine
from app.sync.diagnosis.measurements import CATALOGUE, FindingKind, Use
from app.sync.diagnosis.posterior import Beliefs, by_cause
from app.sync.slips.changes import Floats

POINTS = 25
"""Outcomes that a figure's range is cut into, by definition a grid."""


class Worth(NamedTuple):
    """What a test tells of the cause [nats], and what the chance of naming it right grows by."""

    told: float
    gained: float


def of_bores(now: Beliefs, measure: FindingKind, places: Sequence[int], again: bool) -> tuple[Floats, Floats]:
    """What a test at each of some bores is worth: told [nats] and gained, each of shape (places,).

    Parameters: ``now`` is the posterior; ``measure`` that is made; ``places`` bores, counted from 0; ``again`` where
    it is a second look.
    """
    odds = now.bores[list(places)]
    joint = (odds[:, None, :] * by_cause().T) @ outcomes(measure, again, now.rough, now.evened)
    named = _named()
    none = joint[:, BORE_CAUSES.index(EngineFault.NONE)]
    elsewhere = _best_elsewhere(now)[list(places)]
    best = np.maximum(joint[:, named].max(axis=1), elsewhere[:, None] * none / none.sum(axis=1, keepdims=True))
    at_once = np.maximum(joint[:, named].sum(axis=2).max(axis=1), elsewhere)
    return _told(joint), best.sum(axis=1) - at_once


def of_engine(now: Beliefs, measure: FindingKind, places: Sequence[int | None], again: bool) -> Worth:
    """What a test of the engine, or of its banks one by one, is worth.

    Parameters: ``now`` is the posterior; ``measure`` that is made; ``places`` are its banks, or None;
    ``again`` where it is a second look.
    """
    sides = max(now.banks) + 1
    causes = [(state.cause, state.bank) for state in engine_states(sides)]
    kinds = list(dict.fromkeys(causes))
    which = np.array([[cause == one for one in kinds] for cause in causes], float)
    kind = CATALOGUE[measure]
    grid = np.linspace(kind.low, kind.high, POINTS)
    spread = _spread(measure, again, now.rough)
    elsewhere = max(now.sound, float(now.of_causes()[:, _named()].max()))
    told = gained = 0.0
    for place in places:
        chances = np.stack(
            [likelihood_of_engine(measure, Deviation(off, spread, "", again), place, sides) for off in grid], axis=1
        )
        chances = chances / chances.sum(axis=1, keepdims=True)
        joint = which.T @ (now.engine[:, None] * chances)
        told += float(_told(joint[None])[0])
        none = joint[0] / max(float(joint[0].sum()), 1e-300)
        best = np.maximum(joint[1:].max(axis=0), elsewhere * none).sum()
        gained += float(best - max(joint[1:].sum(axis=1).max(), elsewhere))
    return Worth(told, gained)


@lru_cache(maxsize=8)
def _best_elsewhere(now: Beliefs) -> Floats:
    """The odds of the likeliest that is not at each bore: another's cause, the engine's, or that all is sound."""
    at_bores = now.of_causes()[:, _named()].max(axis=1)
    whole = max([now.sound, *now.of_engine_causes().values()])
    second, first = np.sort(np.append(at_bores, 0.0))[-2:]
    return np.asarray(np.maximum(np.where(at_bores < first, first, second), whole))


@cache
def _named() -> list[int]:
    return [BORE_CAUSES.index(cause) for cause in BORE_CAUSES if cause not in (EngineFault.NONE, EngineFault.UNKNOWN)]


def _told(joint: Floats) -> Floats:
    """What outcomes tell of causes [nats], of shape (places,); ``joint`` chances are (places, causes, outcomes)."""
    cause, outcome = joint.sum(axis=2), joint.sum(axis=1)
    alone = cause[:, :, None] * outcome[:, None, :]
    return np.asarray((joint * np.log(np.maximum(joint, 1e-300) / np.maximum(alone, 1e-300))).sum(axis=(1, 2)))


def _spread(measure: FindingKind, again: bool, rough: float) -> float:
    """Of what is new in a reading, one standard deviation."""
    kind = CATALOGUE[measure]
    return rough * kind.spread * (math.sqrt((1 + kind.stays) / (1 - kind.stays)) if again else 1.0)


@cache
def outcomes(
    measure: FindingKind, again: bool = False, rough: float = 1.0, evened: FindingKind = FindingKind.AIR
) -> Floats:
    """The chance of each outcome of a test in each state of a bore, of shape (states, outcomes).

    Parameters: ``measure`` that is made; ``again`` where it is a second look, of which a part only is new; ``rough`` is
    how many times as wide as told its spread is; ``evened`` is what the plates were evened by.
    """
    kind = CATALOGUE[measure]
    if kind.use is Use.WORD:
        columns = [of_bore(measure, Deviation(0.0, 0.0, word)) for word in kind.words]
        new = 1 - kind.stays if again else 1.0
        chances = np.stack(columns, axis=1)
        chances = chances / chances.sum(axis=1, keepdims=True)
        return np.asarray(new * chances + (1 - new) / len(kind.words))
    spread = _spread(measure, again, rough)
    grid = np.linspace(kind.low, kind.high, POINTS)
    columns = [of_bore(measure, Deviation(off, spread, "", again), 0.0, evened) for off in grid]
    chances = np.stack(columns, axis=1)
    assert len(chances) == len(bore_states().size)
    return np.asarray(chances / chances.sum(axis=1, keepdims=True))
