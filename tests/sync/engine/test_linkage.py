"""Which adjuster moves what: published thread pitches, by-hand geometry, and the tree of couplers."""

import math
from dataclasses import replace

import numpy as np
import pytest

from app.sync.engine.adjusters.registry import adjusters, moved_bores
from app.sync.engine.hardware import Figure, Hardware, likely_hardware
from app.sync.engine.layout import Bank, Bypass, Coupler, Layout, Link, StopScrew
from app.sync.engine.linkage import flats_for, link_rotation, stop_rotation
from app.sync.engine.plate import open_area
from app.sync.engine.units import DEGREE, INCH, KG_PER_HOUR, MM, THOU
from tests.sync.oracles import gap_after_turns, influence, mass_flow, output_angle, turns_between

EIGHT = Layout((Bank("A", (1, 2, 3, 4), stop=2, drive=2), Bank("B", (5, 6, 7, 8), stop=6, drive=6)))


def hardware(pitch: float = 0.8 * MM, lever: float = 25 * MM) -> Hardware:
    usual = likely_hardware(4e-3, 8)
    return replace(usual, stop_pitch=Figure(pitch), stop_lever=Figure(lever), link_pitch=Figure(pitch))


# Pitch of the thread (ISO 261/262, ASME B1.1) and the rotation of a 25 mm lever for a quarter turn: pitch / 4 / 25 mm.
@pytest.mark.parametrize(
    ("pitch", "degrees"),
    [(0.7 * MM, 0.40107), (0.8 * MM, 0.45837), (0.5 * MM, 0.28648), (1.0 * MM, 0.57296), (INCH / 32, 0.45479)],
)
def test_a_quarter_turn(pitch: float, degrees: float) -> None:
    assert stop_rotation(0.25, hardware(pitch)) / DEGREE == pytest.approx(degrees, abs=1e-5)


def test_the_contact_of_the_screw_does_not_matter() -> None:
    # One turn of M5 on 25 mm: flat face 1.83284, ball contact 1.83378 degrees, by hand; straight lever within 0.05 %.
    for exact in (math.atan(0.8 / 25), math.asin(0.8 / 25)):
        assert stop_rotation(1.0, hardware()) == pytest.approx(exact, rel=5e-4)


@pytest.mark.parametrize(("blade", "degrees"), [(0.05, 0.114592), (0.10, 0.229184), (0.35, 0.802167), (0.70, 1.604492)])
def test_a_screw_that_takes_up_a_blade_turns_the_lever_as_the_blade_does(blade: float, degrees: float) -> None:
    """A blade between stop screw and a lever of 25 mm, by the arc sine: closed form, worked independently."""
    assert stop_rotation(blade / 0.8, hardware()) / DEGREE == pytest.approx(degrees, rel=2e-4)


def test_a_quarter_turn_all_the_way_to_air() -> None:
    # Worked independently: M5, lever 25 mm, quarter turn from closed, bore 45, shaft 9, closed 5 degrees:
    # 1.160008 mm2, 0.998796 kg/h choked; from 1 degree open already 1.381013 mm2 more.
    closed, turned = 5 * DEGREE, stop_rotation(0.25, hardware())
    from_closed = open_area(closed + turned, 45 * MM, 9 * MM, closed)
    assert from_closed == pytest.approx(1.160008e-6, rel=2e-4)
    assert mass_flow(from_closed, 101325, 40e3) / KG_PER_HOUR == pytest.approx(0.998796, rel=2e-4)
    start = closed + 1 * DEGREE
    more = open_area(start + turned, 45 * MM, 9 * MM, closed) - open_area(start, 45 * MM, 9 * MM, closed)
    assert more == pytest.approx(1.381013e-6, rel=2e-4)


@pytest.mark.parametrize("shorter", [-0.5 * MM, -0.1 * MM, 0.1 * MM, 0.5 * MM])
def test_a_rod_of_another_length_turns_its_bank_as_a_four_bar_does(shorter: float) -> None:
    """Levers of 30 mm square to a rod of 100 mm: the angle at which Freudenstein's equation closes (A. Ghosal, "The
    Freudenstein equation", Resonance, August 2010), against travel over arm."""
    lever, ground = 30 * MM, 100 * MM
    first = math.pi / 2
    turned = output_angle(lever, ground - shorter, lever, ground, first) - first
    flats = 6 * shorter / (0.8 * MM)
    assert link_rotation(flats, hardware()) == pytest.approx(turned, rel=2e-3)


# Input lever, rod, output lever, ground, input angle and the output angle of the open branch, all lengths in one unit.
@pytest.mark.parametrize(
    ("linkage", "angle", "output", "within"),
    [
        ((40, 120, 80, 100), 40, 57.33, 0.01),  # Norton, Design of Machinery, position analysis; printed, from memory
        ((130, 200, 170, 220), 60, 77.1507471, 1e-6),  # public textbook exercise, answer recomputed
        ((2, 3.5, 4, 1), 60, 29.152728, 1e-5),  # Waldron and Kinzel, example 7.1; recomputed
        ((2, 3.5, 4, 1), 120, 79.629975, 1e-5),
    ],
)
def test_the_linkage_compared_with_is_that_of_the_textbooks(
    linkage: tuple[float, float, float, float], angle: float, output: float, within: float
) -> None:
    assert math.degrees(output_angle(*linkage, math.radians(angle))) == pytest.approx(output, abs=within)


