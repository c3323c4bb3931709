"""The diagnosis of an uneven engine: odds before evidence, order, what is missing, and what is never said."""

import math
import random
from collections.abc import Mapping
from itertools import product

import numpy as np
import pytest

from app.sync.diagnosis.causes import BORE_CAUSES, TABLE, EngineFault, bore_states
from app.sync.diagnosis.chain import VACUUM_BY_AIR, expected
from app.sync.diagnosis.diagnose import Verdict, diagnose
from app.sync.diagnosis.evidence import FEWEST_BORES, Deviation, Finding, Place, seen
from app.sync.diagnosis.likelihood import (
    WholeState,
    _shown_by_engine,
    engine_states,
    of_bore,
    of_engine,
    shift_of_vacuum,
)
from app.sync.diagnosis.measurements import CATALOGUE, Extent, FindingKind, Run, Use
from app.sync.diagnosis.posterior import believed, posterior
from app.sync.diagnosis.reasons import _times
from app.sync.engine.engine_air import IDLE_RATIO, IDLE_RATIO_SD, vacuum_by_air
from tests.benchmarks.fault_engine import FaultEngine

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


def random_tests(seed: int) -> tuple[tuple[int, ...], list[Finding]]:
    """The banks of a faulty engine, and what some tests show at every place of it, some of them twice."""
    engine, pick = FaultEngine(seed), random.Random(seed)
    banks = engine.banks
    found = []
    for measure in pick.choices(list(FindingKind), k=16):
        scope = CATALOGUE[measure].scope
        places = [None] if scope is Extent.ENGINE else range(max(banks) + 1 if scope is Extent.BANK else len(banks))
        for place in places:
            shown = engine.read(measure.value, place)
            word, value = (shown, None) if isinstance(shown, str) else ("", shown)
            bank, bore = (place, None) if scope is Extent.BANK else (None, place)
            found.append(Finding(measure, bore, value, word, bank))
    return banks, found


def test_found_is_said_only_after_the_test_that_looks_at_the_cause() -> None:
    found_at = 0
    for seed in range(40):
        banks, found = random_tests(seed)
        told = diagnose(banks, found)
        first = told.standing[0]
        of_itself = {
            (measure, first.bank if first.bore is None else first.bore) for measure in TABLE[first.cause].direct
        }
        made = {(one.measure, one.bank if one.bore is None else one.bore) for one in found}
        if told.verdict is Verdict.FOUND:
            found_at += 1
            assert first.odds >= 0.9
            assert made & of_itself
            without = [one for one in found if one.measure not in TABLE[first.cause].direct]
            still = diagnose(banks, without)
            same = (still.standing[0].cause, still.standing[0].bore) == (first.cause, first.bore)
            assert not (same and still.verdict is Verdict.FOUND)
    assert found_at >= 10


@pytest.mark.parametrize("seed", range(12))
def test_no_test_is_offered_that_is_not_allowed_and_none_made_but_as_a_second_look(seed: int) -> None:
    found = findings(seed, 4)
    allowed = tuple(one for one in FindingKind if CATALOGUE[one].run is not Run.OPENED)
    following = diagnose(BANKS, found, allowed).next_test
    made = {one.measure for one in found}
    assert following is None or (following.measure in allowed and following.again is (following.measure in made))


def test_what_is_on_record_is_not_read_twice() -> None:
    found = [Finding(FindingKind.RECORD, bore, 1.0 - 0.1 * (bore == 3)) for bore in range(8)]
    assert diagnose(BANKS, found, [FindingKind.RECORD]).next_test is None


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


