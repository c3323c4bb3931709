"""Banks off idle: made-up engines whose links are known to be wrong, and what must never be offered."""

import math
from dataclasses import fields, replace

import numpy as np
import pytest

from app.sync.banks.bank_means import CENTRAL_LEVER, Opening
from app.sync.banks.banks import BankAssessment, balance
from app.sync.banks.gain_doubt import gain_doubt
from app.sync.banks.link_hypotheses import Cause
from app.sync.engine.engine_air import idling_on
from app.sync.engine.events import Meter
from app.sync.engine.hardware import Figure, Hardware
from app.sync.engine.layout import Bank, Layout
from app.sync.engine.linkage import link_rotation
from app.sync.engine.off_idle import gain_curve
from app.sync.engine.units import KPA, MM
from tests.benchmarks.banks import PAIR, Shed, wrong_links
from tests.benchmarks.returning import Rough, layout_of
from tests.sync.banks.eight import EIGHT, HARDWARE, IDLE, IDLE_FLOW, USUAL, opened, told


def test_gain_of_an_idle_engine_falls_as_it_opens() -> None:
    openings, rise = gain_curve(HARDWARE, IDLE_FLOW, USUAL)
    slopes = np.diff(rise) / np.diff(openings)
    assert (np.diff(slopes) < 0).all()
    # An independent engine simulation gave 19.7 per radian at idle and 11.0 at 30 mrad for these plates.
    assert slopes[0] == pytest.approx(19.7, rel=0.15)
    assert np.interp(0.030, openings[1:], slopes) == pytest.approx(11.0, rel=0.15)


def test_a_learned_gain_rescales_the_curve() -> None:
    openings, rise = gain_curve(HARDWARE, IDLE_FLOW, USUAL, gain=16.0)
    assert rise[1] / openings[1] == pytest.approx(16.0)


def test_behind_a_common_plenum_a_bank_climbs_faster_because_its_runners_do_not_fill_for_it_alone() -> None:
    openings, rise = gain_curve(HARDWARE, IDLE_FLOW, USUAL)
    _, joined = gain_curve(HARDWARE, IDLE_FLOW, idling_on(8, IDLE_FLOW, plenum=True))
    assert (joined[1:] > 1.05 * rise[1:]).all()
    assert openings[0] == joined[0] == 0


def test_banks_that_agree() -> None:
    story = told([opened(10), opened(30)])
    assert story.cause == "nothing"
    assert story.flats == 0.0
    assert story.bank is None
    assert story.extra == "none"
    assert [round(difference.percent, 6) for difference in story.differences] == [0, 0, 0]


@pytest.mark.parametrize("early", [9.0, -9.0])
def test_a_link_of_the_wrong_length(early: float) -> None:
    story = told([opened(10, early=early), opened(30, early=early)])
    assert story.cause == "length"
    assert story.offset * 1e3 == pytest.approx(early, abs=1.5)
    assert 0.5 < story.offset_sd * 1e3 < 3.0
    # The bank that leaves first is turned later; by hand 9 mrad at 4.44 mrad a flat are two flats.
    assert story.bank == ("B" if early > 0 else "A")
    assert story.or_bank == ("A" if early > 0 else "B")
    assert story.flats == pytest.approx(-2.0)
    # A wrong length keeps its difference in kg/h.
    small, large = story.differences[1:]
    assert large.difference == pytest.approx(small.difference, rel=0.35)


def test_turning_the_flats_brings_the_banks_together() -> None:
    story = told([opened(10, early=7), opened(30, early=7)])
    left = 7 + link_rotation(story.flats, HARDWARE) * 1e3
    assert abs(left) < abs(link_rotation(0.5, HARDWARE)) * 1e3
    again = told([opened(10, early=left), opened(30, early=left)])
    assert again.flats == 0.0


