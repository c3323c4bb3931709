"""What a simulated rough engine shows: what a sound one would, but for the one bore, by the size of its cause.

How large each effect is is our judgement, so what is held here are the limits that physics, the trade and the diagnosis
that is practiced on it set to them.
"""

import math
from collections.abc import Callable, Mapping
from dataclasses import replace
from functools import cache

import numpy as np
import pytest

from app.sync.diagnosis.chain import FALSE_ALARM, HEAT_BY_MIXTURE
from app.sync.diagnosis.measurements import CATALOGUE, FindingKind, Use
from app.sync.simulation.rough_engine import GRADES, SHOWN_BY, RoughEngine, grades
from app.sync.slips.changes import Floats

LOOKS = 200
SHOWN = sorted(kind for kind, one in CATALOGUE.items() if one.use is not Use.WORD)
WORDED = sorted(kind for kind, one in CATALOGUE.items() if one.use is Use.WORD)
USUAL: Mapping[FindingKind, tuple[float, float]] = {
    FindingKind.AIR: (4.0, 9.0),  # half a liter at 850 rpm and 20 degrees Celsius is 15.3 kg/h, of which 0.3 to 0.6
    FindingKind.VACUUM: (34.0, 68.0),  # 10 to 20 inHg
    FindingKind.HEAT: (300.0, 600.0),
    FindingKind.DROP: (30.0, 100.0),
    FindingKind.MIXTURE: (0.95, 1.05),
    FindingKind.TIMING: (5.0, 15.0),
    FindingKind.FLOW: (150.0, 300.0),
    FindingKind.COMPRESSION: (1000.0, 1400.0),
}
"""What a sound bore of a warm spark-ignition engine shows at idle (common practice, no published source)."""


@cache
def engine(cause: str, grade: str = "rough-easy", least: float = 0.0, most: float = math.inf) -> RoughEngine:
    """The first eight-bore engine of a grade that has that cause, of a size between those."""
    for one in (RoughEngine(8, seed, grade) for seed in range(999)):
        if one.drawn[0] == cause and least < one.drawn[2] < most:
            return one
    raise LookupError(cause)


def looks(rough: RoughEngine, measure: FindingKind, place: int, count: int = LOOKS) -> Floats:
    """What a test shows at a bore, made that often."""
    return np.array([rough.shows(measure, place, made) for made in range(count)])


def repaired(rough: RoughEngine) -> RoughEngine:
    """The same engine without its cause."""
    return replace(rough, cured=True)


def beside_sound(rough: RoughEngine, measure: FindingKind) -> float:
    """What the bore with the cause shows over what it does once repaired: the same draws, so nothing but the cause."""
    bore = rough.drawn[1]
    return float(looks(rough, measure, bore, 12).mean() / looks(repaired(rough), measure, bore, 12).mean())


def sound_looks(measure: FindingKind) -> Floats:
    """What a sound bore of an engine with a leak shows."""
    leaking = engine("leak")
    return looks(leaking, measure, (leaking.drawn[1] + 1) % 8)


@pytest.mark.parametrize("measure", SHOWN)
def test_a_sound_bore_scatters_within_what_the_diagnosis_takes_for_granted_and_not_far_below(
    measure: FindingKind,
) -> None:
    kind, shown = CATALOGUE[measure], sound_looks(measure)
    usual = kind.sound if kind.use is Use.ALONE else float(np.median(shown))
    if kind.use is Use.LOG:
        off = np.log(shown / usual)
    else:
        off = shown / usual - 1 if kind.use is Use.FRACTION else shown - usual
    assert 0.5 < off.std() / kind.spread < 1.0
    if kind.use is Use.ALONE:  # four standard errors
        assert off.mean() == pytest.approx(0.0, abs=4 * kind.spread / math.sqrt(LOOKS))


@pytest.mark.parametrize("measure", USUAL)
def test_a_sound_bore_shows_what_a_warm_engine_does_at_idle(measure: FindingKind) -> None:
    low, high = USUAL[measure]
    assert low < sound_looks(measure).mean() < high


