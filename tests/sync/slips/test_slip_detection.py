"""What slipped: single slips, two at once, what cannot be told apart, and how often the odds are right."""

import math
from dataclasses import replace
from fractions import Fraction

import numpy as np
import pytest

from app.sync.engine.adjusters.registry import moved_bores
from app.sync.engine.air import ATMOSPHERE
from app.sync.engine.engine_air import IDLE_RATIO, SHARING, kappa
from app.sync.engine.events import Meter
from app.sync.engine.layout import Bank, Bypass, Coupler, Layout, Link, StopScrew
from app.sync.engine.units import KPA
from app.sync.slips.changes import Conditions, Pooled, expected_common, log_changes, no_slip_covariance, pool
from app.sync.slips.slip_detection import ConfoundedPair, SlipAssessment, ToldBy, slipped
from app.sync.slips.slip_hypotheses import Bore, HypothesisFit, Suspect, _inverse

EIGHT = Layout((Bank("A", (1, 2, 3, 4), stop=2, drive=2), Bank("B", (5, 6, 7, 8), stop=6, drive=6)))
FOUR = Layout((Bank("A", (1, 2, 3, 4), stop=2, drive=2),))
FLOW = 6.5 / 3600


def story(changes: dict[int, float], layout: Layout = EIGHT, *, n: int = 2, same_meter: bool = True) -> SlipAssessment:
    """As left all alike; as found changed by fractions of flow."""
    left = {bore: Pooled(FLOW, 3) for bore in layout.bores}
    found = {bore: Pooled(FLOW * (1 + changes.get(bore, 0.0)), n) for bore in layout.bores}
    return slipped(layout, left, found, Meter(), same_meter)


def named(told: SlipAssessment) -> Suspect:
    assert told.named is not None
    return told.named.suspect


def test_where_no_bore_was_read_both_times_the_odds_are_those_before() -> None:
    """Three visits in four find nothing slipped (our judgement)."""
    unread = slipped(FOUR, {1: Pooled(FLOW, 3)}, {2: Pooled(FLOW, 3)}, Meter(), same_meter=True)
    assert (unread.verdict, unread.any_slip) == ("unknown", 0.25)


@pytest.mark.parametrize("seed", range(3))
def test_three_by_three_matrices_are_turned_round_as_by_lapack(seed: int) -> None:
    half = np.random.default_rng(seed).standard_normal((5, 3, 3))
    matrices = np.eye(3) + half @ half.swapaxes(1, 2)
    inverse, determinant = _inverse(matrices)
    assert inverse == pytest.approx(np.linalg.inv(matrices), rel=1e-9)
    assert determinant == pytest.approx(np.linalg.det(matrices), rel=1e-9)


def test_nothing_changed_nothing_slipped() -> None:
    told = story({})
    assert told.verdict == "quiet"
    assert told.any_slip < 0.1
    assert told.named is None
    assert told.reread == ()
    assert told.hypotheses[0].slips == ()


@pytest.mark.parametrize(
    ("changes", "suspect"),
    [
        (dict.fromkeys((1, 2, 3, 4), 0.12), StopScrew("A")),
        (dict.fromkeys((5, 6, 7, 8), -0.12), StopScrew("B")),
        (dict.fromkeys((3, 4), -0.12), Coupler(2, 3)),
        ({4: 0.12}, Coupler(3, 4)),
        ({5: -0.12}, Coupler(6, 5)),
        ({3: 0.16}, Bore(3)),
    ],
)
def test_one_slip_is_named(changes: dict[int, float], suspect: Suspect) -> None:
    told = story(changes)
    assert told.verdict == "slipped"
    assert named(told) == suspect
    assert told.runner_up is not None
    assert told.runner_up != suspect