def test_low_compression_is_not_left_without_the_test_that_tells_where_it_goes() -> None:
    """Blown into the next bore it is of no kind that is known, and all else looks like rings."""
    found = [Finding(FindingKind.COMPRESSION, bore, 1150.0 - 400 * (bore == 2)) for bore in range(8)]
    found += [Finding(FindingKind.COMPRESSION, 2, 750.0)]
    found += [Finding(FindingKind.VACUUM, bore, 38.0) for bore in range(8)] * 2
    found += [Finding(FindingKind.RECORD, bore, 1.0) for bore in range(8)]
    told = diagnose(BANKS, found, [FindingKind.LEAK_DOWN])
    assert told.standing[0].cause is EngineFault.RINGS
    assert told.standing[0].odds >= 0.7
    assert told.next_test is not None
    assert (told.next_test.measure, told.next_test.bores) == (FindingKind.LEAK_DOWN, (2,))


def test_a_cause_of_one_bore_does_not_fit_where_two_are_low() -> None:
    found = [Finding(FindingKind.COMPRESSION, bore, 650.0 if bore in (2, 3) else 1150.0) for bore in range(8)]
    found += [Finding(FindingKind.COMPRESSION, bore, 650.0) for bore in (2, 3)]
    told = diagnose(BANKS, [*found, *[Finding(FindingKind.LEAK_DOWN, 2, word="crankcase")] * 2])
    assert (told.standing[0].cause, told.standing[0].bore) == (EngineFault.RINGS, 2)
    assert told.verdict is Verdict.DOES_NOT_FIT
    assert told.also_wrong == (3,)


def test_of_three_bores_the_odd_one_leaves_the_others_even() -> None:
    shown = seen([Finding(FindingKind.FLOW, bore, 120.0 if bore == 1 else 180.0) for bore in (0, 1, 5)])
    offs = [shown[FindingKind.FLOW, bore].off for bore in (0, 1, 5)]
    assert offs == pytest.approx([0.0, -1 / 3, 0.0])


def test_a_long_round_is_asked_for_the_suspect_and_two_to_hold_it_against() -> None:
    found = [Finding(FindingKind.HEAT, bore, 430.0 - 130 * (bore == 6)) for bore in (*range(8), 6)]
    following = diagnose(BANKS, found, [FindingKind.COMPRESSION]).next_test
    assert following is not None
    assert 6 in following.bores
    assert len(following.bores) == FEWEST_BORES


@pytest.mark.parametrize(("first", "second"), [("moved", "moved"), ("moved", "still"), ("still", "still")])
def test_a_second_look_counts_but_never_as_a_stranger_would(first: str, second: str) -> None:
    def leaking(*words: str) -> float:
        shown = seen([Finding(FindingKind.SPRAY, 4, word=word) for word in words])[FindingKind.SPRAY, 4]
        likely = of_bore(FindingKind.SPRAY, shown)
        states = bore_states()
        largest = likely[states.of(EngineFault.LEAK) > 0][-1]
        return math.log(largest / likely[states.of(EngineFault.NONE) > 0][0])

    told = leaking(first, second) - leaking(first)
    assert told * leaking(second) > 0
    assert abs(told) < abs(leaking(second)) if first == second else told == pytest.approx(leaking(second))


@pytest.mark.parametrize("seed", range(6))
def test_the_odds_of_several_things_wrong_are_those_of_every_set_counted_one_by_one(seed: int) -> None:
    banks = (0, 0, 1, 1)
    shown = {place: one for place, one in seen(findings(seed, 5)).items() if place[1] is None or place[1] < 4}
    bores = by_counting(banks, shown)
    now = posterior(banks, shown)
    faulty = 1 - now.of_causes()[:, BORE_CAUSES.index(EngineFault.NONE)]
    assert faulty == pytest.approx(bores, abs=1e-9)


