"""The one next test: the most told about cause and place for a minute, a change of state shared by what follows."""

from collections.abc import Collection, Iterable, Mapping
from dataclasses import dataclass, replace

import numpy as np

from app.sync.diagnosis.causes import EngineFault, bore_states
from app.sync.diagnosis.evidence import FEWEST_BORES, Deviation, Place
from app.sync.diagnosis.measurements import CATALOGUE, CHANGE_OF_STATE, Extent, FindingKind, minutes, runs
from app.sync.diagnosis.posterior import Beliefs
from app.sync.diagnosis.worth import Worth, of_bores, of_engine
from app.sync.slips.changes import Floats

SHORTEST = 2.0
"""What even a short test takes a person to go to and enter [min], our judgement."""
DOUBTFUL, SUSPECT = 0.25, 0.25
"""Odds that all is sound below which only suspects are tested, and odds of a fault that make one; our judgement."""
TURNED_FROM = 0.05
"""How far off a plate is by what it was evened by, as a share, before it is turned to see if it answers; our
judgement."""
NAME = 1.0
"""What a chance of the right name is worth beside what is told of causes [nats], our judgement."""


@dataclass(frozen=True, slots=True)
class NextTest:
    """A test that may be made next: at which bores (empty for engine and banks), how long it takes, what it tells.

    ``told`` is in nats, ``rate`` in nats a minute with the change of state shared with the best test after it;
    ``gained`` is what the chance to name the cause right grows by, ``again`` says that it is a second look.
    """

    measure: FindingKind
    bores: tuple[int, ...]
    minutes: float
    told: float
    gained: float
    rate: float = 0.0
    again: bool = False


def ranked(
    now: Beliefs,
    shown: Mapping[Place, Deviation],
    allowed: Collection[FindingKind],
    running: bool,
    bore: int | None = None,
) -> tuple[NextTest, ...]:
    """Every test that may be made and was not, or is worth a second look, the best first.

    Parameters: ``now`` is the posterior after ``shown``, what was seen; ``allowed`` are the tests that may be made;
    ``running`` says whether the engine runs now; ``bore`` that tests of one bore are to be made at, counted from 0,
    None for the best.
    """
    ready = _set_up(shown, running)
    found = [test for measure in FindingKind if measure in allowed for test in _candidates(measure, now, shown, bore)]
    priced = [
        replace(
            one,
            minutes=one.minutes
            + (0.0 if runs(one.measure) is running else CHANGE_OF_STATE)
            - (CATALOGUE[one.measure].once if one.measure in ready else 0.0),
        )
        for one in found
    ]
    best = [max(those, key=_alone) for those in _by_measure(priced).values()]
    return tuple(sorted((replace(one, rate=_rate(one, best, running)) for one in best), key=lambda one: -one.rate))


def _by_measure(found: Iterable[NextTest]) -> Mapping[FindingKind, list[NextTest]]:
    several: dict[FindingKind, list[NextTest]] = {}
    for one in found:
        several.setdefault(one.measure, []).append(one)
    return several


def _alone(one: NextTest) -> float:
    return _worth(one) / max(one.minutes, SHORTEST)


def _worth(one: NextTest) -> float:
    return one.told + NAME * one.gained


def _rate(one: NextTest, others: Iterable[NextTest], running: bool) -> float:
    """Nats a minute, alone or with the best test that would follow in the same state of the engine."""
    rates = [_alone(one)]
    if runs(one.measure) is not running:
        for other in others:
            if other.measure is not one.measure and runs(other.measure) is runs(one.measure):
                spent = one.minutes + other.minutes - CHANGE_OF_STATE
                rates.append((_worth(one) + _worth(other)) / max(spent, SHORTEST))
    return max(rates)


def _candidates(
    measure: FindingKind, now: Beliefs, shown: Mapping[Place, Deviation], bore: int | None
) -> list[NextTest]:
    scope = CATALOGUE[measure].scope
    suspects, whole = _suspects(now)
    if scope in (Extent.ENGINE, Extent.BANK):
        places = [None] if scope is Extent.ENGINE else list(range(max(now.banks) + 1))
        again = all((measure, place) in shown for place in places)
        if again and not any(_once((measure, place), shown) for place in places):
            return []
        told, gained = of_engine(now, measure, places, again) if whole else Worth(0.0, 0.0)
        return [NextTest(measure, (), minutes(measure, 0), told, gained, again=again)]
    found = []
    left = [place for place in range(len(now.banks)) if (measure, place) not in shown]
    once = [place for place in range(len(now.banks)) if _once((measure, place), shown)]
    if scope is Extent.BORE and bore is not None:
        left, once = [place for place in left if place == bore], [place for place in once if place == bore]
    if measure is FindingKind.RESET:
        left = [place for place in left if _is_off(shown.get((now.evened, place)))]
    if left:
        least = max(FEWEST_BORES - (len(now.banks) - len(left)), 1) if scope is Extent.ROUND else 1
        found += _at_several(measure, now, left, least, suspects, again=False)
    if once:
        found += _at_several(measure, now, once, 1, suspects, again=True)
    return found


def _at_several(
    measure: FindingKind, now: Beliefs, places: list[int], least: int, suspects: Floats, again: bool
) -> list[NextTest]:
    """The test at the bore where it tells most, at the two where it does, and so on."""
    told, gained = of_bores(now, measure, places, again)
    told, gained = told * suspects[places], gained * suspects[places]
    order = np.argsort(-told, kind="stable")
    sums, gains = np.cumsum(told[order]), np.cumsum(gained[order])
    counts = np.arange(min(least, len(places)), len(places) + 1)
    spent = np.array([minutes(measure, int(count)) for count in counts])
    best = {int(counts[np.argmax(sums[counts - 1] / np.maximum(spent + extra, SHORTEST))])
            for extra in (0.0, CHANGE_OF_STATE, -CATALOGUE[measure].once)}  # fmt: skip
    return [
        NextTest(
            measure,
            tuple(sorted(places[number] for number in order[:count])),
            minutes(measure, count),
            float(sums[count - 1]),
            float(gains[count - 1]),
            again=again,
        )
        for count in best
    ]


def _once(place: Place, shown: Mapping[Place, Deviation]) -> bool:
    return place in shown and not shown[place].again and CATALOGUE[place[0]].stays < 1


def _set_up(shown: Mapping[Place, Deviation], running: bool) -> set[FindingKind]:
    """Tests whose instrument is still in place: those made since the engine was last started or stopped."""
    ready: set[FindingKind] = set()
    for measure, _ in reversed(list(shown)):
        if runs(measure) is not running:
            break
        ready.add(measure)
    return ready


def _is_off(shown: Deviation | None) -> bool:
    """Whether a plate may be turned for what it was evened by: one that is even is left alone."""
    return shown is not None and abs(shown.off) >= TURNED_FROM


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