def test_size_and_angle_of_a_slip() -> None:
    told = story({4: 0.12})
    assert told.named is not None
    # Between the change of the one bore and nothing, for the slip is not expected to be that large.
    assert 0.8 * math.log(1.12) < told.named.change < math.log(1.12)
    assert 0.01 < told.named.sd < 0.03
    assert told.named.rotation == pytest.approx(told.named.change / 20)
    learned = slipped(
        EIGHT,
        {bore: Pooled(FLOW, 3) for bore in EIGHT.bores},
        {bore: Pooled(FLOW * (1.12 if bore == 4 else 1), 2) for bore in EIGHT.bores},
        Meter(),
        same_meter=True,
        gain=15.0,
    )
    assert learned.named is not None
    assert learned.named.rotation == pytest.approx(told.named.change / 15)


def test_two_slips() -> None:
    told = story({3: 0.15, 4: 0.15, 5: -0.15})
    assert {slip.suspect for slip in told.hypotheses[0].slips} == {Coupler(2, 3), Coupler(6, 5)}
    assert told.odds[Coupler(2, 3)] > 0.8
    assert told.odds[Coupler(6, 5)] > 0.8


def test_all_bores_alike_is_the_air_and_not_a_slip() -> None:
    told = story(dict.fromkeys(EIGHT.bores, 0.03))
    assert told.verdict == "quiet"
    other_meter = story(dict.fromkeys(EIGHT.bores, 0.15), same_meter=False)
    assert other_meter.verdict == "quiet"


def test_expected_air_is_taken_off_first() -> None:
    left = {bore: Pooled(FLOW, 3) for bore in FOUR.bores}
    found = {bore: Pooled(FLOW * 0.88, 2) for bore in FOUR.bores}
    assert slipped(FOUR, left, found, Meter(), True).verdict == "slipped"
    assert slipped(FOUR, left, found, Meter(), True, expected_common=math.log(0.88)).verdict == "quiet"


def test_with_another_meter_one_stop_cannot_be_told_from_the_other() -> None:
    told = story(dict.fromkeys((1, 2, 3, 4), 0.12), same_meter=False)
    assert told.verdict == "slipped"
    assert told.odds[StopScrew("A")] == pytest.approx(told.odds[StopScrew("B")], rel=0.05)
    assert told.named is None
    pair = {StopScrew("A"), StopScrew("B")}
    assert any({alike.one, alike.other} == pair and alike.told_by == "same_meter" for alike in told.alike)


def test_what_no_round_at_idle_can_tell_apart() -> None:
    assert ConfoundedPair(Coupler(3, 4), Bore(4), ToldBy.BORE_CHECK) in story({4: 0.12}).alike
    assert ConfoundedPair(StopScrew("A"), Link("A"), ToldBy.STOP_TEST) in story(dict.fromkeys((1, 2, 3, 4), 0.12)).alike
    assert story({3: -0.12, 4: -0.12}).alike == ()


def test_rereading_is_asked_for_while_in_doubt_and_where_it_tells_most() -> None:
    doubtful = story({4: 0.07})
    assert doubtful.verdict == "doubtful"
    assert doubtful.reread[0] == 4
    assert len(doubtful.reread) == 4
    # A single value may be misread: the most changed bore is asked for again however large the change.
    assert story({4: 0.2}, n=1).reread[0] == 4
    assert story({4: 0.2}, n=2).reread == ()


def test_the_bore_is_read_again_whose_mean_gains_most_where_the_hypotheses_part() -> None:
    """The variance of a mean of n readings is s²/n (JCGM 100:2008, 4.2.3), so one more takes s²/n - s²/(n+1) off."""
    read = {1: 3, 2: 3, 3: 3, 4: 6}
    left = {bore: Pooled(FLOW, 2) for bore in FOUR.bores}
    found = {bore: Pooled(FLOW * (1.06 if bore == 3 else 1.0), n) for bore, n in read.items()}
    bores, changes, variances = log_changes(FOUR, left, found, Meter())
    fit = HypothesisFit(FOUR, bores, changes, variances, no_slip_covariance(variances, True), {})
    gains = {bore: float(Fraction(1, n) - Fraction(1, n + 1)) for bore, n in read.items()}
    apart = dict(zip(bores, fit.disagreement() / variances, strict=True))
    told = slipped(FOUR, left, found, Meter(), same_meter=True)
    assert list(told.reread) == sorted(bores, key=lambda bore: -apart[bore] * gains[bore])
    assert list(told.reread) not in (sorted(bores, key=lambda bore: -part[bore]) for part in (apart, gains))