def by_counting(banks: tuple[int, ...], shown: Mapping[Place, Deviation]) -> list[float]:
    """How likely each bore is at fault: every set of at most three things wrong written out, its chance as SECOND has
    it, shared out as fifteen causes of a bore against two of the engine."""
    states, wholes = bore_states(), engine_states(2)
    fault_share = states.share * (1 - states.of(EngineFault.NONE)) / 15
    share = {EngineFault.SHARED_LEAK: 1 / 17 / 5, EngineFault.EXHAUST: 1 / 17 / 10}
    number_of = {number: 0.5 if not number else 0.5 * 0.1 ** (number - 1) / 1.11 for number in range(4)}
    chances: dict[tuple[int, tuple[bool, ...]], float] = {}
    weights: dict[tuple[int, tuple[bool, ...]], float] = {}
    for at, whole in enumerate(wholes):
        for which in product((False, True), repeat=len(banks)):
            weight = share.get(whole.cause, 1.0) * (15 / 17 / len(banks)) ** sum(which)
            said = 1.0
            for (measure, place), one in shown.items():
                if CATALOGUE[measure].scope in (Extent.ENGINE, Extent.BANK):
                    said *= float(of_engine(measure, one, place, 2)[at])
            for bore, wrong in enumerate(which):
                of_it = np.ones(len(states.size))
                for (measure, place), one in shown.items():
                    if place == bore and CATALOGUE[measure].scope not in (Extent.ENGINE, Extent.BANK):
                        shift = 0.0
                        if measure in (FindingKind.VACUUM, FindingKind.RECORD):
                            shift = shift_of_vacuum(measure, whole, banks[bore], 2)
                        of_it = of_it * of_bore(measure, one, shift)
                said *= float(of_it @ (fault_share if wrong else states.share * states.of(EngineFault.NONE)))
            weights[at, which], chances[at, which] = weight, weight * said
    number = {key: sum(key[1]) + (key[0] > 0) for key in weights}
    for many, chance in number_of.items():
        mine = [key for key in weights if number[key] == many]
        ways = sum(weights[key] for key in mine)
        for key in mine:
            chances[key] *= chance / ways
    kept = {key: chance for key, chance in chances.items() if number[key] <= 3}
    return [sum(c for key, c in kept.items() if key[1][bore]) / sum(kept.values()) for bore in range(len(banks))]


def test_scale_of_a_meter_drops_out() -> None:
    air = [6.5, 6.4, 6.6, 8.0, 6.5, 6.5, 6.4, 6.6]
    first = posterior(BANKS, seen([Finding(FindingKind.AIR, bore, value) for bore, value in enumerate(air)]))
    scaled = posterior(BANKS, seen([Finding(FindingKind.AIR, bore, value * 3.6) for bore, value in enumerate(air)]))
    assert scaled.bores == pytest.approx(first.bores, abs=1e-9)


@pytest.mark.parametrize(("evened", "other"), [("air", "vacuum"), ("vacuum", "air")])
def test_a_leak_shows_in_what_the_plates_were_not_evened_by(evened: str, other: str) -> None:
    """The meter that a plate was set by is even whatever leaks behind it."""
    usual = {"air": 6.5, "vacuum": 38.0}
    found = [Finding(FindingKind(evened), bore, usual[evened]) for bore in range(8)]
    found += [Finding(FindingKind(other), bore, usual[other] * (0.7 if bore == 3 else 1.0)) for bore in range(8)] * 2
    found += [Finding(FindingKind.SPRAY, 3, word="moved")] * 2
    told = diagnose(BANKS, found, evened=FindingKind(evened))
    assert (told.standing[0].cause, told.standing[0].bore) == (EngineFault.LEAK, 3)
    assert told.standing[0].odds > 0.8


@pytest.mark.parametrize(("times", "rough"), [(1.0, False), (1.8, True)])
def test_how_rough_the_instruments_are_is_learnt_from_what_they_show(times: float, rough: bool) -> None:
    """Scatter at every bore and in every round is the instruments', not eight faults."""
    pick = random.Random(11)
    shape = [-1.4, -0.9, -0.5, -0.15, 0.15, 0.5, 0.9, 1.4]
    found = []
    for measure, usual in ((FindingKind.HEAT, 420.0), (FindingKind.AIR, 6.5), (FindingKind.VACUUM, 38.0)):
        pick.shuffle(shape)
        spread = times * CATALOGUE[measure].spread * (1.0 if measure is FindingKind.HEAT else usual)
        found += [Finding(measure, bore, usual + off * spread) for bore, off in enumerate(shape)]
    now = believed(BANKS, found)
    assert (now.rough > 1) is rough
    assert now.sound > posterior(BANKS, seen(found)).sound or not rough