def test_rods_with_two_hands_are_turned_in_quarters() -> None:
    story = told([opened(10, early=6), opened(30, early=6)], both_hands=True)
    assert story.cause == "length"
    assert story.flats * 4 == round(story.flats * 4)
    assert story.flats == pytest.approx(-0.75, abs=0.26)


def test_a_bore_where_nothing_flows_at_idle_is_left_out() -> None:
    dead = IDLE | {3: 0.0}
    read = [opened(10, early=9), opened(30, early=9)]
    story = balance(EIGHT, HARDWARE, dead, read, Meter(), True, joints_tight=True)
    assert story.cause == "length"
    assert story.flats == pytest.approx(-2.0)


def test_a_ratio_grows_with_the_opening_and_is_left_to_the_angle_gauge() -> None:
    read = [replace(opened(at, ratio=0.12), times=4) for at in (20, 60, 100)]
    story = balance(EIGHT, HARDWARE, IDLE, read, Meter(), True, gain=20.0, joints_tight=True, idle_times=6)
    small, _, large = (difference.difference for difference in story.differences[1:])
    assert large > 2 * small
    assert story.odds[Cause.RATIO] > 0.2
    assert (story.extra, story.extra_travel) == ("angle_gauge", 0.0)


def test_a_bank_still_on_its_stop_shows_later() -> None:
    story = told([opened(10, early=-25), opened(30, early=-25)], tight=False)
    assert story.cause in {"slack", "unknown"}
    assert story.flats == 0.0
    assert story.extra == "wider_opening"
    wide = told([opened(10, early=-25), opened(30, early=-25), opened(60, early=-25)], tight=False)
    assert wide.offset * 1e3 == pytest.approx(-25, abs=3)
    assert wide.extra == "both_ways"
    tight = told([opened(at, early=-25) for at in (10, 30, 60)])
    assert tight.cause == "length"
    # Three spreads of a rod late: how steeply the banks open is not known so well that it would all be believed.
    assert tight.flats == pytest.approx(-25 / 4.44, abs=1.25)


def test_where_the_length_is_the_cause_the_offset_is_what_the_flats_go_by() -> None:
    story = told([opened(10, early=9), opened(30, early=9)], both_hands=True)
    assert story.cause == "length"
    a_flat = link_rotation(1.0, HARDWARE, both_hands=True)
    assert abs(story.flats) * a_flat == pytest.approx(abs(story.offset), abs=a_flat / 8)


def test_how_steeply_a_bank_opens_is_known_better_of_hardware_that_was_measured() -> None:
    measured = Hardware(*(replace(getattr(HARDWARE, one.name), measured=True) for one in fields(Hardware)))
    doubt, known = (gain_doubt(one, IDLE_FLOW, USUAL) for one in (HARDWARE, measured))
    assert 0.15 < known < doubt < 0.30


def test_how_steeply_a_bank_opens_stays_as_well_known_while_the_mean_of_its_bores_wanders() -> None:
    """By one in a hundred, as it does from one reading to the next; twice as much air is another engine."""
    doubt, wandered, other = (gain_doubt(HARDWARE, flow * IDLE_FLOW, USUAL) for flow in (1.0, 1.01, 2.0))
    assert wandered == doubt != other


def test_of_a_gain_that_was_learned_a_twentieth_is_left_open() -> None:
    """Of 20 mrad early 1 mrad, of 10 half as much, beside what is the same for both; the prior of a length, of 8 mrad,
    takes some of it.
    """
    spreads = []
    for early in (10, 20):
        read = [replace(opened(at, early=early, gain=20.0), times=9) for at in (30, 40)]
        story = balance(
            EIGHT, HARDWARE, IDLE, read, Meter(step=1e-9), True, gain=20.0, joints_tight=True, idle_times=9,
            gauged_ratio=0.0,
        )  # fmt: skip
        assert story.offset == pytest.approx(early * 1e-3, rel=0.05)
        spreads.append(story.offset_sd)
    assert 0.3e-6 < spreads[1] ** 2 - spreads[0] ** 2 < 0.05**2 * (0.020**2 - 0.010**2)


