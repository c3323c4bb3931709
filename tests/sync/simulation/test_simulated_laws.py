"""The laws of the simulated engine: mass is kept, air flows as gas does, plates stand where geometry puts them,
and what is drawn at random scatters about what it is said to be."""

import math
from collections.abc import Callable
from dataclasses import replace
from functools import cache

import numpy as np
import pytest

from app.sync.engine.air import ATMOSPHERE, flow_function
from app.sync.engine.layout import Bank, Bypass, Coupler, JointKind, Layout
from app.sync.engine.units import DEGREE, THOU
from app.sync.simulation.runners import flow_functions, own_ratios
from app.sync.simulation.simulator import WANTED, Imperfections, SimulatedEngine, Trouble
from app.sync.slips.changes import Floats

FOUR = Layout((Bank("A", (1, 2, 3, 4), stop=2, drive=2),))
V8 = Layout((Bank("A", (1, 2, 3, 4), stop=2, drive=1), Bank("B", (5, 6, 7, 8), stop=6, drive=5)))
BYPASSED = replace(FOUR, bypass=frozenset({1, 2, 3, 4}))
STILL = Imperfections(repeatability=0.0, step=1e-9, blade=0.0, turn=0.0, lost_motion=0.0, tachometer=0.0)
MANY = 60


@cache
def many(layout: Layout = V8, trouble: Trouble = "sound", links_off: bool = False) -> list[SimulatedEngine]:
    """Engines of one layout, whose draws are looked at and which nobody works at."""
    return [SimulatedEngine(layout, 700 + seed, STILL, trouble, links_off=links_off) for seed in range(MANY)]


# The air


def test_air_flows_by_the_published_flow_of_a_gas_wherever_it_is_asked() -> None:
    """The flow function of air, gamma 1.4, is 0.6847 when choked (any gas dynamics text); 0.3364 at 0.9395."""
    ratios = np.array([0.1, 0.5, 0.9395, 1.0])
    assert flow_functions(ratios) == pytest.approx([0.6847, 0.6847, 0.3364, 0.0], abs=5e-5)
    fine = np.linspace(0.0, 1.0, 201)
    assert flow_functions(fine) == pytest.approx([flow_function(float(ratio)) for ratio in fine])


def test_a_cylinder_takes_what_its_plate_lets_in() -> None:
    ratios = np.linspace(0.02, 0.98, 97)
    assert own_ratios(flow_functions(ratios) / ratios) == pytest.approx(ratios, abs=1e-6)


@pytest.mark.parametrize("seed", range(4))
def test_what_is_shared_is_the_mean_of_what_each_runner_would_hold_alone(seed: int) -> None:
    """Wholly shared, every runner holds the mean; by half, each stands half way to it."""
    stand = SimulatedEngine(V8, seed, STILL, heated=1e6)
    stand.speed_power = 0.0  # idle at the speed wanted, whatever it draws
    held = {}
    for stand.sharing in (0.0, 0.5, 1.0):
        held[stand.sharing] = np.array([1 - stand.read_column(bore) / ATMOSPHERE for bore in V8.bores])
    assert held[1.0] == pytest.approx(held[0.0].mean())
    assert held[0.5] == pytest.approx((held[0.0] + held[1.0]) / 2)


@pytest.mark.parametrize("seed", range(4))
def test_idle_speed_goes_with_a_power_of_all_the_air_over_what_the_wanted_speed_draws(seed: int) -> None:
    stand = SimulatedEngine(V8, seed, STILL)
    flow, speed = stand.solve()
    assert speed / WANTED == pytest.approx((flow.sum() / stand.demand) ** stand.speed_power, rel=1e-3)
    assert 0.7 < stand.speed_power < 0.9
    assert stand.fast_by() == pytest.approx(speed - WANTED)
    assert stand.worst() == pytest.approx(max(abs(one / flow.mean() - 1) for one in flow))


def test_engines_as_found_idle_about_as_they_should_on_gaps_of_five_thousandths() -> None:
    """What they were drawn about: the wanted speed, 5 thousandths of an inch, 0.67 of the pressure of the air behind
    the plates (an idle of 8 to 15 inHg is 0.5 to 0.73: common practice, no published source)."""
    speeds = [stand.solve()[1] / WANTED for stand in many()]
    assert np.median(speeds) == pytest.approx(1.0, abs=0.1)
    assert np.median([stand.gaps() for stand in many()]) == pytest.approx(5.0 * THOU, abs=0.7 * THOU)
    ratios = [stand._settled(stand.angles())[0].mean() for stand in many()]
    assert np.median(ratios) == pytest.approx(0.67, abs=0.06)


