"""The diagnosis of an uneven engine: odds before evidence, order, what is missing, and what is never said."""

import random

import pytest

from app.sync.diagnosis.causes import TABLE, EngineFault, bore_states
from app.sync.diagnosis.diagnose import Verdict, diagnose
from app.sync.diagnosis.evidence import Finding, seen
from app.sync.diagnosis.measurements import CATALOGUE, Extent, FindingKind, Run, Use
from app.sync.diagnosis.posterior import posterior

BANKS = (0, 0, 0, 0, 1, 1, 1, 1)


def findings(seed: int, tests: int) -> list[Finding]:
    """Some tests of an engine of eight, with figures and words at random."""
    pick = random.Random(seed)
    found = []
    for measure in pick.sample(list(FindingKind), tests):
        kind = CATALOGUE[measure]
        places: list[tuple[int | None, int | None]] = [(bore, None) for bore in range(8)]
        if kind.scope is Extent.ENGINE:
            places = [(None, None)]
        elif kind.scope is Extent.BANK:
            places = [(None, 0), (None, 1)]
        for bore, bank in places:
            if kind.use is Use.WORD:
                found.append(Finding(measure, bore, None, pick.choice(kind.words), bank))
            else:
                found.append(Finding(measure, bore, 10.0 + kind.sound + pick.gauss(0, 2 * kind.spread), "", bank))
    return found


@pytest.mark.parametrize("banks", [(0,) * 4, BANKS, (0, 1) * 6])
@pytest.mark.parametrize("sound", [0.5, 0.15])
def test_without_evidence_the_odds_are_exactly_those_before(banks: tuple[int, ...], sound: float) -> None:
    assert posterior(banks, {}, sound).sound == pytest.approx(sound, abs=1e-12)
    assert float(posterior(banks, {}, sound).bores.sum()) == pytest.approx(len(banks), abs=1e-9)


@pytest.mark.parametrize("seed", range(12))
def test_the_order_of_the_findings_changes_nothing(seed: int) -> None:
    found = findings(seed, 6)
    first = posterior(BANKS, seen(found))
    random.Random(seed).shuffle(found)
    later = posterior(BANKS, seen(found))
    assert later.bores == pytest.approx(first.bores, abs=1e-12)
    assert later.engine == pytest.approx(first.engine, abs=1e-12)


@pytest.mark.parametrize("seed", range(12))
def test_any_finding_may_be_missing(seed: int) -> None:
    found = findings(seed, 5)
    for left_out in range(0, len(found), 5):
        told = diagnose(BANKS, found[:left_out] + found[left_out + 1 :])
        assert 0 <= told.sound <= 1


@pytest.mark.parametrize("seed", range(40))
def test_found_is_said_only_after_the_test_that_looks_at_the_cause(seed: int) -> None:
    found = findings(seed, 1 + seed % 8)
    told = diagnose(BANKS, found)
    if told.verdict is Verdict.FOUND:
        first = told.standing[0]
        assert first.odds >= 0.9
        assert {one.measure for one in found} & set(TABLE[first.cause].direct)


@pytest.mark.parametrize("seed", range(12))
def test_no_test_is_offered_that_is_not_allowed_or_was_made(seed: int) -> None:
    found = findings(seed, 4)
    allowed = tuple(one for one in FindingKind if CATALOGUE[one].run is not Run.OPENED)
    following = diagnose(BANKS, found, allowed).next_test
    made = {one.measure for one in found}
    assert following is None or (following.measure in allowed and following.measure not in made)


def test_every_share_of_the_states_adds_up_by_cause() -> None:
    states = bore_states()
    for cause in EngineFault:
        if cause not in (EngineFault.SHARED_LEAK, EngineFault.EXHAUST):
            assert float(states.share @ states.of(cause)) == pytest.approx(1.0)


def test_blowing_into_the_next_bore_does_not_fit_a_valve() -> None:
    found = [Finding(FindingKind.COMPRESSION, bore, 1150.0 - 500 * (bore == 2)) for bore in range(8)]
    found += [Finding(FindingKind.COMPRESSION, 2, 650.0)]
    told = diagnose(BANKS, [*found, Finding(FindingKind.LEAK_DOWN, 2, word="neighbor")])
    assert told.verdict is not Verdict.FOUND


def test_scale_of_a_meter_drops_out() -> None:
    air = [6.5, 6.4, 6.6, 8.0, 6.5, 6.5, 6.4, 6.6]
    first = posterior(BANKS, seen([Finding(FindingKind.AIR, bore, value) for bore, value in enumerate(air)]))
    scaled = posterior(BANKS, seen([Finding(FindingKind.AIR, bore, value * 3.6) for bore, value in enumerate(air)]))
    assert scaled.bores == pytest.approx(first.bores, abs=1e-9)
