"""The one next test: the most told about cause and place for a minute, a change of state shared by what follows."""

from collections.abc import Collection, Iterable, Mapping
from dataclasses import dataclass, replace
from functools import cache

import numpy as np

from app.sync.diagnosis.causes import Cause, bore_states
from app.sync.diagnosis.evidence import Place, Seen
from app.sync.diagnosis.likelihood import engine_states, of_bore, of_engine
from app.sync.diagnosis.measurements import CATALOGUE, CHANGE_OF_STATE, Measure, Scope, Use, minutes, runs
from app.sync.diagnosis.posterior import Posterior, by_cause
from app.sync.slips.changes import Floats

POINTS = 40
"""Outcomes that a figure's range is cut into, by definition a grid."""
SHORTEST = 0.25
"""What even a figure that is there already takes to enter [min], our judgement."""
DOUBTFUL, SUSPECT = 0.10, 0.25
"""Odds that all is sound below which only suspects are tested, and odds of a fault that make one; our judgement."""


@dataclass(frozen=True, slots=True)
class Test:
    """A test that may be made next: at which bores (empty for engine and banks), how long it takes, what it tells.

    ``told`` is in nats, ``rate`` in nats a minute with the change of state shared with the best test after it.
    """

    measure: Measure
    bores: tuple[int, ...]
    minutes: float
    told: float
    rate: float


def ranked(
    now: Posterior,
    shown: Mapping[Place, Seen],
    allowed: Collection[Measure],
    running: bool,
    bore: int | None = None,
) -> tuple[Test, ...]:
    """Every test that may be made and was not, the best first; of tests of one bore that at ``bore``, or the best.

    ``running`` says whether the engine runs now.
    """
    found = [
        test for measure in Measure if measure in allowed and (test := _candidate(measure, now, shown, running, bore))
    ]
    return tuple(sorted((replace(one, rate=_rate(one, found, running)) for one in found), key=lambda one: -one.rate))


def _rate(one: Test, others: Iterable[Test], running: bool) -> float:
    """Nats a minute, alone or with the best test that would follow in the same state of the engine."""
    rates = [one.told / max(one.minutes, SHORTEST)]
    if runs(one.measure) is not running:
        for other in others:
            if other.measure is not one.measure and runs(other.measure) is runs(one.measure):
                spent = one.minutes + other.minutes - CHANGE_OF_STATE
                rates.append((one.told + other.told) / max(spent, SHORTEST))
    return max(rates)


def _candidate(
    measure: Measure, now: Posterior, shown: Mapping[Place, Seen], running: bool, bore: int | None
) -> Test | None:
    scope = CATALOGUE[measure].scope
    change = 0.0 if runs(measure) is running else CHANGE_OF_STATE
    bores, whole = _suspects(now)
    if scope in (Scope.ENGINE, Scope.BANK):
        places = [None] if scope is Scope.ENGINE else list(range(max(now.banks) + 1))
        if all((measure, place) in shown for place in places):
            return None
        told = sum(_told_of_engine(now, measure, place) for place in places) if whole else 0.0
        return Test(measure, (), minutes(measure, 0) + change, told, 0.0)
    left = [place for place in range(len(now.banks)) if (measure, place) not in shown]
    if scope is Scope.BORE and bore is not None:
        left = [place for place in left if place == bore]
    if not left:
        return None
    told_each = _told(now.bores[left], outcomes(measure)) * bores[left]
    if scope is Scope.ROUND:
        return Test(measure, tuple(left), minutes(measure, len(left)) + change, float(told_each.sum()), 0.0)
    best = int(np.argmax(told_each))
    return Test(measure, (left[best],), minutes(measure, 1) + change, float(told_each[best]), 0.0)


def _suspects(now: Posterior) -> tuple[Floats, bool]:
    """At which bores (1.0 or 0.0), and whether at the engine as a whole, something is still to be told.

    Everywhere while all may be sound; where the fault is known to be, only there: a second one is looked for after
    the first is put right.
    """
    faulty = 1 - now.bores @ bore_states().of(Cause.NONE)
    whole = 1 - float(now.engine[0])
    if now.sound > DOUBTFUL or max(float(faulty.max()), whole) < SUSPECT:
        return np.ones(len(now.banks)), True
    return np.asarray((faulty >= SUSPECT).astype(float)), whole >= SUSPECT


def _told(odds: Floats, chances: Floats) -> Floats:
    """What an outcome tells of the cause at each bore [nats], shape (bores,); ``chances`` are (states, outcomes)."""
    split = odds[:, None, :] * by_cause().T[None]
    joint = split @ chances
    cause, outcome = joint.sum(axis=2), joint.sum(axis=1)
    alone = cause[:, :, None] * outcome[:, None, :]
    return np.asarray((joint * np.log(np.maximum(joint, 1e-300) / np.maximum(alone, 1e-300))).sum(axis=(1, 2)))


def _told_of_engine(now: Posterior, measure: Measure, place: int | None) -> float:
    sides = max(now.banks) + 1
    causes = [(state.cause, state.bank) for state in engine_states(sides)]
    which = np.array([[cause == one for one in dict.fromkeys(causes)] for cause in causes], float)
    kind = CATALOGUE[measure]
    grid = np.linspace(kind.low, kind.high, POINTS)
    chances = np.stack([of_engine(measure, Seen(off, kind.spread), place, sides) for off in grid], axis=1)
    chances = chances / chances.sum(axis=1, keepdims=True)
    joint = which.T @ (now.engine[:, None] * chances)
    alone = joint.sum(axis=1, keepdims=True) * joint.sum(axis=0, keepdims=True)
    return float((joint * np.log(np.maximum(joint, 1e-300) / np.maximum(alone, 1e-300))).sum())


@cache
def outcomes(measure: Measure) -> Floats:
    """The chance of each outcome of a test in each state of a bore, of shape (states, outcomes)."""
    kind = CATALOGUE[measure]
    if kind.use is Use.WORD:
        columns = [of_bore(measure, Seen(0.0, 0.0, word)) for word in kind.words]
    else:
        columns = [of_bore(measure, Seen(off, kind.spread)) for off in np.linspace(kind.low, kind.high, POINTS)]
    chances = np.stack(columns, axis=1)
    assert len(chances) == len(bore_states().size)
    return np.asarray(chances / chances.sum(axis=1, keepdims=True))
