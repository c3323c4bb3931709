"""What is said of an uneven engine: the causes still standing, whether they fit, and the one next test."""

from collections.abc import Collection, Iterable, Mapping, Sequence
from dataclasses import dataclass
from enum import StrEnum

import numpy as np

from app.sync.diagnosis.causes import BORE_CAUSES, SOUND_BEFORE, TABLE, EngineFault, bore_states
from app.sync.diagnosis.chain import expected, worded
from app.sync.diagnosis.evidence import Deviation, Finding, Place, seen
from app.sync.diagnosis.likelihood import doubt
from app.sync.diagnosis.measurements import CATALOGUE, Extent, FindingKind, Use
from app.sync.diagnosis.next_test import NextTest, ranked
from app.sync.diagnosis.posterior import Beliefs, believed
from app.sync.diagnosis.reasons import speaking_for

NAMED, SOUND_ENOUGH, LIKELY = 0.90, 0.95, 0.50
"""Odds from which a cause is found, from which nothing more is looked for, and from which one is likely if that
nothing is wrong is not likelier; our judgement."""
MORE_SOUND = 0.45
"""Odds that nothing is wrong from which no cause is said to be found, our judgement."""
LEAST_DOUBT = 0.03
"""Doubt of the likeliest that the test of itself has to be able to clear for a minute [1/min], our judgement."""
LEAST_RATE = 0.003
"""What a test has to tell for a minute to be worth making [nats/min], our judgement."""
ALSO_WRONG = 0.5
"""Odds of a fault at another bore from which the cause that leads does not explain all; our judgement."""
LEAST_GAIN = 0.02
"""What a test has to add to the chance of the right name for a minute, where a cause is likely [1/min]; our
judgement."""
MOST_STANDING = 3
"""Causes shown at most, our judgement."""
TOO_FAR = 3.5
"""Standard deviations beyond which a reading does not fit a cause, our judgement."""
TOO_RARE = 40.0
"""How many times less likely than its commonest word a word is that does not fit a cause, our judgement."""


class Verdict(StrEnum):
    """What is said: `found` after the test that looks at the cause itself, `likely` when no test is worth its minutes,
    `does_not_fit` where a reading speaks against the cause that leads, `none_found`, `not_told`, and `going`."""

    FOUND = "found"
    LIKELY = "likely"
    DOES_NOT_FIT = "does_not_fit"
    NONE_FOUND = "none_found"
    NOT_TOLD = "not_told"
    GOING = "going"


@dataclass(frozen=True, slots=True)
class Standing:
    """A cause that is still standing, where, and how likely.

    ``against`` are the measurements that do not fit it, ``speaking`` those that speak most for it, ``unchecked`` those
    that have to be made before it may be called found.
    """

    cause: EngineFault
    bore: int | None
    bank: int | None
    odds: float
    looked_at: bool
    against: tuple[FindingKind, ...]
    speaking: tuple[FindingKind, ...] = ()
    unchecked: tuple[FindingKind, ...] = ()


@dataclass(frozen=True, slots=True)
class Diagnosis:
    """The verdict, at most three causes standing, the odds that all is sound, the next test, what was looked at and
    what was not; ``also_wrong`` are the other bores at which something is wrong, counted from 0."""

    verdict: Verdict
    standing: tuple[Standing, ...]
    sound: float
    next_test: NextTest | None
    looked_at: tuple[FindingKind, ...]
    not_looked_at: tuple[FindingKind, ...]
    also_wrong: tuple[int, ...]


def diagnose(
    banks: Sequence[int],
    findings: Iterable[Finding],
    allowed: Collection[FindingKind] = tuple(FindingKind),
    *,
    running: bool = True,
    sound: float = SOUND_BEFORE,
    evened: FindingKind = FindingKind.AIR,
) -> Diagnosis:
    """Weigh the findings of an engine, and say what is next.

    Parameters: ``banks`` gives each bore's bank, counted from 0; ``findings`` in the order they were made; ``allowed``
    are the tests that place, instruments and hands allow; ``running`` says whether the engine runs now; ``sound`` is
    the chance before the findings that nothing is wrong; ``evened`` is what the plates were evened by, air or vacuum.
    """
    kept = tuple(findings)
    now = believed(banks, kept, sound, evened)
    shown = seen(kept, now.rough)
    standing = _standing(now, shown)
    looked_at = tuple(dict.fromkeys(measure for measure, _ in shown))
    following = _next(now, shown, standing, allowed, running)
    also_wrong = _also_wrong(now, standing[0])
    return Diagnosis(
        _verdict(now, standing, following, also_wrong),
        standing,
        now.sound,
        following,
        looked_at,
        tuple(measure for measure in FindingKind if measure not in looked_at),
        also_wrong,
    )


def _standing(now: Beliefs, shown: Mapping[Place, Deviation]) -> tuple[Standing, ...]:
    odds = now.of_causes()
    rows: list[tuple[float, EngineFault, int | None, int | None]] = [
        (float(odds[bore, number]), cause, bore, None)
        for bore in range(len(now.banks))
        for number, cause in enumerate(BORE_CAUSES)
        if cause is not EngineFault.NONE
    ]
    rows += [(chance, cause, None, bank) for (cause, bank), chance in now.of_engine_causes().items()]
    rows.sort(key=lambda row: -row[0])
    return tuple(_one(now, shown, *row) for row in rows[:MOST_STANDING])


