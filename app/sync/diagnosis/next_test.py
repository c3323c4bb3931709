"""The one next test: the most told about cause and place for a minute, a change of state shared by what follows."""

from collections.abc import Collection, Iterable, Mapping
from dataclasses import dataclass, replace
from functools import cache

import numpy as np
from numpy.typing import NDArray

from app.sync.diagnosis.causes import BORE_CAUSES, TABLE, EngineFault, bore_states
from app.sync.diagnosis.evidence import FEWEST_BORES, Deviation, Place
from app.sync.diagnosis.likelihood import engine_states, of_bore, of_engine
from app.sync.diagnosis.measurements import CATALOGUE, CHANGE_OF_STATE, Extent, FindingKind, Use, minutes, runs
from app.sync.diagnosis.posterior import Beliefs
from app.sync.slips.changes import Floats

POINTS = 40
"""Outcomes that a figure's range is cut into, by definition a grid."""
SHORTEST = 0.25
"""What even a figure that is there already takes to enter [min], our judgement."""
DOUBTFUL, SUSPECT = 0.25, 0.25
"""Odds that all is sound below which only suspects are tested, and odds of a fault that make one; our judgement."""
TURNED_FROM = 0.05
"""How far its own air is off, as a logarithm, before a plate is turned to see if it answers; our judgement."""


@dataclass(frozen=True, slots=True)
class NextTest:
    """A test that may be made next: at which bores (empty for engine and banks), how long it takes, what it tells.

    ``told`` is in nats, ``rate`` in nats a minute with the change of state shared with the best test after it.
    """

    measure: FindingKind
    bores: tuple[int, ...]
    minutes: float
    told: float
    rate: float


def ranked(
    now: Beliefs,
    shown: Mapping[Place, Deviation],
    allowed: Collection[FindingKind],
    running: bool,
    bore: int | None = None,
) -> tuple[NextTest, ...]:
    """Every test that may be made and was not, the best first.

    Parameters: ``now`` is the posterior after ``shown``, what was seen; ``allowed`` are the tests that may be made;
    ``running`` says whether the engine runs now; ``bore`` that tests of one bore are to be made at, counted from 0,
    None for the best.
    """
    found = [
        test
        for measure in FindingKind
        if measure in allowed and (test := _candidate(measure, now, shown, running, bore))
    ]
    return tuple(
        sorted(
            (replace(one, rate=_rate(one, found, running) / (1 - NEEDED * _needed(one, now))) for one in found),
            key=lambda one: -one.rate,
        )
    )


NEEDED = 0.5


def _needed(one: NextTest, now: Beliefs) -> float:
    if not one.bores:
        return sum(odds for (cause, _), odds in now.of_engine_causes().items() if one.measure in TABLE[cause].direct)
    causes = [cause for cause in BORE_CAUSES if one.measure in TABLE[cause].direct]
    return float((now.bores[list(one.bores)] @ bore_states().of(*causes)).max())


def _rate(one: NextTest, others: Iterable[NextTest], running: bool) -> float:
    """Nats a minute, alone or with the best test that would follow in the same state of the engine."""
    rates = [one.told / max(one.minutes, SHORTEST)]
    if runs(one.measure) is not running:
        for other in others:
            if other.measure is not one.measure and runs(other.measure) is runs(one.measure):
                spent = one.minutes + other.minutes - CHANGE_OF_STATE
                rates.append((one.told + other.told) / max(spent, SHORTEST))
    return max(rates)


def _candidate(
    measure: FindingKind, now: Beliefs, shown: Mapping[Place, Deviation], running: bool, bore: int | None
) -> NextTest | None:
    scope = CATALOGUE[measure].scope
    change = 0.0 if runs(measure) is running else CHANGE_OF_STATE
    if measure in _set_up(shown, running):
        change -= CATALOGUE[measure].once
    bores, whole = _suspects(now)
    if scope in (Extent.ENGINE, Extent.BANK):
        places = [None] if scope is Extent.ENGINE else list(range(max(now.banks) + 1))
        if all((measure, place) in shown for place in places):
            return None
        told = sum(_told_of_engine(now, measure, place) for place in places) if whole else 0.0
        return NextTest(measure, (), minutes(measure, 0) + change, told, 0.0)
    left = [place for place in range(len(now.banks)) if (measure, place) not in shown]
    if scope is Extent.BORE and bore is not None:
        left = [place for place in left if place == bore]
    if measure is FindingKind.RESET:
        left = [place for place in left if _is_off(shown.get((FindingKind.AIR, place)))]
    if not left:
        return None
    told_each = _told(now.bores[left], outcomes(measure)) * bores[left]
    order = [int(number) for number in np.argsort(-told_each, kind="stable")]
    least = max(FEWEST_BORES - (len(now.banks) - len(left)), 1) if scope is Extent.ROUND else 1
    several = [
        NextTest(
            measure,
            tuple(sorted(left[number] for number in order[:count])),
            minutes(measure, count) + change,
            float(told_each[order[:count]].sum()),
            0.0,
        )
        for count in range(min(least, len(left)), len(left) + 1)
    ]
    return max(several, key=lambda one: one.told / max(one.minutes, SHORTEST))