def test_returns_of_a_sound_plate_scatter_by_about_the_first_step_of_a_vacuum_gauge() -> None:
    """0.2 inHg, 0.68 kPa: smaller steps no dial shows (common practice, no published source)."""
    assert np.median(sound_looks(FindingKind.SNAP)) == pytest.approx(0.68, rel=0.2)


@pytest.mark.parametrize("place", range(8))
@pytest.mark.parametrize("measure", [FindingKind.VACUUM, FindingKind.MIXTURE])
def test_a_leak_shows_at_its_own_bore_alone_and_no_more_once_repaired(measure: FindingKind, place: int) -> None:
    leaking = engine("leak")
    cured = repaired(leaking)
    same = leaking.shows(measure, place, 0) == cured.shows(measure, place, 0)
    assert same is (place != leaking.drawn[1])


def test_what_is_asked_of_a_bank_or_of_the_whole_engine_shows_no_bores_cause() -> None:
    for cause in ("leak", "rings"):
        rough = engine(cause, "rough-hard")
        cured = repaired(rough)
        for measure in (FindingKind.SQUEEZE, FindingKind.BACK_PRESSURE):
            assert rough.shows(measure, rough.drawn[1], 0) == cured.shows(measure, rough.drawn[1], 0)


DIRECTIONS: Mapping[str, Mapping[FindingKind, int]] = {
    "leak": {FindingKind.VACUUM: -1, FindingKind.RECORD: -1, FindingKind.MIXTURE: 1, FindingKind.HEAT: -1},
    "lean": {FindingKind.FLOW: -1, FindingKind.MIXTURE: 1, FindingKind.HEAT: -1, FindingKind.DROP: -1},
    "rings": {FindingKind.COMPRESSION: -1, FindingKind.DROP: -1},
    "coupler": {
        FindingKind.AIR: 1,
        FindingKind.VACUUM: -1,
        FindingKind.RECORD: -1,
        FindingKind.MIXTURE: 1,
        FindingKind.HEAT: -1,
        FindingKind.RESET: -1,
    },
    "slack": {FindingKind.SNAP: 1, FindingKind.RESET: -1},
    "sticking": {FindingKind.SNAP: 1},
}
"""Which way a cause moves a figure, none where it is not named (common practice, no published source): air beside a
plate is not seen by a meter on it, and neither plate nor leak changes what an injector passes or a bore seals."""


@pytest.mark.parametrize("cause", DIRECTIONS)
@pytest.mark.parametrize("measure", SHOWN)
def test_a_cause_moves_the_figures_it_should_and_no_others(cause: str, measure: FindingKind) -> None:
    share = beside_sound(engine(cause, "rough-hard"), measure)
    assert (share > 1) - (share < 1) == DIRECTIONS[cause].get(measure, 0)


LOOKED_AT: Mapping[str, tuple[FindingKind, Callable[[float], float]]] = {
    "coupler": (FindingKind.AIR, lambda size: 1 + size),
    "lean": (FindingKind.FLOW, lambda size: 1 - size),
    "rings": (FindingKind.COMPRESSION, lambda size: 1 - size),
    "sticking": (FindingKind.SNAP, math.exp),
    "slack": (FindingKind.SNAP, math.exp),
}
"""By definition of the sizes: a plate's air off, fuel missing, compression lost, the logarithm of the scatter."""


@pytest.mark.parametrize(
    ("grade", "cause"), [(grade, cause) for grade in GRADES for cause in GRADES[grade] if cause in LOOKED_AT]
)
def test_what_looks_at_a_cause_itself_shows_its_size(grade: str, cause: str) -> None:
    measure, shown = LOOKED_AT[cause]
    rough = engine(cause, grade)
    assert beside_sound(rough, measure) == pytest.approx(shown(rough.drawn[2]), rel=4e-3)