def test_a_slip_alone_does_not_stay_in_doubt_for_want_of_a_misread_value() -> None:
    """One value far off is as likely misread as slipped; once it was read again alike, it is believed."""
    once = story({4: 0.2}, n=1)
    assert once.misread[4] > 0.25
    assert once.hypotheses[1].misread == 4 or once.hypotheses[0].misread == 4
    assert once.named is None
    assert once.between is not None
    assert once.between[0].slips != once.between[1].slips
    twice = replace_found({4: 0.2}, 4, n=2)
    assert 4 not in twice.misread
    assert named(twice) == Coupler(3, 4)


def replace_found(changes: dict[int, float], bore: int, n: int) -> SlipAssessment:
    """One round as found, with one bore read more often."""
    left = {b: Pooled(FLOW, 3) for b in EIGHT.bores}
    found = {b: Pooled(FLOW * (1 + changes.get(b, 0.0)), n if b == bore else 1) for b in EIGHT.bores}
    return slipped(EIGHT, left, found, Meter(), same_meter=True)


def test_readings_that_contradict_one_another_are_read_again_before_anything_is_blamed() -> None:
    meter = Meter()
    left = {bore: Pooled(FLOW, 3) for bore in EIGHT.bores}
    found = {bore: Pooled(FLOW, 2) for bore in EIGHT.bores} | {1: pool([FLOW, 1.25 * FLOW], meter)}
    told = slipped(EIGHT, left, found, meter, same_meter=True)
    assert told.named is None
    assert told.verdict == "quiet"
    assert told.misread == {1: 1.0}
    assert told.reread[0] == 1
    settled = slipped(EIGHT, left, found | {1: pool([FLOW, 1.25 * FLOW, FLOW], meter)}, meter, same_meter=True)
    assert (settled.verdict, settled.reread) == ("quiet", ())


def test_two_readings_that_outvoted_a_third_are_no_ground_for_blame() -> None:
    """As left 6.5, 8.0, 8.0 and as found 6.5: two misread values alike are as likely as a slip of that size."""
    meter = Meter()
    left = {bore: Pooled(FLOW, 3) for bore in EIGHT.bores} | {4: pool([FLOW, 1.23 * FLOW, 1.23 * FLOW], meter)}
    found = {bore: Pooled(FLOW, 2) for bore in EIGHT.bores}
    outvoted = slipped(EIGHT, left, found, meter, same_meter=True)
    assert outvoted.named is None
    assert outvoted.misread[4] > 0.5
    sound = slipped(EIGHT, left | {4: Pooled(1.23 * FLOW, 3)}, found, meter, same_meter=True)
    assert named(sound) == Coupler(3, 4)


@pytest.mark.parametrize(("times", "caught"), [(2, 0.95), (3, 0.98), (4, 0.98)])
def test_pooling_doubts_a_misread_value_and_hardly_ever_a_sound_one(times: int, caught: float) -> None:
    """2 % of error, steps of a quarter, an idle that wanders by 0.7 %: three readings are sound in all but one bore of
    500, and a value 20 % off is seen. Three standard deviations of the meter alone doubted one bore in 18."""
    chance, meter, doubts, seen = np.random.default_rng(5), Meter(), 0, 0
    for _ in range(1000):
        idle = (1 + 0.007 * chance.standard_normal(times)) * (1 + 0.02 * chance.standard_normal(times))
        read = np.round(6.5 * idle / 0.25) * 0.25 / 3600
        sound = pool(read.tolist(), meter)
        doubts += not sound.agreed or sound.strays > 0
        read[chance.integers(times)] *= 1 + 0.2 * chance.choice([-1, 1])
        wrong = pool(read.tolist(), meter)
        seen += not wrong.agreed or wrong.strays > 0
    assert doubts <= 2
    assert seen >= 1000 * caught


