"""Which measurements speak for a cause: what each makes of it beside a sound bore or a sound engine."""

import math
from collections.abc import Mapping

import numpy as np

from app.sync.diagnosis.causes import BORE_CAUSES, EngineFault, bore_states
from app.sync.diagnosis.evidence import Deviation, Place
from app.sync.diagnosis.likelihood import engine_states, of_bore, of_engine
from app.sync.diagnosis.measurements import CATALOGUE, Extent, FindingKind
from app.sync.diagnosis.posterior import Beliefs

LEAST_SPEAKING = math.log(2.0)
"""How much likelier what was seen has to be made by the cause before it speaks for it [nats], our judgement."""
MOST_SPEAKING = 3
"""Measurements named at most, our judgement."""


def speaking_for(
    now: Beliefs, cause: EngineFault, bore: int | None, bank: int | None, shown: Mapping[Place, Deviation]
) -> tuple[FindingKind, ...]:
    """The measurements that speak for a cause, the strongest first.

    Parameters: ``now`` is the posterior after ``shown``, what was seen; ``cause`` at ``bore`` or ``bank``, both counted
    from 0 and None for the engine as a whole.
    """
    told = _at_bore(now, cause, bore, shown) if bore is not None else _at_engine(now, cause, bank, shown)
    strong = sorted((one for one in told.items() if one[1] >= LEAST_SPEAKING), key=lambda one: -one[1])
    return tuple(measure for measure, _ in strong[:MOST_SPEAKING])


def _at_bore(
    now: Beliefs, cause: EngineFault, bore: int, shown: Mapping[Place, Deviation]
) -> Mapping[FindingKind, float]:
    states = bore_states()
    mine = now.bores[bore] * (states.cause == BORE_CAUSES.index(cause))
    sound = states.share * states.of(EngineFault.NONE)
    told = {}
    for (measure, place), one in shown.items():
        if place == bore and CATALOGUE[measure].scope in (Extent.ROUND, Extent.BORE):
            likely = of_bore(measure, one, 0.0, now.evened)
            told[measure] = _times(float(likely @ mine), float(mine.sum()), float(likely @ sound), float(sound.sum()))
    return told


def _at_engine(
    now: Beliefs, cause: EngineFault, bank: int | None, shown: Mapping[Place, Deviation]
) -> Mapping[FindingKind, float]:
    sides = max(now.banks) + 1
    states = engine_states(sides)
    mine = now.engine * np.array([(one.cause, one.bank) == (cause, bank) for one in states])
    told = {}
    for (measure, place), one in shown.items():
        if CATALOGUE[measure].scope in (Extent.ENGINE, Extent.BANK) and place in (bank, None):
            likely = of_engine(measure, one, place, sides)
            told[measure] = _times(float(likely @ mine), float(mine.sum()), float(likely[0]), 1.0)
    return told


def _times(of_cause: float, weight: float, of_sound: float, other: float) -> float:
    """The logarithm of how many times likelier the cause makes it than a sound one [nats]."""
    return math.log(max(of_cause, 1e-300) / max(weight, 1e-300)) - math.log(max(of_sound, 1e-300) / other)