@pytest.mark.slow
@pytest.mark.parametrize("bores", [4, 6, 8, 12])
def test_the_stated_error_of_an_offset_is_what_it_is_where_a_length_is_named(bores: int) -> None:
    """The engines of the benchmark; of 60 squares the mean has a relative standard error of 18 %."""
    layout, rough = layout_of(bores), Rough()
    shed = Shed(layout, rough, wrong_links(80, 11), 4)
    rounds = [shed.read(travel) for travel in PAIR]
    told_of = [shed.tell(engine, [row[engine] for row in rounds], joints_tight=True) for engine in range(80)]
    misses = np.array(
        [
            (story.offset - true) / story.offset_sd
            for story, true in zip(told_of, shed.links.offset, strict=True)
            if story.cause == "length"
        ]
    )
    assert len(misses) >= 30
    assert np.sqrt(np.mean(misses**2)) < 1.25


def test_no_flats_before_free_play_was_proven() -> None:
    story = told([opened(10, early=9), opened(30, early=9)], proven=False)
    assert (story.flats, story.bank, story.extra) == (0.0, None, "free_play")
    assert story.odds[Cause.HELD] > told([opened(10, early=9), opened(30, early=9)]).odds[Cause.HELD] == 0.0


def test_a_bank_held_off_its_stop_looks_like_a_wrong_length() -> None:
    story = told([opened(10, early=5), opened(30, early=5)], proven=False)
    assert story.odds[Cause.LENGTH] > story.odds[Cause.HELD] > 0.05
    assert (story.cause, story.flats, story.bank, story.extra) == ("unknown", 0.0, None, "free_play")


@pytest.mark.parametrize("early", [-6, -8, -12])
def test_readings_both_ways_overrule_a_finger_that_felt_nothing(early: float) -> None:
    late = [opened(at, early=early) for at in (10, 30)]
    together = [replace(opened(at), from_above=True) for at in (10, 30)]
    assert told(late).cause == "length"
    found = told([*late, *together])
    assert (found.cause, found.flats, found.extra) == ("slack", 0.0, "none")


def test_no_length_is_named_while_one_chance_in_twenty_of_lost_motion_is_left() -> None:
    """Between a bank that is still as late from above, and one that is hardly late any more."""
    chances = []
    for early in (-5.0, -4.25, -4.1):
        late = [opened(at, early=-9) for at in (10, 30)]
        story = told([*late, *(replace(opened(at, early=early), from_above=True) for at in (10, 30))])
        chances.append(story.odds[Cause.SLACK])
        assert story.odds[Cause.LENGTH] > 0.6
        assert (story.cause, bool(story.flats)) == (("unknown", False) if chances[-1] > 0.05 else ("length", True))
    assert min(chances) < 0.05 < max(chances) < 0.10  # on either side


def test_lost_motion_looks_like_a_wrong_length_until_the_opening_is_reached_from_above() -> None:
    opening = [opened(10, early=-9), opened(30, early=-9)]
    story = told(opening, tight=False)
    assert (story.cause, story.flats, story.extra) == ("unknown", 0.0, "both_ways")
    assert story.odds[Cause.LENGTH] > 0.6
    still_late = [replace(one, from_above=True) for one in opening]
    length = told([*opening, *still_late], tight=False)
    assert length.cause == "length"
    assert length.flats == pytest.approx(-2.0)
    together = [replace(opened(at), from_above=True) for at in (10, 30)]
    slack = told([*opening, *together], tight=False)
    assert (slack.cause, slack.flats) == ("slack", 0.0)


@pytest.mark.parametrize(("early", "cause"), [(-9.0, "length"), (0.0, "slack")])
def test_the_opening_where_most_shows_is_asked_for_from_above_and_settles_it(early: float, cause: str) -> None:
    opening = [opened(10, early=-9), opened(30, early=-9)]
    asked = told(opening, tight=False)
    assert asked.extra_travel == opening[0].lever_travel  # a late bank shows most, in per cent, where little is open
    settled = told([*opening, replace(opened(10, early=early), from_above=True)], tight=False)
    assert (settled.cause, settled.extra) == (cause, "none")