@pytest.mark.parametrize("cause", ["leak", "coupler"])
@pytest.mark.parametrize("grade", ["rough-easy", "rough-hard"])
def test_air_beside_the_others_takes_no_more_vacuum_than_where_a_plate_is_choked(grade: str, cause: str) -> None:
    """Choked, pressure goes with the air: at 41 kPa below 101.3 each share of air takes 60.3 / 41 of the vacuum. Shared
    pressure, and a flow that is not choked, take off from that; the probe of a record sees the same vacuum."""
    rough = engine(cause, grade)
    lost = (1 - beside_sound(rough, FindingKind.VACUUM)) / rough.drawn[2]
    assert 0.5 < lost < 60.3 / 41
    assert beside_sound(rough, FindingKind.RECORD) == pytest.approx(beside_sound(rough, FindingKind.VACUUM), rel=1e-2)


def test_unmetered_air_leans_its_bore_by_no_more_than_there_is_of_it_and_metered_air_by_less() -> None:
    shares = {}
    for cause in ("leak", "coupler"):
        rough = engine(cause, "rough-hard")
        shares[cause] = (beside_sound(rough, FindingKind.MIXTURE) - 1) / rough.drawn[2]
    assert 0.2 < shares["coupler"] < shares["leak"] < 1


def test_missing_fuel_leans_by_its_reciprocal_until_the_bore_begins_to_miss() -> None:
    """Lambda goes with the reciprocal of the fuel; air that does not burn adds to what the probe sees."""
    hard, easy = engine("lean", "rough-hard", most=1 - 1 / 1.3), engine("lean")
    assert beside_sound(hard, FindingKind.MIXTURE) == pytest.approx(1 / (1 - hard.drawn[2]), rel=2e-3)
    assert beside_sound(easy, FindingKind.MIXTURE) > 1.1 / (1 - easy.drawn[2])


def test_a_bore_gives_no_power_from_the_fuel_it_misses_nor_from_the_cycles_that_do_not_burn() -> None:
    """Little fuel missing takes power less than in proportion, for the excess air lets all of it burn; a bore that
    misses takes more than that. Rings take no more than the compression that they lose."""
    lean, missing = engine("lean", "rough-hard"), engine("lean")
    assert 0.3 < (1 - beside_sound(lean, FindingKind.DROP)) / lean.drawn[2] < 1
    assert (1 - beside_sound(missing, FindingKind.DROP)) / missing.drawn[2] > 1
    rings = engine("rings", "rough-hard")
    assert 0.3 < (1 - beside_sound(rings, FindingKind.DROP)) / rings.drawn[2] < 1
    worn = engine("rings", "rough-fair", least=0.45)
    dead = 1 - beside_sound(worn, FindingKind.DROP) / (1 - 0.6 * worn.drawn[2])
    assert dead == pytest.approx(worn.drawn[2] - 0.4, abs=0.01)


def test_an_exhaust_is_cooler_by_the_square_of_the_mixture_and_never_colder_than_the_engine() -> None:
    """At a fifth off the mixture within a half of what the diagnosis takes it for, each of the two having a curve of
    its own."""
    rough = engine("leak", "rough-hard")
    cooler = [-(looks(one, FindingKind.HEAT, one.drawn[1], 9)).mean() for one in (rough, repaired(rough))]
    off = beside_sound(rough, FindingKind.MIXTURE) - 1
    assert (cooler[0] - cooler[1]) / (off / 0.2) ** 2 == pytest.approx(HEAT_BY_MIXTURE, rel=0.5)
    for seed in range(60):
        for grade in GRADES:
            one = RoughEngine(8, seed, grade)
            assert looks(one, FindingKind.HEAT, one.drawn[1], 1)[0] > 0


def test_a_coupler_that_is_dead_answers_no_reset_and_one_with_slack_about_half() -> None:
    """By definition: the answer is told as a share of what was asked for."""
    answers = {}
    for cause in ("coupler", "slack"):
        rough = engine(cause, "rough-hard")
        answers[cause] = looks(rough, FindingKind.RESET, rough.drawn[1]).mean()
    assert answers["coupler"] == pytest.approx(0.0, abs=0.05)  # four standard errors
    assert answers["slack"] == pytest.approx(0.5, abs=0.1)