def test_screws_that_let_air_past_as_they_were_preset_leave_the_idle_where_it_was() -> None:
    """1.5 turns of 0.5 mm2 at every bore, which the engine is drawn to need besides its plates."""
    shares = [
        bypassed.solve()[1] / plain.solve()[1] for plain, bypassed in zip(many(FOUR), many(BYPASSED), strict=True)
    ]
    assert np.median(shares) == pytest.approx(1.0, abs=0.03)
    out = [turns for stand in many(BYPASSED) for turns in stand.turned_out.values()]
    assert np.mean(out) == pytest.approx(1.5, abs=0.1)
    assert np.std(out) == pytest.approx(0.2, rel=0.3)
    for plain, bypassed in zip(many(FOUR), many(BYPASSED), strict=True):
        more = [bypassed.turned_out[Bypass(bore)] * bypassed.per_turn[Bypass(bore)] for bore in FOUR.bores]
        assert bypassed.leak - plain.leak == pytest.approx(more)
        assert bypassed.per_turn[Bypass(1)] > 0


# What is drawn


@pytest.mark.parametrize(
    ("drawn", "mean", "spread"),
    [
        (lambda one: one.closed / DEGREE, 6.0, 0.3),  # a plate closed at 6 degrees, as the adviser takes it to be
        (lambda one: one.discharge, 0.75, 0.75 * math.hypot(0.04, 0.02)),
        (lambda one: one.travel, 1.0, 0.04),
        (lambda one: one.heat, 0.0, 0.0008),
        (lambda one: one.leak * 1e6, 1.2, 0.5),
    ],
)
def test_plates_differ_about_what_they_are_said_to_be(
    drawn: Callable[[SimulatedEngine], Floats | float], mean: float, spread: float
) -> None:
    every = np.concatenate([np.atleast_1d(drawn(one)) for one in many()])
    assert every.mean() == pytest.approx(mean, abs=0.45 * spread)  # some 480 draws, of which 60 are of an engine each
    assert every.std() == pytest.approx(spread, rel=0.25)
    assert len(set(every)) > MANY


def test_a_meter_is_wrong_by_up_to_15_per_cent_either_way_and_no_plate_lets_air_back_out() -> None:
    scales = [one.scale for one in many()]
    assert 0.85 < min(scales) < 0.88 < 1.12 < max(scales) < 1.15
    assert min(one.leak.min() for one in many()) >= 0.2e-6
    shares = [one.sharing for one in many()]
    assert 0.0 < min(shares) < 0.1 < 0.5 < max(shares) < 0.6
    assert all(0.6 < one.sharing < 0.95 for one in many(replace(FOUR, plenum=True)))


def test_lost_motion_is_drawn_up_to_what_is_said_and_a_plate_rests_within_half_of_it_either_way() -> None:
    engines = [SimulatedEngine(FOUR, seed, replace(STILL, lost_motion=0.001)) for seed in range(30)]
    slack = [size for one in engines for size in one.slack.values()]
    assert len(slack) == 3 * len(engines)
    assert 0 < min(slack) < 0.0001 < 0.0009 < max(slack) < 0.001
    for one in engines:
        assert not any(one.held.values())
        one.turn("A", 0.0)
    shares = [one.held[coupler] / size for one in engines for coupler, size in one.slack.items()]
    assert -0.5 < min(shares) < -0.4 < 0.4 < max(shares) < 0.5


def test_plates_of_one_shaft_are_a_quarter_as_far_apart_and_alike_where_they_seal() -> None:
    def apart(kind: JointKind) -> list[float]:
        pairs = many(Layout((Bank("A", (1, 2), stop=1, drive=1, joints=(kind,)),)))
        return [float(np.std([np.diff(drawn) for drawn in of])) for of in zip(*map(plates, pairs), strict=True)]

    def plates(one: SimulatedEngine) -> tuple[Floats, Floats, Floats]:
        return one.angle, one.closed, one.leak

    angle, closed, leak = apart("blade")
    assert apart("shaft") == pytest.approx([angle / 4, 0.3 * closed, 0.5 * leak])


def test_screws_do_what_their_kind_says_within_a_spread_and_the_one_without_a_sign_goes_either_way() -> None:
    layout = Layout((Bank("A", (1, 2, 3, 4), 2, 2, ("screw", "screw-in", "screw-out")),), bypass=frozenset({1, 2}))
    engines = [SimulatedEngine(layout, seed, STILL) for seed in range(MANY)]
    couplers = [Coupler(2, 1), Coupler(2, 3), Coupler(3, 4)]
    turns = np.array([[one.per_turn[coupler] for coupler in couplers] for one in engines])
    assert {*np.sign(turns[:, 0])} == {-1.0, 1.0}
    assert {*np.sign(turns[:, 1])} == {1.0}
    assert {*np.sign(turns[:, 2])} == {-1.0}
    # 0.8 mm a turn on an arm of 20 mm; 0.5 mm2 a turn
    assert np.median(np.abs(turns)) == pytest.approx(0.8 / 20, rel=0.12)
    air = np.array([[one.per_turn[Bypass(1)], one.per_turn[Bypass(2)]] for one in engines])
    assert np.median(air) == pytest.approx(0.5e-6, rel=0.12)
    # one draw for the kind, one for each screw
    assert np.std(np.log(np.abs(turns)).mean(axis=1)) == pytest.approx(math.hypot(0.25, 0.1 / math.sqrt(3)), rel=0.3)
    assert np.std(np.log(np.abs(turns[:, 1] / turns[:, 2]))) == pytest.approx(0.1 * math.sqrt(2), rel=0.3)
    assert np.std(np.log(air).mean(axis=1)) == pytest.approx(math.hypot(0.3, 0.1 / math.sqrt(2)), rel=0.3)
    assert np.std(np.log(air[:, 0] / air[:, 1])) == pytest.approx(0.1 * math.sqrt(2), rel=0.3)