def test_pooling_leaves_out_what_strays() -> None:
    meter = Meter()
    assert pool([FLOW], meter) == Pooled(FLOW, 1)
    assert pool([FLOW, 1.05 * FLOW], meter).agreed
    # Four standard deviations of a difference of two readings of 2 % and a quarter kg/h are 13 % at 6.5 kg/h.
    assert pool([FLOW, 1.12 * FLOW], meter).agreed
    assert not pool([FLOW, 1.17 * FLOW], meter).agreed
    assert pool([FLOW, 1.17 * FLOW, FLOW], meter) == Pooled(FLOW, 2, strays=1)
    told = pool([FLOW, 1.3 * FLOW, 0.7 * FLOW], meter)
    assert (told.n, told.agreed, told.strays) == (3, False, 0)
    assert told.mean == pytest.approx(FLOW)
    with pytest.raises(ValueError, match="nothing to pool"):
        pool([], meter)


def test_the_reread_asked_for_tells_the_two_leading_stories_apart() -> None:
    """An end coupler and its neighbor differ in the bore between them."""
    told = story({3: 0.05, 4: 0.09})
    assert told.between is not None
    suspects = [{slip.suspect for slip in one.slips} for one in told.between]
    assert suspects == [{Coupler(2, 3)}, {Coupler(3, 4)}]
    assert told.reread[0] == 3


def test_one_bore_alone_may_be_its_couplers_gone_opposite_ways() -> None:
    inner = story({3: 0.16})
    assert ConfoundedPair(Bore(3), Coupler(2, 3), ToldBy.BORE_CHECK, (Coupler(3, 4),)) in inner.alike
    stop = story({2: 0.16})
    assert ConfoundedPair(Bore(2), StopScrew("A"), ToldBy.BORE_CHECK, (Coupler(2, 3), Coupler(2, 1))) in stop.alike


TWINS = Layout((Bank("A", (1, 2, 3, 4), 2, 2, ("shaft", "screw", "shaft")),), bypass=frozenset({1, 4}))


def test_plates_on_one_shaft_leave_no_coupler_to_blame() -> None:
    assert named(story({3: 0.12, 4: 0.12}, TWINS)) == Coupler(2, 3)
    for alone in (1, 4):
        told = story({alone: 0.12}, TWINS)
        assert named(told) == Bypass(alone)
        assert told.alike == (ConfoundedPair(Bypass(alone), Bore(alone), ToldBy.BYPASS_COUNT),)
    assert named(story({3: 0.12}, TWINS)) == Bore(3)
    assert set(story({}, TWINS).odds) == {StopScrew("A"), Coupler(2, 3), Bypass(1), Bore(2), Bore(3), Bypass(4)}


def test_a_bypass_screw_at_the_end_of_a_bank_is_named_beside_the_coupler_it_looks_like() -> None:
    layout = Layout((Bank("A", (1, 2, 3, 4), stop=2, drive=2),), bypass=frozenset({4}))
    told = story({4: 0.12}, layout)
    assert named(told) == Coupler(3, 4)
    assert ConfoundedPair(Coupler(3, 4), Bypass(4), ToldBy.BYPASS_COUNT) in told.alike