@pytest.mark.parametrize("measure", WORDED)
def test_a_sound_bore_shows_another_word_about_as_seldom_as_the_diagnosis_expects(measure: FindingKind) -> None:
    words, rough = CATALOGUE[measure].words, engine("leak")
    said = [rough.shows(measure, (rough.drawn[1] + 1) % 8, made) for made in range(700)]
    assert set(said) == set(words)  # each of the others, too
    usual = FALSE_ALARM.get(measure.value, 0.04)
    assert 0.5 * usual < 1 - said.count(words[0]) / len(said) < 1.6 * usual


WORDS = [(measure, cause, word) for measure, shown in SHOWN_BY.items() for cause, word in shown.items()]


@pytest.mark.parametrize(("measure", "cause", "word"), WORDS)
def test_the_word_of_a_cause_is_seen_mostly_but_not_always(measure: FindingKind, cause: str, word: str) -> None:
    grade = next(grade for grade in GRADES if cause in GRADES[grade])
    rough = engine(cause, grade)
    said = [rough.shows(measure, rough.drawn[1], made) for made in range(200)]
    assert word in CATALOGUE[measure].words[1:]
    assert 0.75 < said.count(word) / len(said) < 0.95
    assert rough.shows(measure, rough.drawn[1], 7) == said[7]


def test_words_are_those_by_which_the_trade_knows_a_cause() -> None:
    """Spray and smoke find leaks, an oily plug and air from the crankcase worn rings, a white plug too little fuel, the
    hand slack and a plate that hangs (common practice, no published source)."""
    assert set(WORDS) == {
        (FindingKind.SPRAY, "leak", "moved"),
        (FindingKind.SMOKE, "leak", "seen"),
        (FindingKind.PLUG, "lean", "white"),
        (FindingKind.PLUG, "rings", "oily"),
        (FindingKind.FEEL, "slack", "slack"),
        (FindingKind.FEEL, "sticking", "hangs"),
        (FindingKind.LEAK_DOWN, "rings", "crankcase"),
    }


def test_sizes_are_drawn_over_their_whole_range_and_lie_where_such_a_fault_can() -> None:
    """Shares below two thirds of what the bore has, above what a usual window of 8 % would let pass; scatter not beyond
    twenty times."""
    assert list(grades()) == ["rough-easy", "rough-fair", "rough-hard"]
    for grade, causes in GRADES.items():
        drawn = [RoughEngine(8, seed, grade).drawn for seed in range(200)]
        for cause, (low, high) in causes.items():
            sizes = [size for one, _, size in drawn if one == cause]
            assert low <= min(sizes) < low + 0.2 * (high - low)
            assert high - 0.2 * (high - low) < max(sizes) <= high
            assert (low > 0.08) if cause not in ("sticking", "slack") else low > 0
            assert high < (math.log(20) if cause in ("sticking", "slack") else 2 / 3)


def test_any_bore_that_a_coupler_carries_may_have_it_and_another_engine_has_another() -> None:
    drawn = [RoughEngine(4, seed, "rough-fair", stops=(1,)).drawn for seed in range(200)]
    often = [[bore for _, bore, _ in drawn].count(place) for place in range(4)]
    assert often[1] == 0
    assert min(often[0], *often[2:]) > 40  # a third of 200, less four standard deviations
    assert len({size for _, _, size in drawn}) == len(drawn)
    assert len({RoughEngine(bores, 3, "rough-fair").drawn[2] for bores in (4, 6, 8)}) == 3


def test_every_place_and_every_time_a_test_is_made_has_a_draw_of_its_own() -> None:
    rough = engine("leak")
    shown = [rough.shows(FindingKind.TIMING, place, made) for place in range(8) for made in range(9)]
    assert len(set(shown)) > len(shown) - 5  # of some 4000 figures that it may round to, hardly two are the same