def test_what_speaks_for_a_cause_is_what_a_sound_bore_does_not_show() -> None:
    found = [Finding(FindingKind.AIR, bore, 6.5) for bore in range(8)]
    found += [Finding(FindingKind.VACUUM, bore, 27.0 if bore == 3 else 38.0) for bore in range(8)] * 2
    found += [Finding(FindingKind.SPRAY, 3, word="moved"), Finding(FindingKind.FEEL, 3, word="free")]
    first = diagnose(BANKS, found).standing[0]
    assert (first.cause, first.bore) == (EngineFault.LEAK, 3)
    assert set(first.speaking) == {FindingKind.SPRAY, FindingKind.VACUUM}
    choked = [Finding(FindingKind.BACK_PRESSURE, None, value, "", bank) for bank, value in enumerate((4.2, 26.0))]
    assert diagnose(BANKS, choked * 2).standing[0].speaking == (FindingKind.BACK_PRESSURE,)


@pytest.mark.parametrize("checked", [False, True])
def test_a_plate_is_found_only_once_a_second_adapter_was_read_at_its_bore(checked: bool) -> None:
    found = [Finding(FindingKind.AIR, bore, 8.6 if bore == 2 else 6.5) for bore in range(8)] * 2
    found += [Finding(FindingKind.VACUUM, bore, 25.0 if bore == 2 else 38.0) for bore in range(8)] * 2
    found += [Finding(FindingKind.RESET, 2, 1.0), Finding(FindingKind.FEEL, 2, word="free")]
    found += [Finding(FindingKind.ADAPTER, 2, 1.0)] * checked
    told = diagnose(BANKS, found)
    first = told.standing[0]
    assert (first.cause, first.bore) == (EngineFault.PLATE, 2)
    assert first.odds >= 0.9
    assert (told.verdict is Verdict.FOUND) is checked
    if not checked:
        assert told.next_test is not None
        assert (told.next_test.measure, told.next_test.bores) == (FindingKind.ADAPTER, (2,))
        without = [one for one in FindingKind if one is not FindingKind.ADAPTER]
        assert diagnose(BANKS, found, without).verdict is not Verdict.FOUND


def test_back_pressure_is_read_again_before_a_bank_is_named() -> None:
    found = [Finding(FindingKind.BACK_PRESSURE, None, value, "", bank) for bank, value in enumerate((4.2, 26.0))]
    first = diagnose(BANKS, found, [FindingKind.BACK_PRESSURE])
    assert first.next_test is not None
    assert first.next_test.again
    again = [Finding(FindingKind.BACK_PRESSURE, None, 25.0, "", 1)]
    told = diagnose(BANKS, found + again, [FindingKind.BACK_PRESSURE])
    assert (told.standing[0].cause, told.standing[0].bank) == (EngineFault.EXHAUST, 1)
    assert told.standing[0].odds > 0.8 > first.standing[0].odds


@pytest.mark.parametrize("cause", [one for one in TABLE if one is not EngineFault.NONE])
def test_sizes_of_a_cause_ascend_and_no_share_is_of_more_than_all_there_is(cause: EngineFault) -> None:
    sizes = TABLE[cause]
    assert sorted(set(sizes.sizes)) == list(sizes.sizes)
    if sizes.unit in ("cycles", "compression", "filling", "plate-air"):
        assert 0 < sizes.sizes[0] <= sizes.sizes[-1] <= 1
    if any(size < 0 for size in sizes.sizes):  # either way is as likely
        assert [-size for size in reversed(sizes.sizes)] == list(sizes.sizes)