# What ails it


def test_a_slipped_coupler_slips_either_way_and_never_past_the_closed_plate() -> None:
    ways = []
    for stand in many(FOUR, "slipped"):
        assert stand.suspect is not None
        flow, _ = stand.solve()
        at = stand.place[stand.suspect.far]
        ways.append(flow[at] > np.delete(flow, at).mean())
        assert stand.angle.min() >= 0.006
    assert 10 < sum(ways) < MANY - 10
    assert {stand.suspect for stand in many(FOUR, "slipped")} == set(FOUR.couplers())


def test_a_loose_coupler_has_twenty_times_the_lost_motion_of_a_sound_one_and_is_not_always_the_same() -> None:
    loose = many(FOUR, "loose")
    sizes = [one.slack[one.suspect] for one in loose if one.suspect]
    assert len(sizes) == MANY
    assert 0.012 < min(sizes) < 0.013 < 0.019 < max(sizes) < 0.02
    assert {one.suspect for one in loose} == set(FOUR.couplers())
    assert all(one.held[one.suspect] for one in loose if one.suspect)
    assert all(sum(map(bool, one.held.values())) == 1 for one in loose)
    assert {one.suspect for one in many(FOUR)} == {None}


def test_a_rod_is_wrong_by_one_to_three_flats_at_either_bank_and_at_none_of_a_single_one() -> None:
    """0.8 mm a turn, a sixth of it a flat, on an arm of 30 mm: 4.44 mrad a flat."""
    links = np.array([[one.link["A"], one.link["B"]] for one in many(V8, links_off=True)]) / (0.8 / 6 / 30)
    wrong = links.sum(axis=1)
    assert (np.count_nonzero(links, axis=1) == 1).all()
    assert -3 < wrong.min() < -2.8 < -1.2 < wrong.max() < -1
    assert 10 < np.count_nonzero(links[:, 0]) < MANY - 10
    worn = many(V8, "worn", links_off=True)
    assert {value for one in worn for value in one.link.values()} == {0.0}
    assert [sorted(one.joint.values())[1] for one in worn] == pytest.approx(-links.sum(axis=1) * 0.8 / 6 / 30)
    single = many(FOUR, "worn", links_off=True)
    assert {one.link["A"] for one in single} | {one.joint["A"] for one in single} == {0.0}


# Where its plates stand


def test_heat_comes_by_a_time_constant_of_eight_minutes() -> None:
    """1 - 1/e of it after eight minutes, by definition, whether the engine ran before or while it was worked at."""
    cold, warmed, hot = (SimulatedEngine(FOUR, 3, STILL, heated=minutes) for minutes in (0.0, 8.0, 1e6))
    grown = hot.angles() - cold.angles()
    assert grown == pytest.approx(hot.heat)
    assert warmed.angles() - cold.angles() == pytest.approx(0.632 * hot.heat, rel=1e-3)
    cold.minutes = 8.0
    assert cold.angles() == pytest.approx(warmed.angles())


def test_plates_leave_their_stop_once_the_free_play_is_taken_up() -> None:
    """A lever of 25.4 mm raised by 0.762 mm turns by 30 mrad, of which 3 mrad are free play."""
    stand = SimulatedEngine(V8, 3, STILL)
    rest = stand.angles()
    assert stand.angles(30 * THOU) - rest == pytest.approx(0.027)
    assert stand.angles(2.9 * THOU) - rest == pytest.approx(0.0)
    stand.link["B"], stand.joint["A"] = 0.005, 0.002
    assert stand.angles(30 * THOU) - rest == pytest.approx([0.025] * 4 + [0.032] * 4)
    assert stand.angles(30 * THOU, from_above=True) - rest == pytest.approx([0.027] * 4 + [0.032] * 4)


def test_the_gap_of_a_plate_is_that_of_its_geometry_and_no_plate_closes_further_than_closed() -> None:
    """A bore of 48 mm, closed at 6 degrees, 0.041 rad beyond it: 24 mm (1 - cos 8.349 / cos 6) = 0.1236 mm."""
    stand = SimulatedEngine(FOUR, 3, STILL)
    stand.heat[:] = 0.0
    stand.closed[:], stand.angle[:] = 6 * DEGREE, [0.041, 0.0, -0.01, 0.041]
    assert stand.gaps() == pytest.approx([0.1236e-3, 0.0, 0.0, 0.1236e-3], abs=1e-7)