def _set_up(shown: Mapping[Place, Deviation], running: bool) -> set[FindingKind]:
    """Tests whose instrument is still in place: those made since the engine was last started or stopped."""
    ready: set[FindingKind] = set()
    for measure, _ in reversed(list(shown)):
        if runs(measure) is not running:
            break
        ready.add(measure)
    return ready


def _is_off(air: Deviation | None) -> bool:
    """Whether a plate may be turned for what its air shows: one that is even is left alone."""
    return air is not None and abs(air.off) >= TURNED_FROM


def _suspects(now: Beliefs) -> tuple[Floats, bool]:
    """At which bores (1.0 or 0.0), and whether at the engine as a whole, something is still to be told.

    Everywhere while all may be sound; where the fault is known to be, only there: a second one is looked for after
    the first is repaired.
    """
    faulty = 1 - now.bores @ bore_states().of(EngineFault.NONE)
    whole = 1 - float(now.engine[0])
    if now.sound > DOUBTFUL or max(float(faulty.max()), whole) < SUSPECT:
        return np.ones(len(now.banks)), True
    return np.asarray((faulty >= SUSPECT).astype(float)), whole >= SUSPECT


def _told(odds: Floats, chances: Floats) -> Floats:
    """What an outcome tells of the cause at each bore [nats], shape (bores,); ``chances`` are (states, outcomes)."""
    joint = np.add.reduceat(odds[:, :, None] * chances[None], _first_states(), axis=1)
    cause, outcome = joint.sum(axis=2), joint.sum(axis=1)
    alone = cause[:, :, None] * outcome[:, None, :]
    return np.asarray((joint * np.log(np.maximum(joint, 1e-300) / np.maximum(alone, 1e-300))).sum(axis=(1, 2)))


@cache
def _first_states() -> NDArray[np.intp]:
    """Where each cause begins among the states."""
    return np.flatnonzero(np.diff(bore_states().cause, prepend=-1.0))


def _told_of_engine(now: Beliefs, measure: FindingKind, place: int | None) -> float:
    sides = max(now.banks) + 1
    causes = [(state.cause, state.bank) for state in engine_states(sides)]
    which = np.array([[cause == one for one in dict.fromkeys(causes)] for cause in causes], float)
    kind = CATALOGUE[measure]
    grid = np.linspace(kind.low, kind.high, POINTS)
    chances = np.stack([of_engine(measure, Deviation(off, kind.spread), place, sides) for off in grid], axis=1)
    chances = chances / chances.sum(axis=1, keepdims=True)
    joint = which.T @ (now.engine[:, None] * chances)
    alone = joint.sum(axis=1, keepdims=True) * joint.sum(axis=0, keepdims=True)
    return float((joint * np.log(np.maximum(joint, 1e-300) / np.maximum(alone, 1e-300))).sum())


@cache
def outcomes(measure: FindingKind) -> Floats:
    """The chance of each outcome of a test in each state of a bore, of shape (states, outcomes).

    Parameters: ``measure`` that is made.
    """
    kind = CATALOGUE[measure]
    if kind.use is Use.WORD:
        columns = [of_bore(measure, Deviation(0.0, 0.0, word)) for word in kind.words]
    else:
        columns = [of_bore(measure, Deviation(off, kind.spread)) for off in np.linspace(kind.low, kind.high, POINTS)]
    chances = np.stack(columns, axis=1)
    assert len(chances) == len(bore_states().size)
    return np.asarray(chances / chances.sum(axis=1, keepdims=True))