def test_what_was_read_both_ways_is_not_asked_for_again() -> None:
    opening = [opened(10, early=-9), opened(30, early=-9)]
    half_way = replace(opened(10, early=-3), from_above=True)
    asked = told([*opening, half_way], tight=False)
    assert (asked.cause, asked.extra, asked.extra_travel) == ("unknown", "both_ways", opening[1].lever_travel)


def test_an_angle_gauge_settles_the_levers() -> None:
    read = [opened(20, ratio=0.12), opened(60, ratio=0.12), opened(100, ratio=0.12)]
    unequal = told(read, gauged=0.12)
    assert (unequal.cause, unequal.extra) == ("ratio", "none")
    assert unequal.ratio == pytest.approx(0.12)
    length = [opened(10, early=9), opened(30, early=9)]
    equal = told(length, gauged=0.004)
    assert (equal.cause, equal.odds[Cause.RATIO]) == ("length", 0.0)
    assert equal.flats == told(length).flats


def test_plates_that_idle_with_less_climb_by_more_and_are_not_blamed_on_a_link() -> None:
    """Each bore gains the same air: the bank that idles with 6 % less rises by more per cent."""
    idle = {bore: IDLE_FLOW * (0.97 if bore > 4 else 1.03) for bore in EIGHT.bores}
    read = []
    for at in (10, 30, 60):
        gained = opened(at).readings[1] - IDLE_FLOW
        read.append(Opening(at * 1e-3 * CENTRAL_LEVER, {bore: idle[bore] + gained for bore in EIGHT.bores}))
    story = balance(EIGHT, HARDWARE, idle, read, Meter(), free_play_proven=True)
    assert story.cause == "nothing"
    assert abs(story.offset) < 0.0003


def test_more_readings_say_more() -> None:
    read = [opened(10, early=9), opened(30, early=9)]
    once = told(read)
    twice = told([replace(one, times=2) for one in read])
    pooled = balance(EIGHT, HARDWARE, IDLE, read, Meter(), True, joints_tight=True, idle_times=3)
    assert twice.offset_sd < once.offset_sd
    assert pooled.offset_sd < once.offset_sd


def test_no_flats_from_one_opening() -> None:
    story = told([opened(10, early=9)])
    assert (story.flats, story.extra) == (0.0, "opening")
    assert story.extra_travel == pytest.approx(0.030 * CENTRAL_LEVER)
    assert told([opened(60, early=9)]).extra_travel == pytest.approx(0.020 * CENTRAL_LEVER)
    # The same opening twice is still one opening.
    assert told([opened(10, early=9), opened(10, early=9)]).extra == "opening"


def test_idle_unevenness_between_the_banks_is_taken_off() -> None:
    idle = {bore: IDLE_FLOW * (1.05 if bore > 4 else 1.0) for bore in EIGHT.bores}
    read = [opened(10), opened(30)]
    uneven = [replace(o, readings={b: v * idle[b] / IDLE_FLOW for b, v in o.readings.items()}) for o in read]
    story = balance(EIGHT, HARDWARE, idle, uneven, Meter(), free_play_proven=True)
    assert story.cause == "nothing"
    assert story.differences[0].percent == pytest.approx(200 * 0.05 / 2.05)


def test_what_cannot_be_told() -> None:
    single = Layout((Bank("A", (1, 2, 3, 4), stop=2, drive=2),))
    assert balance(single, HARDWARE, IDLE, [opened(10)], Meter(), free_play_proven=True) == BankAssessment(Cause.SINGLE)
    vacuum = Meter("vacuum", 0.25 * KPA, 0.01)
    assert balance(EIGHT, HARDWARE, IDLE, [opened(10)], vacuum, free_play_proven=True).extra == "flow_meter"
    assert balance(EIGHT, HARDWARE, {1: IDLE_FLOW}, [opened(10)], Meter(), free_play_proven=True).extra == "idle"
    assert told([]).extra == "opening"
    one_bank = Opening(0.25 * MM, dict.fromkeys((1, 2, 3, 4), 8 / 3600))
    assert told([one_bank]).differences == told([]).differences