def test_a_rod_turns_by_what_a_longer_or_shorter_one_does_in_a_textbook_linkage() -> None:
    """Levers of 30 mm, rods of 99.5 and 100.5 mm on a ground of 100 mm, square: 90.954974 and 89.045026 degrees, solved
    independently; half a millimeter is 3.75 flats of 0.8 mm."""
    by = link_rotation(3.75, hardware())
    assert by / DEGREE == pytest.approx(0.954974, rel=1e-3)
    assert link_rotation(-3.75, hardware()) / DEGREE == pytest.approx(89.045026 - 90, rel=1e-3)


# Rods worked by hand: travel per flat over the arm, square to it.
@pytest.mark.parametrize(
    ("pitch", "arm", "both_hands", "milliradians"),
    [
        (0.8 * MM, 30 * MM, True, 8.9),
        (0.8 * MM, 30 * MM, False, 4.4),
        (1.0 * MM, 30 * MM, False, 5.6),
        (INCH / 32, INCH, True, 10.4),
    ],
)
def test_a_flat_of_a_link(pitch: float, arm: float, both_hands: bool, milliradians: float) -> None:
    fitted = replace(hardware(), link_pitch=Figure(pitch), link_lever=Figure(arm))
    assert link_rotation(1, fitted, both_hands) * 1e3 == pytest.approx(milliradians, abs=0.05)
    assert flats_for(link_rotation(-1.5, fitted, both_hands), fitted, both_hands) == pytest.approx(-1.5)


def test_who_moves_whom() -> None:
    assert moved_bores(EIGHT, StopScrew("B")) == (5, 6, 7, 8)
    assert moved_bores(EIGHT, Coupler(2, 3)) == (3, 4)
    assert moved_bores(EIGHT, Coupler(3, 4)) == (4,)
    assert moved_bores(EIGHT, Coupler(2, 1)) == (1,)
    assert moved_bores(EIGHT, Link("A")) == (1, 2, 3, 4)


def test_adjusters_of_one_and_two_banks() -> None:
    assert adjusters(EIGHT)[:5] == (StopScrew("A"), Coupler(2, 3), Coupler(3, 4), Coupler(2, 1), Link("A"))
    single = Layout((Bank("A", (1, 2), stop=1, drive=1),))
    assert adjusters(single) == (StopScrew("A"), Coupler(1, 2))


def test_influence_has_one_row_a_bore_and_one_column_an_adjuster() -> None:
    found = influence(EIGHT, hardware())
    assert found.matrix.shape == (8, 10)
    # By hand: 0.8 mm / 25 mm = 32 mrad a turn, 3.54 um of gap a milliradian at five thou: 113 um = 4.46 thou.
    assert found.of(StopScrew("A")) == pytest.approx(dict.fromkeys((1, 2, 3, 4), 4.46 * THOU), rel=5e-3)
    assert found.of(Coupler(6, 7)) == {7: 1.0, 8: 1.0}
    assert found.of(Link("B")) == pytest.approx(dict.fromkeys((5, 6, 7, 8), 0.62 * THOU), rel=5e-3)
    with pytest.raises(ValueError, match="not in tuple"):
        found.of(StopScrew("C"))


def test_a_couplers_screw_moves_all_beyond_by_its_lever_and_a_bypass_screw_counts_as_a_gap_of_its_own_bore() -> None:
    twins = Bank("A", (1, 2, 3, 4), 2, 2, ("shaft", "screw-out", "shaft"))
    layout = Layout((twins,), bypass=frozenset({1, 3}))
    assert adjusters(layout) == (StopScrew("A"), Coupler(2, 3), Bypass(1), Bypass(3))
    found = influence(layout, hardware())
    # By hand: 0.8 mm / 20 mm = 40 mrad a turn, 3.54 um of gap a milliradian at five thou; turned out it opens.
    assert found.of(Coupler(2, 3)) == pytest.approx(dict.fromkeys((3, 4), -5.57 * THOU), rel=5e-3)
    # By hand: 0.5 mm2 over half the circumference of a 48 mm bore, 75.4 mm.
    assert found.of(Bypass(3)) == pytest.approx({3: 6.63e-6}, rel=1e-3)


def test_influence_is_the_slope_of_the_exact_move() -> None:
    fitted = hardware()
    per_turn = influence(EIGHT, fitted, gap=5 * THOU).of(StopScrew("A"))[1]
    step = 1e-4
    exact = (gap_after_turns(5 * THOU, step, fitted) - gap_after_turns(5 * THOU, -step, fitted)) / (2 * step)
    assert per_turn == pytest.approx(exact, rel=1e-6)


def test_resetting_a_coupler_and_turning_back_leaves_the_inner_bores_alone() -> None:
    found = influence(EIGHT, hardware())
    together = found.matrix @ np.array([0, 1.0, -1.0, 0, 0, 0, 0, 0, 0, 0]) * THOU
    assert dict(zip(found.bores, together / THOU, strict=True)) == {1: 0, 2: 0, 3: 1, 4: 0, 5: 0, 6: 0, 7: 0, 8: 0}


def test_a_plate_cannot_close_further_than_its_bore() -> None:
    assert gap_after_turns(1 * THOU, -3.0, hardware()) == 0.0
    assert turns_between(5 * THOU, 5 * THOU, hardware()) == 0.0
