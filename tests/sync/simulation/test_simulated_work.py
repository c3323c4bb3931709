"""Work at a simulated engine: what meters show and hands do, how idle wanders meanwhile, which engine is worth it."""

import math
from collections.abc import Callable
from dataclasses import replace
from typing import ClassVar

import numpy as np
import pytest

from app.sync.engine.adjusters import registry
from app.sync.engine.adjusters.kind import Effect, ScrewWithGain
from app.sync.engine.air import ATMOSPHERE
from app.sync.engine.engine_air import TACHOMETER_SD
from app.sync.engine.events import (
    BladeReset,
    BypassTurn,
    IdleSpeed,
    LinkTurn,
    Meter,
    Reading,
    ScrewTurn,
    StopTurn,
)
from app.sync.engine.hardware import Hardware
from app.sync.engine.layout import Bank, Bypass, Coupler, Layout, OtherScrew
from app.sync.engine.units import KG_PER_HOUR, REV_PER_MIN, THOU
from app.sync.estimation.posterior import FEELER_SD, TURN_SD
from app.sync.readings.idle_wander import MEMORY, WANDER
from app.sync.simulation.simulator import WANTED, Imperfections, SimulatedEngine, usable_for_training

FOUR = Layout((Bank("A", (1, 2, 3, 4), stop=2, drive=2),))
V8 = Layout((Bank("A", (1, 2, 3, 4), stop=2, drive=1), Bank("B", (5, 6, 7, 8), stop=6, drive=5)))
STILL = Imperfections(repeatability=0.0, step=1e-9, blade=0.0, turn=0.0, lost_motion=0.0, tachometer=0.0)


def test_a_reading_is_the_air_by_the_scale_of_the_meter_and_a_column_has_none() -> None:
    stand = SimulatedEngine(V8, 3, STILL, heated=1e6)
    for opening in (0.0, 20 * THOU):
        flow, speed = stand.solve(stand.angles(opening))
        assert stand.read(6, opening=opening) == pytest.approx(flow[5] * stand.scale * (1 + stand.wander), rel=1e-4)
        assert stand.running_speed(opening) == pytest.approx(speed)
    stand.sharing = 0.0
    flow, speed = stand.solve()
    held = flow[5] / (stand.filling[5] * speed)
    assert stand.read_column(6) == pytest.approx(ATMOSPHERE * (1 - held), rel=2e-3)


def test_a_meter_rounds_to_its_step_and_never_shows_less_than_nothing() -> None:
    coarse = SimulatedEngine(FOUR, 3, replace(STILL, step=3.0 * KG_PER_HOUR, repeatability=0.4))
    shown = [coarse.read(1) / (3.0 * KG_PER_HOUR) for _ in range(60)]
    assert shown == pytest.approx([round(value) for value in shown])
    assert len(set(np.round(shown))) > 2
    wild = SimulatedEngine(FOUR, 3, replace(STILL, repeatability=5.0))
    assert min(wild.read(1) for _ in range(30)) == 0.0


@pytest.mark.parametrize(
    "looks",
    [
        lambda one: [one.read_column(1) for _ in range(300)],
        lambda one: [one.read(1) / (1 + one.wander) for _ in range(300)],
    ],
)
def test_meters_repeat_as_they_are_told(looks: Callable[[SimulatedEngine], list[float]]) -> None:
    shown = np.array(looks(SimulatedEngine(FOUR, 5, replace(STILL, repeatability=0.03), heated=1e6)))
    assert shown.std() / shown.mean() == pytest.approx(0.03, rel=0.17)  # four standard errors of 300


def test_a_tachometer_repeats_as_it_is_told_and_one_at_idle_sees_it_wander_besides() -> None:
    stand = SimulatedEngine(FOUR, 5, replace(STILL, tachometer=0.2), heated=1e6)
    shown = np.array([stand.running_speed(0.0) for _ in range(300)])
    assert shown.std() == pytest.approx(0.2, rel=0.17)
    assert shown.mean() == pytest.approx(stand.solve()[1], abs=0.05)
    stand.wander = 0.1
    seen = np.array([stand.read_speed() for _ in range(300)])
    assert seen.mean() == pytest.approx(1.1 * stand.solve()[1], abs=0.05)
    assert seen.std() == pytest.approx(0.2, rel=0.17)
    assert stand.minutes == 0