def _one(
    now: Beliefs,
    shown: Mapping[Place, Deviation],
    odds: float,
    cause: EngineFault,
    bore: int | None,
    bank: int | None,
) -> Standing:
    place = bank if bore is None else bore
    unchecked = tuple(one for one in TABLE[cause].before if (one, place) not in shown)
    looked_at = not unchecked and any((one, place) in shown for one in TABLE[cause].direct)
    against, speaking = _against(now, cause, bore, shown), speaking_for(now, cause, bore, bank, shown)
    return Standing(cause, bore, bank, odds, looked_at, against, speaking, unchecked)


def _against(
    now: Beliefs, cause: EngineFault, bore: int | None, shown: Mapping[Place, Deviation]
) -> tuple[FindingKind, ...]:
    """The measurements at that bore that lie too far from everything the cause is likely to show."""
    if bore is None or cause is EngineFault.UNKNOWN:
        return ()
    mine = (bore_states().cause == BORE_CAUSES.index(cause)) & (now.bores[bore] > 0)
    weights = np.where(mine, now.bores[bore], 0.0)
    likely = weights >= 0.05 * weights.max()
    found = []
    for (measure, place), one in shown.items():
        kind = CATALOGUE[measure]
        if place != bore or kind.scope in (Extent.BANK, Extent.ENGINE):
            continue
        if kind.use is Use.WORD:
            chances = weights @ worded()[measure] / max(weights.sum(), 1e-300)
            apart = chances[kind.words.index(one.word)] * TOO_RARE < chances.max()
        else:
            middle = expected(now.evened)[measure][likely]
            off = np.abs(one.off - middle) / np.hypot(one.spread, doubt(measure) * middle)
            usual = np.inf if measure in TABLE[cause].direct else abs(one.off) / one.spread
            apart = min(float(off.min()), float(usual)) > TOO_FAR
        if apart:
            found.append(measure)
    return tuple(found)


def _next(
    now: Beliefs,
    shown: Mapping[Place, Deviation],
    standing: tuple[Standing, ...],
    allowed: Collection[FindingKind],
    running: bool,
) -> NextTest | None:
    first = standing[0]
    if now.sound >= SOUND_ENOUGH:
        return None
    if first.odds >= NAMED and first.looked_at and not first.against:
        return None
    if first.odds >= NAMED and not first.looked_at:
        direct = _direct(first, ranked(now, shown, allowed, running, first.bore))
        if direct:
            return direct
    worth = [one for one in ranked(now, shown, allowed, running) if one.rate >= LEAST_RATE]
    if not is_likely(first, now.sound):
        return worth[0] if worth else None
    useful = [one for one in worth if one.gained >= LEAST_GAIN * one.minutes]
    if useful:
        return useful[0]
    direct = _direct(first, ranked(now, shown, allowed, running, first.bore), again=first.looked_at)
    return direct if direct and 1 - first.odds >= LEAST_DOUBT * direct.minutes else None


def _direct(first: Standing, found: Sequence[NextTest], again: bool = False) -> NextTest | None:
    """The shortest test that looks at the cause itself, or a second look of such a one where ``again``; what has to be
    made before it comes first."""
    at_it = [one for one in found if one.again <= again and (first.bore is None or first.bore in one.bores)]
    looks = [one for one in at_it if one.measure in first.unchecked] or [
        one for one in at_it if one.measure in TABLE[first.cause].direct
    ]
    return min(looks, key=lambda one: one.minutes) if looks else None


def is_likely(first: Standing, sound: float) -> bool:
    """Whether a cause may be called likely.

    Parameters: ``first`` is the likeliest cause; ``sound`` the odds that nothing is wrong.
    """
    return first.cause is not EngineFault.UNKNOWN and first.odds >= max(LIKELY, sound)


def _also_wrong(now: Beliefs, first: Standing) -> tuple[int, ...]:
    """The other bores at which something is wrong: no cause of one bore explains two."""
    faulty = 1 - now.bores @ bore_states().of(EngineFault.NONE)
    return tuple(bore for bore, odds in enumerate(faulty) if bore != first.bore and odds >= ALSO_WRONG)


def _verdict(
    now: Beliefs, standing: tuple[Standing, ...], following: NextTest | None, also_wrong: tuple[int, ...]
) -> Verdict:
    first = standing[0]
    named = is_likely(first, now.sound)
    if named and (first.against or also_wrong):
        return Verdict.DOES_NOT_FIT
    if named and first.odds >= NAMED and first.looked_at:
        return Verdict.FOUND
    if now.sound >= SOUND_ENOUGH:
        return Verdict.NONE_FOUND
    if following is not None:
        return Verdict.GOING
    if named:
        return Verdict.LIKELY
    return Verdict.NONE_FOUND if now.sound >= MORE_SOUND else Verdict.NOT_TOLD
