"""The simulated engine: the same work leads to the same state, and noise, slack and links answer as they are told."""

import math
from dataclasses import replace

import numpy as np
import pytest

from app.sync.banks.bank_means import Opening
from app.sync.banks.banks import balance
from app.sync.engine.air import ATMOSPHERE, GAS_CONSTANT, SHOP_TEMPERATURE, flow_function
from app.sync.engine.events import BypassTurn, ColdSetting, LinkTurn
from app.sync.engine.layout import Bank, Bypass, Coupler, Layout
from app.sync.engine.plate import open_area
from app.sync.engine.units import THOU
from app.sync.simulation.simulator import Imperfections, SimulatedEngine, Trouble, replay

FOUR = Layout((Bank("A", (1, 2, 3, 4), stop=2, drive=2),))
V8 = Layout((Bank("A", (1, 2, 3, 4), stop=2, drive=1), Bank("B", (5, 6, 7, 8), stop=6, drive=5)))
STILL = Imperfections(repeatability=0.0, step=1e-9, blade=0.0, turn=0.0, lost_motion=0.0, tachometer=0.0)


def worked_on(layout: Layout) -> SimulatedEngine:
    """An engine with a bit of everything done to it."""
    stand = SimulatedEngine(layout, 31, links_off=True, trouble="loose")
    for bore in layout.bores:
        stand.read(bore)
    stand.turn("A", 0.25)
    stand.read(3)
    stand.reset(Coupler(2, 3), (3 * THOU, 2 * THOU))
    stand.turn_link("A", 1.5)
    stand.read(3, opening=30 * THOU)
    return stand


@pytest.mark.parametrize("layout", [FOUR, V8])
def test_what_was_done_leads_to_the_same_state_again(layout: Layout) -> None:
    first = worked_on(layout)
    again = replay(SimulatedEngine(layout, 31, links_off=True, trouble="loose"), first.events)
    assert np.array_equal(first.gaps(), again.gaps())
    assert (first.minutes, first.moves, first.readings, first.link) == (
        again.minutes, again.moves, again.readings, again.link,
    )  # fmt: skip
    assert first.read(1) == again.read(1)


def test_a_look_at_the_tachometer_moves_nothing_that_is_replayed() -> None:
    stand = SimulatedEngine(FOUR, 3)
    stand.read_speed()
    assert replay(SimulatedEngine(FOUR, 3), stand.events).minutes == 0


def test_bores_with_other_numbers_breathe_alike_in_their_places() -> None:
    other = Layout((Bank("A", (1, 3, 5, 7), stop=3, drive=1), Bank("B", (2, 4, 6, 8), stop=4, drive=2)))
    here, there = SimulatedEngine(V8, 8), SimulatedEngine(other, 8)
    assert np.array_equal(here.solve()[0], there.solve()[0])
    assert here.read(6) == there.read(4)


def test_readings_scatter_as_they_are_told() -> None:
    stand = SimulatedEngine(FOUR, 12, replace(STILL, repeatability=0.05))
    read = np.array([stand.read(1) for _ in range(400)])
    # 0.05 of meter and 0.007 of wandering idle; a spread from 400 readings is good to 3.5 %, three times that allowed
    assert read.std() / read.mean() == pytest.approx(0.0505, rel=0.12)


def test_a_reading_stands_on_the_steps_of_the_meter() -> None:
    stand = SimulatedEngine(FOUR, 12)
    steps = [stand.read(bore) / stand.rough.step for bore in FOUR.bores]
    assert steps == pytest.approx([round(step) for step in steps])


def test_a_hand_is_rough_and_another_hand_is_rough_otherwise() -> None:
    gaps = []
    for hand in (0, 1, 2):
        stand = SimulatedEngine(FOUR, 4, hand=hand)
        assert np.array_equal(stand.gaps(), SimulatedEngine(FOUR, 4).gaps())  # the same engine
        stand.reset(Coupler(2, 3), (5 * THOU,))
        gaps.append(stand.gaps()[2] / THOU)
    assert len(set(gaps)) == 3
    assert gaps == pytest.approx([5.0] * 3, abs=1.6)  # four standard deviations of a blade


@pytest.mark.parametrize("seed", range(5))
def test_a_loose_coupler_comes_to_rest_elsewhere_after_every_move_of_its_bank(seed: int) -> None:
    def scatter(trouble: Trouble) -> float:
        """How far one bore's gap wanders while the stop screw is turned to and fro."""
        stand = SimulatedEngine(FOUR, seed, STILL, trouble, heated=1e6)
        far = (stand.suspect or Coupler(2, 3)).far
        stood = []
        for turns in (0.25, -0.25) * 10:
            stand.turn("A", turns)
            stood.append(stand.gaps()[stand.place[far]])
        return float(np.std(stood[1::2]) / THOU)

    assert scatter("sound") == pytest.approx(0.0, abs=1e-6)
    assert scatter("loose") > 0.2