def test_an_idle_wanders_as_the_adviser_takes_it_to_and_forgets_within_three_minutes() -> None:
    """A stationary process: of the same spread whatever passes between two looks, by 1/e alike after its memory."""
    stand = SimulatedEngine(FOUR, 5, STILL)
    for minutes in (MEMORY / 60, 0.3):
        seen = []
        for _ in range(4000):
            stand._spend(minutes)
            seen.append(stand.wander)
        kept = math.exp(-minutes / (MEMORY / 60))
        assert np.corrcoef(seen[:-1], seen[1:])[0, 1] == pytest.approx(kept, abs=0.06)
        assert np.std(seen) == pytest.approx(WANDER, rel=0.15)


def test_work_takes_its_minutes_and_is_kept_as_it_was_meant_in_the_order_it_was_done() -> None:
    layout = Layout((Bank("A", (1, 2, 3, 4), 2, 2, ("blade", "blade", "screw-in")),), bypass=frozenset({1}))
    stand = SimulatedEngine(layout, 7)
    shown = stand.read(3, closing=True)
    stand.turn("A", 0.25)
    stand.reset(Coupler(2, 3), (3 * THOU, 2 * THOU))
    stand.turn_link("A", 2.0)
    stand.turn_screw(Bypass(1), 0.5)
    stand.turn_screw(Coupler(3, 4), -0.125)
    speed = stand.read_speed()
    assert [replace(event, at=0.0) for event in stand.events] == [
        Reading(3, shown, 0.0, True),
        StopTurn("A", 0.25, 0.0),
        BladeReset(2, 3, 3 * THOU + 2 * THOU, (3 * THOU, 2 * THOU), 0.0),
        LinkTurn("A", 2.0, 0.0),
        BypassTurn(1, 0.5, 0.0),
        ScrewTurn(3, 4, -0.125, 0.0),
        IdleSpeed(speed, 0.0),
    ]
    # seconds, of 0.3 minutes a reading, 0.7 a turn and 2 a reset
    assert [event.at for event in stand.events] == pytest.approx([18, 60, 180, 222, 264, 306, 306])
    assert (stand.readings, stand.moves) == (1, 5)
    assert stand.minutes == pytest.approx(5.1)


def test_a_still_hand_turns_a_bank_by_its_thread_and_arm_and_what_that_engines_screw_travels() -> None:
    """0.8 mm a turn on an arm of 25.4 mm: 31.5 mrad."""
    stand = SimulatedEngine(V8, 3, STILL)
    began = stand.angle.copy()
    stand.make(StopTurn("B", 0.5, 0.0))
    assert stand.angle - began == pytest.approx([0.0] * 4 + [0.5 * 0.8 / 25.4 * stand.travel[1]] * 4)
    stand.turn("B", -40.0)
    assert stand.angle[4:] == pytest.approx(0.0)


def test_a_still_hand_sets_a_feeler_outright_but_none_below_a_fifth_of_a_thousandth() -> None:
    stand = SimulatedEngine(FOUR, 3, STILL, heated=1e6)
    began = stand.gaps()
    stand.make(BladeReset(2, 3, 0.0, (4 * THOU, 3 * THOU), 0.0))
    assert stand.gaps()[2] == pytest.approx(7 * THOU)
    assert stand.gaps()[:2] == pytest.approx(began[:2])
    stand.reset(Coupler(2, 3), (0.1 * THOU,))
    assert stand.gaps()[2] == pytest.approx(0.2 * THOU)


@pytest.mark.parametrize(
    ("done", "spread"),
    [
        (lambda one: one.turn("A", 0.0), 0.02 * 0.8 / 25.4),
        (lambda one: one.turn_link("A", 0.0), 6 * 0.02 * 0.8 / 6 / 30),
        (lambda one: one.turn_screw(Coupler(2, 3), 0.0), None),
    ],
)
def test_a_hand_is_off_by_the_same_part_of_a_turn_whatever_it_turns(
    done: Callable[[SimulatedEngine], None], spread: float | None
) -> None:
    layout = Layout((Bank("A", (1, 2, 3, 4), 2, 2, ("screw-in", "screw-in", "blade")),))
    stand = SimulatedEngine(layout, 3, replace(STILL, turn=0.02))
    stand.angle[:], stand.travel[:] = 0.2, 1.0
    stood = []
    for _ in range(300):
        done(stand)
        stood.append(stand.angle[2] + stand.link["A"])
    wanted = 0.02 * stand.per_turn[Coupler(2, 3)] if spread is None else spread
    assert np.diff(stood).std() == pytest.approx(wanted, rel=0.17)