def test_every_story_weighed_by_hand() -> None:
    """Odds, sizes and errors against the covariance of each story written out in full."""
    layout = Layout((Bank("A", (1, 2, 3), stop=2, drive=2),))
    residual, variances = np.array([0.12, 0.10, 0.14]), np.array([4e-4, 5e-4, 6e-4])
    quiet = np.diag(variances) + 0.012**2
    fit = HypothesisFit(layout, (1, 2, 3), residual, variances, quiet, {3: 0.02})
    suspects: tuple[Suspect, ...] = (StopScrew("A"), Coupler(2, 3), Coupler(2, 1), Bore(2))
    assert fit.suspects == suspects
    columns = np.array([[1, 0, 1, 0, 0], [1, 0, 0, 1, 0], [1, 1, 0, 0, 1]]) * [0.08, 0.08, 0.08, 0.08, 0.15]
    share = [1, 1, 1, 0.15]
    shares = {1: 3.15, 2: 3 + 3 * 0.15, 3: 1 + 3 * 0.15}
    weights = {}
    for code in range(32):
        chosen = [at for at in range(5) if code >> at & 1]
        slips = [at for at in chosen if at < 4]
        if len(slips) > 3 or (len(chosen) > len(slips) and len(slips) > 1):
            continue
        prior = (0.75, 0.17, 0.06, 0.02)[len(slips)] * math.prod(share[at] for at in slips) / shares.get(len(slips), 1)
        if 4 in chosen:
            prior *= 0.02
        covariance = quiet + columns[:, chosen] @ columns[:, chosen].T
        square = residual @ np.linalg.solve(covariance, residual)
        weights[tuple(chosen)] = prior * math.exp(-square / 2) / math.sqrt(np.linalg.det(covariance))
    total = sum(weights.values())
    assert len(fit.weight) == len(weights)
    for at, suspect in enumerate(suspects):
        mine = sum(weight for chosen, weight in weights.items() if at in chosen) / total
        assert fit.odds()[suspect] == pytest.approx(mine)
    assert fit.misread()[2] == pytest.approx(sum(weight for c, weight in weights.items() if 4 in c) / total)
    best = fit.best(3)[0]
    chosen = list(fit.slipped(best))
    covariance = quiet + columns[:, chosen] @ columns[:, chosen].T
    size = 0.08 * columns[:, chosen[0]] @ np.linalg.solve(covariance, residual)
    assert fit.misread_in(best) is None
    assert fit.size(best, chosen[0])[0] == pytest.approx(size)
    assert fit.fitted[best] == pytest.approx(residual - variances * np.linalg.solve(covariance, residual))


def test_readings_taken_cold_count_for_less() -> None:
    left = {bore: Pooled(FLOW, 3) for bore in EIGHT.bores}
    found = {bore: Pooled(FLOW * (1.08 if bore == 4 else 1.0), 3) for bore in EIGHT.bores}
    hot = slipped(EIGHT, left, found, Meter(), True)
    cold = slipped(EIGHT, left, found, Meter(), True, heat_soaked=False)
    assert cold.any_slip < hot.any_slip


def test_only_bores_read_both_times_count() -> None:
    left = {bore: Pooled(FLOW, 3) for bore in (1, 2, 3, 4, 5)}
    found = {bore: Pooled(FLOW, 2) for bore in (4, 5, 6, 7, 8)}
    assert set(slipped(EIGHT, left, found, Meter(), True).changes) == {4, 5}
    nothing = slipped(EIGHT, left, {}, Meter(), True)
    assert (nothing.verdict, nothing.hypotheses, nothing.changes) == ("unknown", (), {})


def test_one_bore_alone() -> None:
    single = Layout((Bank("A", (1,), stop=1, drive=1),))
    told = slipped(single, {1: Pooled(FLOW, 3)}, {1: Pooled(FLOW * 1.3, 2)}, Meter(), True)
    assert named(told) == StopScrew("A")
    assert told.runner_up is None