def test_what_an_injector_delivers_tells_of_fuel_alone() -> None:
    shown, states = expected()[FindingKind.FLOW], bore_states()
    fuel = states.of(EngineFault.LEAN, EngineFault.RICH, EngineFault.NO_FUEL) > 0
    assert (shown[~fuel] == 0).all()
    assert {round(1 + float(one), 6) for one in shown[fuel]} == {
        size for cause in (EngineFault.LEAN, EngineFault.RICH, EngineFault.NO_FUEL) for size in TABLE[cause].sizes
    }


@pytest.mark.parametrize(("value", "off"), [(0.45, math.log(0.5)), (0.9, 0.0), (0.0, None), (9.0, 0.8)])
def test_a_figure_below_one_of_its_unit_tells_as_much_as_any_other(value: float, off: float | None) -> None:
    """Half the air of the others; none at all has no logarithm; ten times is cut at what a test may show, 0.8."""
    shown = seen([Finding(FindingKind.AIR, bore, value if bore == 2 else 0.9) for bore in range(6)])
    deviation = shown.get((FindingKind.AIR, 2))
    assert (None if deviation is None else deviation.off) == (None if off is None else pytest.approx(off))


def test_the_whole_engine_shows_a_shared_leak_at_the_hose_and_a_blocked_exhaust_at_its_bank() -> None:
    leak, blocked = WholeState(EngineFault.SHARED_LEAK, 0.3, None), WholeState(EngineFault.EXHAUST, 15.0, 1)
    squeeze, pressure = FindingKind.SQUEEZE, FindingKind.BACK_PRESSURE
    assert 0.5 < _shown_by_engine(squeeze, leak, None) <= 1.0
    assert [_shown_by_engine(pressure, blocked, bank) for bank in (0, 1)] == [0.0, 15.0]
    assert _shown_by_engine(squeeze, blocked, None) == _shown_by_engine(pressure, leak, 0) == 0.0


def test_back_pressure_takes_vacuum_from_its_own_bank_and_leaves_the_other_above_the_middle() -> None:
    blocked = WholeState(EngineFault.EXHAUST, 15.0, 1)
    here, there = (shift_of_vacuum(FindingKind.VACUUM, blocked, bank, 2) for bank in (1, 0))
    assert -0.1 < here < 0 < there < 0.1  # at idle little of it is left
    assert here + there == pytest.approx(0.0)  # a round is told beside its own middle
    leak = WholeState(EngineFault.SHARED_LEAK, 0.3, None)
    assert shift_of_vacuum(FindingKind.VACUUM, leak, 0, 2) == 0.0  # which all bores share
    assert -0.3 < shift_of_vacuum(FindingKind.RECORD, leak, 0, 2) < 0


def test_the_idle_is_taken_to_be_a_little_deeper_than_usual() -> None:
    """By less than a standard deviation: where it is deeper, more air costs a smaller share of the vacuum."""
    usual, deeper = (vacuum_by_air(IDLE_RATIO - by) for by in (0.0, IDLE_RATIO_SD))
    assert deeper < VACUUM_BY_AIR < usual


def test_lash_that_is_wrong_is_wrong_by_what_a_feeler_gauge_can_show() -> None:
    """From its leaf of 0.05 mm to some 0.3 mm (common practice, no published source); more of it costs more filling."""
    of_lash = expected()[FindingKind.LASH]
    shown = sorted(set(of_lash[bore_states().of(EngineFault.LASH) > 0].round(9)))
    assert shown[0] == pytest.approx(0.05)
    assert 0.2 < shown[-1] < 0.3
    assert len(shown) == len(TABLE[EngineFault.LASH].sizes)
    assert not of_lash[bore_states().of(EngineFault.LASH) == 0].any()


def test_what_is_as_likely_at_a_sound_bore_speaks_for_nothing() -> None:
    """By definition: the logarithm of a ratio of two likelihoods, each a sum over its own states by their weight."""
    assert _times(0.3 * 0.2, 0.2, 0.3 * 0.5, 0.5) == pytest.approx(0.0)
    assert _times(0.6 * 0.2, 0.2, 0.3 * 0.5, 0.5) == pytest.approx(math.log(2))