def test_meter_and_hands_are_as_rough_as_the_adviser_takes_them_to_be() -> None:
    usual, taken = Imperfections(), Meter()
    assert (usual.repeatability, usual.step, usual.blade) == (taken.repeatability, taken.step, FEELER_SD)
    assert usual.turn == pytest.approx(TURN_SD, rel=0.25)
    assert 0.25 < usual.tachometer / WANTED / TACHOMETER_SD < 1  # which also holds how an idle strays meanwhile
    assert SimulatedEngine(FOUR, 3, replace(usual, step=7e-5, repeatability=0.03)).meter == Meter("flow", 7e-5, 0.03)


def test_what_is_recorded_at_a_screw_that_is_not_there_moves_nothing() -> None:
    stand = SimulatedEngine(FOUR, 3, STILL)
    began = stand.gaps()
    stand.make(BypassTurn(1, 2.0, 0.0))
    assert np.array_equal(stand.gaps(), began)
    assert (stand.moves, stand.events) == (0, [])


# Whether it is worth training on


def set_up(gap: float = 5.0, fast: float = 0.0, off: float = 0.2) -> SimulatedEngine:
    """An engine with one plate on a gap [thousandths of an inch], the others on 5, idling ``fast`` rpm too fast."""
    stand = SimulatedEngine(FOUR, 3, STILL)
    stand.heat[:] = 0.0
    for thou, rows in ((5.0, [0, 1, 2]), (gap, [3])):
        closed = stand.closed[rows]
        shut = 1 - thou * THOU / (stand.hardware.bore_diameter.value / 2)
        stand.angle[rows] = np.arccos(np.cos(closed) * shut) - closed
    stand.worst_at_first = off
    for _ in range(40):
        stand.demand *= (stand.solve()[1] / (WANTED + fast * REV_PER_MIN)) ** (1 / stand.speed_power)
    return stand


@pytest.mark.parametrize(
    ("told", "usable"),
    [
        ({}, True),
        ({"gap": 2.05}, True),
        ({"gap": 1.95}, False),
        ({"gap": 8.95}, True),
        ({"gap": 9.05}, False),
        ({"fast": 149.5}, True),
        ({"fast": 150.5}, False),
        ({"fast": -149.5}, True),
        ({"fast": -150.5}, False),
        ({"off": 0.1}, True),
        ({"off": 0.099}, False),
        ({"off": 0.5}, True),
        ({"off": 0.501}, False),
    ],
)
def test_an_engine_to_train_on_is_uneven_but_tame(told: dict[str, float], usable: bool) -> None:
    """Gaps of 2 to 9 thousandths, idle within 150 rpm, the worst bore 10 to 50 % off: as its documentation says."""
    assert usable_for_training(set_up(**told)) is usable


class Valve(ScrewWithGain):
    """Lets air past the plate of its bore, and meets no end in use; nothing is preset."""

    slug = "valve"
    effect: ClassVar[Effect] = "lets air past"

    def size(self, hardware: Hardware) -> float:
        """Half a square millimeter a turn [m2]."""
        return 0.5e-6


def test_a_screw_without_an_end_stands_at_nothing_and_is_turned_as_far_as_it_is_turned() -> None:
    registry.register(Valve())
    try:
        screw = OtherScrew("valve", 3)
        stand = SimulatedEngine(replace(FOUR, extra=(screw,)), 3, STILL)
        assert stand.turned_out == {screw: 0.0}
        assert stand.leak == pytest.approx(SimulatedEngine(FOUR, 3, STILL).leak)
        for turns, out in ((0.5, 0.5), (-2.0, -1.5), (1.75, 0.25)):
            stand.turn_screw(screw, turns)
            assert stand.turned_out[screw] == pytest.approx(out)
    finally:
        registry.unregister("valve")
