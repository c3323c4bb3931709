"""What setting all plates cold is foretold to cost and save, and in which order it goes."""

import math
from dataclasses import replace

import numpy as np
import pytest

from app.sync.engine.hardware import likely_hardware
from app.sync.engine.idle_flow import solve_idle
from app.sync.engine.layout import Bank, Coupler, Layout, StopScrew
from app.sync.engine.linkage import stop_rotation
from app.sync.engine.plate import gap_at
from app.sync.engine.units import THOU
from app.sync.estimation.posterior import LEAST_GAP, start_prior
from app.sync.planning.cold_setting import SLOWEST_START, Foreseen, foresee, nearest_leaf, outward
from app.sync.planning.preset import turns_for_idle

V8 = Layout((Bank("A", (1, 2, 3, 4), 2, 1), Bank("B", (5, 6, 7, 8), 6, 5)))
SCREWED = Layout((Bank("A", (1, 2, 3, 4), 2, 2, ("screw", "screw", "screw")),))
LEAVES = tuple(t * THOU for t in (1.5, 2, 2.5, 3, 3.5, 4, 4.5, 5, 6, 7, 8, 9, 10))
SPEED = 850 / 60


def told(layout: Layout = V8, gauged: bool = False, assembled: bool = False) -> Foreseen:
    n = len(layout.bores)
    start = start_prior(layout, likely_hardware(5e-4 * n, n), 5e-4 * n, SPEED)
    return foresee(start, 3.5 * THOU, 3.5 * THOU, LEAVES, 0.08, gauged, assembled)


def test_each_bank_is_set_outward_from_its_stop_screw() -> None:
    assert outward(V8) == (
        (2, StopScrew("A")), (3, Coupler(2, 3)), (4, Coupler(3, 4)), (1, Coupler(2, 1)),
        (6, StopScrew("B")), (7, Coupler(6, 7)), (8, Coupler(7, 8)), (5, Coupler(6, 5)),
    )  # fmt: skip


def test_it_takes_the_minutes_of_its_stop_screws_and_couplers() -> None:
    """A stop screw 0.7 minutes, a feeler at a coupler 2, a coupler's own screw 0.7; nothing is read."""
    assert told().cold_minutes == pytest.approx(2 * 0.7 + 6 * 2.0)
    assert told(SCREWED).cold_minutes == pytest.approx(4 * 0.7)


def test_a_gauged_hand_and_couplers_never_set_save_more() -> None:
    usual, gauged, anew = told(), told(gauged=True), told(assembled=True)
    assert gauged.saved > usual.saved > 2
    assert anew.without > usual.without
    assert (anew.with_it, gauged.without) == (usual.with_it, usual.without)


def test_plates_that_stand_alike_make_a_slow_first_start_less_likely() -> None:
    assert told().stalls_with_it < told().stalls_without < told(assembled=True).stalls_without < 0.2


@pytest.mark.parametrize("gap", [3.5 * THOU, 4.5 * THOU])
def test_a_first_start_stalls_as_often_as_engines_drawn_from_the_prior_do(gap: float) -> None:
    """Gaps about the preset with the scatter of parts, leaks and demand drawn, each idle by the flow law: 2,000 engines
    tell the share within 0.007, one standard error, and the law is bent a little where it matters too."""
    start = start_prior(V8, likely_hardware(4e-3, 8), 4e-3, SPEED)
    by_demand, demand = start.covariance[:8, -1], start.covariance[-1, -1]
    own = start.covariance[:8, :8] - np.outer(by_demand, by_demand) / demand
    rng, slow = np.random.default_rng(3), 0
    for _ in range(2000):
        gaps = np.maximum(rng.multivariate_normal(np.full(8, gap), own), LEAST_GAP)
        leaks = rng.normal(start.mean[8:16], np.sqrt(np.diag(start.covariance)[8:16]))
        drawn = replace(start, mean=np.r_[gaps, np.maximum(leaks, 0.0), start.mean[16:]])
        settled = solve_idle(start.engine, drawn.areas, rng.normal(0.0, math.sqrt(demand)))
        slow += bool(settled.log_speed < math.log(SLOWEST_START))
    found = foresee(start, gap, gap, LEAVES, 0.08, gauged=False, assembled=False).stalls_without
    assert found == pytest.approx(slow / 2000, abs=0.03)


@pytest.mark.parametrize(("saved", "pays"), [(14.0, True), (13.4, True), (13.3, False), (-1.0, False)])
def test_it_pays_from_where_it_saves_what_it_takes(saved: float, pays: bool) -> None:
    found = Foreseen(13.4, 20.0, 20.0 - saved, 0.0, 0.0)
    assert found.saved == pytest.approx(max(saved, 0.0))
    assert found.pays is pays


def test_the_feeler_is_the_leaf_nearest_to_the_gap_that_the_preset_turns_open() -> None:
    """Turns to angle by pitch and lever, angle to gap by plane geometry; the base feeler's share of the lever off."""
    hardware = likely_hardware(5.7e-3, 8)
    preset = turns_for_idle(5.7e-3, 8, 15.0, hardware)
    opened = stop_rotation(preset.turns, hardware) - preset.base_blade / hardware.stop_lever.value
    closed, diameter = hardware.closed_angle.value, hardware.bore_diameter.value
    assert gap_at(closed + opened, diameter, closed) == pytest.approx(preset.gap)
    leaf = nearest_leaf(preset.gap, LEAVES)
    assert abs(leaf - preset.gap) == min(abs(one - preset.gap) for one in LEAVES)
    assert nearest_leaf(preset.gap, ()) == preset.gap


def test_the_saving_follows_from_the_spread_of_couplers() -> None:
    """Plates known to stand alike leave nothing to set: with no spread at all, nothing is saved by a steadier hand."""
    start = start_prior(V8, likely_hardware(4e-3, 8), 4e-3, SPEED)
    known = replace(start, covariance=1e-8 * start.covariance)
    found = foresee(known, 3.5 * THOU, float(start.gaps[0]), LEAVES, 0.08, True, False)
    assert found.without == pytest.approx(0.0, abs=0.5)
    assert not found.pays
    assert math.isfinite(found.stalls_without)
    assert np.isfinite(found.stalls_with_it)