@pytest.mark.parametrize("sharing", [0.0, 0.3, 0.6])
def test_columns_are_turned_into_air_by_what_the_runners_share(sharing: float) -> None:
    """12 % more air at one bore is the less of runner pressure the more of it all runners share, and told as 12 %."""
    columns = Meter("vacuum", step=0.25 * KPA, repeatability=0.01)
    still = ATMOSPHERE * (1 - IDLE_RATIO)
    opened = ATMOSPHERE * (1 - IDLE_RATIO * math.exp(0.12 * float(kappa(IDLE_RATIO, sharing))))
    left = {bore: Pooled(still, 3) for bore in EIGHT.bores}
    found = left | {4: Pooled(opened, 3)}
    told = slipped(EIGHT, left, found, columns, same_meter=True, sharing=sharing)
    assert told.changes[4] == pytest.approx(0.12, rel=0.1)


def test_vacuum_columns_tell_the_same_slip() -> None:
    # Less vacuum at the bore that opened: 12 % of flow is 7 % of runner pressure.
    columns = Meter("vacuum", step=0.25 * KPA, repeatability=0.01)
    left = {bore: Pooled(33 * KPA, 3) for bore in EIGHT.bores}
    opened = ATMOSPHERE - (ATMOSPHERE - 33 * KPA) * 1.12 ** float(kappa(IDLE_RATIO, SHARING))  # to first order
    found = {bore: Pooled(opened if bore in (3, 4) else 33 * KPA, 2) for bore in EIGHT.bores}
    told = slipped(EIGHT, left, found, columns, same_meter=True)
    assert named(told) == Coupler(2, 3)
    assert told.changes[4] == pytest.approx(math.log(1.12), rel=0.1)


def test_common_change_of_air_and_speed() -> None:
    day = Conditions(101325, 293.15, 15.0)
    assert expected_common(day, day) == 0.0
    # Choked: pressure in full, the root of temperature, speed not at all (isentropic flow).
    choked = expected_common(day, Conditions(99e3, 303.15, 16.0), ratio=0.5)
    assert choked == pytest.approx(math.log(99e3 / 101325) - math.log(303.15 / 293.15) / 2)
    # Behind a plate per cylinder faster cylinders pull the runner down and draw more, less than in proportion.
    faster = expected_common(day, replace(day, speed=16.5))
    assert 0 < faster < math.log(1.1) / 2


def test_odds_are_right_as_often_as_they_say() -> None:
    """Slips drawn as the method expects them: the named one is right at least as often as its odds claim."""
    chance = np.random.default_rng(7)
    meter = Meter()
    suspects: list[StopScrew | Coupler] = [StopScrew("A"), StopScrew("B"), *EIGHT.couplers()]
    claimed, right, quiet_alarms, quiet = [], [], 0, 0
    for _ in range(300):
        suspect = suspects[chance.integers(len(suspects))] if chance.random() > 0.4 else None
        moved = moved_bores(EIGHT, suspect) if suspect else ()
        size, air = chance.normal(0, 0.08), chance.normal(0, 0.01)

        def pooled(true: float, n: int) -> Pooled:
            values = true * (1 + 0.02 * chance.normal(size=n))
            return Pooled(float(np.round(values / meter.step).mean() * meter.step), n)

        left, found = {}, {}
        for bore in EIGHT.bores:
            was = FLOW * math.exp(chance.normal(0, 0.03))
            left[bore] = pooled(was, 3)
            found[bore] = pooled(was * math.exp(air + chance.normal(0, 0.007) + (size if bore in moved else 0.0)), 2)
        told = slipped(EIGHT, left, found, meter, same_meter=True)
        if suspect is None:
            quiet += 1
            quiet_alarms += told.verdict == "slipped"
        if told.named:
            claimed.append(told.odds[told.named.suspect])
            right.append(told.named.suspect == suspect)
    assert quiet_alarms / quiet < 0.03
    assert len(claimed) > 60
    spread = math.sqrt(sum(odds * (1 - odds) for odds in claimed)) / len(claimed)
    assert np.mean(right) > np.mean(claimed) - 3 * spread
    assert np.mean(right) > 0.8