@pytest.mark.parametrize("seed", range(5))
def test_an_engine_with_a_slipped_coupler_is_even_but_for_that(seed: int) -> None:
    stand = SimulatedEngine(FOUR, seed, STILL, "slipped")
    assert stand.suspect is not None
    beyond = FOUR.bank_of(stand.suspect.far).beyond(stand.suspect)
    flow = dict(zip(FOUR.bores, stand.solve()[0], strict=True))
    kept = [flow[bore] for bore in FOUR.bores if bore not in beyond]
    assert max(kept) == pytest.approx(min(kept), rel=0.01)
    assert stand.worst() > 0.08


@pytest.mark.parametrize("seed", range(6))
def test_banks_off_idle_tell_of_the_link_and_a_turned_link_mends_it(seed: int) -> None:
    stand = SimulatedEngine(V8, seed, STILL, "slipped", heated=1e6, links_off=True)
    early = stand.link["B"] - stand.link["A"]
    assert 0.0044 < abs(early) < 0.0134  # one to three flats of 4.4 mrad
    idle = {bore: stand.read(bore) for bore in V8.bores}
    read = [Opening(o, {b: stand.read(b, opening=o) for b in V8.bores}) for o in (10 * THOU, 30 * THOU)]
    told = balance(V8, stand.hardware, idle, read, stand.meter, free_play_proven=True, joints_tight=True)
    assert told.cause == "length"
    assert told.offset == pytest.approx(early, abs=0.0044)  # within a flat, the engine being off at idle too
    bank = told.bank or ""
    assert stand.link[bank] == 0.0  # the one that leaves first
    stand.make(LinkTurn(bank, told.flats, 0.0))
    assert abs(stand.link["B"] - stand.link["A"]) < 0.0044


@pytest.mark.parametrize("seed", [3, 4, 5])
def test_a_worn_joint_holds_its_bank_back_on_the_way_up_and_not_from_above(seed: int) -> None:
    stand = SimulatedEngine(V8, seed, STILL, "worn", heated=1e6, links_off=True)
    assert set(stand.link.values()) == {0.0}
    (late,) = (bank for bank in V8.banks if stand.joint[bank.name])
    held_back = stand.angles(30 * THOU, from_above=True) - stand.angles(30 * THOU)
    for bore, behind in zip(V8.bores, held_back, strict=True):
        assert behind == pytest.approx(stand.joint[late.name] if bore in late.bores else 0.0)
    assert stand.angles() == pytest.approx(stand.angles(from_above=True))


def test_a_link_made_too_short_holds_its_bank_off_the_stop_at_idle() -> None:
    stand = SimulatedEngine(V8, 2, STILL, heated=1e6)
    before = stand.gaps()
    stand.turn_link("B", 12)
    wider = stand.gaps() > before + 0.1 * THOU
    assert list(wider) == [False] * 4 + [True] * 4


def test_a_bypass_screw_lets_more_air_past_one_plate_and_closes_no_further_than_its_seat() -> None:
    twins = Layout((Bank("A", (1, 2, 3, 4), 2, 2, ("shaft", "blade", "shaft")),), bypass=frozenset({1, 3}))
    stand = SimulatedEngine(twins, 2, STILL, heated=1e6)
    before, _ = stand.solve()
    stand.make(BypassTurn(3, 1.0, 0.0))
    after, _ = stand.solve()
    assert after[2] > 1.02 * before[2]
    assert after[0] == pytest.approx(before[0], rel=0.02)
    assert np.array_equal(SimulatedEngine(twins, 2, STILL, heated=1e6).gaps(), stand.gaps())
    for _ in range(2):
        stand.turn_screw(Bypass(3), -9.0)
    assert stand.turned_out[Bypass(3)] == 0
    with pytest.raises(KeyError):
        stand.turn_screw(Bypass(4), 1.0)


def test_a_couplers_screw_moves_what_lies_beyond_its_own_way() -> None:
    screws = Layout((Bank("A", (1, 2, 3, 4), 2, 2, ("screw-in", "screw-out", "shaft")),))
    stand = SimulatedEngine(screws, 2, STILL, heated=1e6)
    before = stand.gaps()
    stand.turn_screw(Coupler(2, 3), 0.125)
    assert (stand.gaps()[2:] < before[2:] - 0.2 * THOU).all()
    assert stand.gaps()[:2] == pytest.approx(before[:2])
    stand.turn_screw(Coupler(2, 1), 0.125)
    assert stand.gaps()[0] > before[0] + 0.2 * THOU