def test_fewer_bores_say_less() -> None:
    read = [opened(10, early=9), opened(30, early=9)]
    stops = [replace(o, readings={bore: o.readings[bore] for bore in (2, 6)}) for o in read]
    assert told(stops).offset_sd > told(read).offset_sd


def test_odds_sum_to_one_and_names_follow_them() -> None:
    for early in (0.0, 2.0, 5.0, -12.0, 40.0):
        story = told([opened(10, early=early), opened(30, early=early)])
        assert sum(story.odds.values()) == pytest.approx(1.0)
        assert story.cause == "unknown" or story.odds[story.cause] == max(story.odds.values())


def test_a_different_rod_needs_a_different_number_of_flats() -> None:
    coarse = replace(HARDWARE, link_pitch=Figure(1.6 * MM))
    read = [opened(10, early=9), opened(30, early=9)]
    assert balance(EIGHT, coarse, IDLE, read, Meter(), True, joints_tight=True).flats == pytest.approx(-1.0)


@pytest.mark.slow
def test_half_a_flat_is_reached_as_often_as_simulated() -> None:
    """Noisy meter, bores that part off idle, links wrong by up to three flats: right to about half a flat."""
    chance = np.random.default_rng(3)
    meter = Meter()

    def read(true: float) -> float:
        return float(np.round(true * (1 + 0.02 * chance.normal()) / meter.step) * meter.step)

    within = 0
    for _ in range(100):
        early = float(chance.uniform(-13, 13))
        idle = {bore: float(np.mean([read(IDLE_FLOW) for _ in range(3)])) for bore in EIGHT.bores}
        noisy = []
        for at in (10, 30):
            exact = opened(at, early=early)
            parted = {bore: flow * math.exp(0.008 * chance.normal()) for bore, flow in exact.readings.items()}
            noisy.append(replace(exact, readings={bore: read(flow) for bore, flow in parted.items()}))
        story = balance(EIGHT, HARDWARE, idle, noisy, meter, free_play_proven=True, joints_tight=True, idle_times=3)
        turned = 0.0 if story.bank is None else math.copysign(story.flats, -1 if story.bank == "B" else 1)
        within += abs(early * 1e-3 + link_rotation(turned, HARDWARE)) < link_rotation(1.0, HARDWARE)
    assert within >= 90


def test_flats_that_may_be_off_by_more_than_half_ask_for_the_opening_between() -> None:
    two = told([opened(10, early=-9), opened(30, early=-9)])
    assert two.flats == pytest.approx(-2.0)
    assert 0.2 < two.flats_sd < 1.0
    assert two.sharper_travel == pytest.approx(0.020 * CENTRAL_LEVER)
    three = told([opened(at, early=-9) for at in (10, 20, 30)])
    assert three.flats_sd < two.flats_sd
    assert three.sharper_travel == 0.0
    # A rod with two hands moves twice as far a flat, so that the same readings are good enough.
    turned = told([opened(10, early=6), opened(30, early=6)], both_hands=True)
    assert turned.flats_sd < two.flats_sd
    assert turned.sharper_travel == 0.0
    nothing = told([opened(10), opened(30)])
    assert (nothing.flats_sd, nothing.sharper_travel) == (math.inf, 0.0)


@pytest.mark.parametrize("early", [9.0, -9.0])
def test_a_length_that_is_told_asks_for_nothing_more(early: float) -> None:
    found = told([opened(10, early=early), opened(30, early=early)])
    assert (found.extra, found.extra_travel) == ("none", 0.0)