@pytest.mark.parametrize("seed", [3101, 3161, 3196])
def test_every_cylinder_takes_what_its_plate_lets_in_however_far_apart_they_stand(seed: int) -> None:
    """By the exact opening and flow law, for runners that share nothing: the balance itself, not a figure of ours."""
    stand = SimulatedEngine(V8, seed)
    stand.sharing = 0.0
    flow, speed = stand.solve()
    per_area = ATMOSPHERE / math.sqrt(GAS_CONSTANT * SHOP_TEMPERATURE)
    diameter, shaft = stand.hardware.bore_diameter.value, stand.hardware.shaft_diameter.value
    for at, angle in enumerate(stand.angles()):
        closed = float(stand.closed[at])
        area = open_area(closed + float(angle), diameter, shaft, closed) + stand.leak[at]
        ratio = float(flow[at] / (stand.filling[at] * speed))
        let_in = stand.discharge[at] * area * per_area * flow_function(ratio)
        assert let_in == pytest.approx(flow[at], rel=2e-3)


def test_a_plate_set_cold_stands_on_its_feeler_until_it_warms_up() -> None:
    """Cold, every plate of a still hand shows the feeler; hot, what its own heat adds, here up to a few thousandths."""
    cold, feeler = SimulatedEngine(V8, 5, STILL), 5 * THOU
    for bore in (2, 3, 4, 1, 6, 7, 8, 5):
        cold.set_cold(ColdSetting(bore, feeler, (feeler,), 0.0))
    assert cold.gaps() == pytest.approx(feeler)
    assert cold.cold_minutes == pytest.approx(2 * 0.7 + 6 * 2.0)
    assert cold.minutes == 0.0
    hot = replay(SimulatedEngine(V8, 5, STILL, heated=60.0), cold.events)
    assert hot.gaps() != pytest.approx(feeler)
    assert hot.gaps() == pytest.approx(feeler, abs=THOU)


def test_a_plate_set_cold_carries_what_hangs_on_it() -> None:
    stand = SimulatedEngine(FOUR, 6, STILL)
    before = stand.angles()
    stand.set_cold(ColdSetting(3, 6 * THOU, (6 * THOU,), 0.0))
    moved = stand.angles() - before
    assert moved[2] == pytest.approx(moved[3])
    assert moved[:2] == pytest.approx(0.0)


def test_a_cold_setting_done_again_leads_to_the_same_state() -> None:
    first = SimulatedEngine(FOUR, 9)
    for bore in (2, 3, 4, 1):
        first.set_cold(ColdSetting(bore, 5 * THOU, (5 * THOU,), 0.0))
    first.read(3)
    again = replay(SimulatedEngine(FOUR, 9), first.events)
    assert np.array_equal(first.gaps(), again.gaps())
    assert first.read(1) == again.read(1)


def test_couplers_put_together_anew_hold_their_plates_further_apart() -> None:
    usual, anew = (
        np.std([np.diff(SimulatedEngine(FOUR, seed, replace(STILL, couplers=sd)).angle) for seed in range(60)])
        for sd in (0.009, 0.015)
    )
    assert anew == pytest.approx(usual * 15 / 9, rel=1e-6)


def test_a_bypass_screw_lets_past_its_own_bore_what_it_is_turned_by_and_closes_no_further_than_its_seat() -> None:
    layout = replace(FOUR, bypass=frozenset({1, 3}))
    stand = SimulatedEngine(layout, 5, rough=STILL)
    screw = Bypass(3)
    began, out = stand.leak.copy(), stand.turned_out[screw]
    stand.turn_screw(screw, 0.5)
    assert stand.turned_out[screw] == pytest.approx(out + 0.5)
    assert stand.leak - began == pytest.approx([0.0, 0.0, 0.5 * stand.per_turn[screw], 0.0], abs=1e-15)
    assert stand.per_turn[screw] > 0
    stand.turn_screw(screw, -20.0)
    assert stand.turned_out[screw] == 0.0
    assert (stand.leak >= 0).all()
    assert stand.leak[2] == pytest.approx(began[2] - out * stand.per_turn[screw], abs=1e-15)  # as if it were not there


def test_a_screw_in_a_coupler_turns_what_hangs_on_it_by_what_it_is_turned() -> None:
    layout = Layout((Bank("A", (1, 2, 3, 4), stop=2, drive=2, joints=("blade", "screw-in", "blade")),))
    stand = SimulatedEngine(layout, 5, rough=STILL)
    began = stand.angle.copy()
    stand.turn_screw(Coupler(2, 3), 0.25)
    by = stand.angle - began
    assert by[:2] == pytest.approx([0.0, 0.0], abs=1e-12)
    assert by[2:] == pytest.approx([0.25 * stand.per_turn[Coupler(2, 3)]] * 2)
    assert by[2] != 0
