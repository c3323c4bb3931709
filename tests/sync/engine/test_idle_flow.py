"""Breathing: against solving the same balance by bisection with the flow law itself, and against finite differences."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from app.sync.engine.air import flow_function
from app.sync.engine.idle_flow import SHARING, flow_function_of, own_ratio, slopes, solve_idle, usual_breathing
from app.sync.engine.plate import closed_leakage
from app.sync.engine.units import DEGREE, KG_PER_HOUR, MM, THOU
from app.sync.slips.changes import PLENUM_PRESSURE_PER_FLOW, PRESSURE_PER_FLOW
from tests.sync.oracles import area_of_gap

ENGINE = usual_breathing(4, 2e-3, 850 / 60)
AREAS = np.array([7.0, 9.0, 10.5, 13.0]) * 1e-6


def by_bisection(area: float, log_speed: float) -> float:
    """Runner over ambient pressure at which what comes in is what the cylinder takes."""
    low, high = 1e-6, 1 - 1e-9
    for _ in range(80):
        middle = (low + high) / 2
        comes_in = ENGINE.conductance * area * flow_function(middle)
        low, high = (middle, high) if comes_in > ENGINE.filling * np.exp(log_speed) * middle else (low, middle)
    return (low + high) / 2


@pytest.mark.parametrize("area", [3e-6, 8e-6, 1.2e-5, 2.5e-5])
def test_a_runner_settles_where_what_comes_in_is_taken(area: float) -> None:
    assert own_ratio(ENGINE, np.array([area]), 0.1)[0] == pytest.approx(by_bisection(area, 0.1), abs=1e-4)


@given(st.floats(0.01, 0.9999))
def test_the_table_is_the_flow_law(ratio: float) -> None:
    assert flow_function_of(np.array([ratio]))[0] == pytest.approx(flow_function(ratio), abs=2e-4)


def test_a_settled_idle_balances_flow_pressure_and_speed() -> None:
    found = solve_idle(ENGINE, AREAS, 0.05)
    own = np.array([by_bisection(float(area), float(found.log_speed)) for area in AREAS])
    mixed = (1 - SHARING) * own + SHARING * own.mean()
    flows = [ENGINE.conductance * a * flow_function(float(r)) for a, r in zip(AREAS, mixed, strict=True)]
    assert found.ratios == pytest.approx(mixed, abs=3e-4)
    assert found.flows == pytest.approx(flows, rel=1e-3)
    assert float(found.log_speed) == pytest.approx(0.8 * (np.log(sum(flows) / ENGINE.demand) - 0.05), abs=1e-3)


@pytest.mark.parametrize("diameter", [40 * MM, 43 * MM])
def test_an_eight_thou_blade_passes_what_the_trade_says(diameter: float) -> None:
    """7 to 8 kg/h on a mid-sized bore (common practice, no published source), and a meter may be a tenth off."""
    area = area_of_gap(8 * THOU, diameter, 8 * MM, 6 * DEGREE) + 0.3 * closed_leakage(diameter)
    flow = solve_idle(usual_breathing(8, 4e-3, 850 / 60), np.full(8, area)).flows[0] / KG_PER_HOUR
    assert 7 * 0.9 < flow < 8 * 1.1


def test_slopes_are_what_small_changes_do() -> None:
    settled = solve_idle(ENGINE, AREAS)
    found = slopes(ENGINE, AREAS, settled)
    small = 1e-3
    for bore in range(4):
        changed = AREAS.copy()
        changed[bore] *= 1 + small
        after = solve_idle(ENGINE, changed)
        assert np.log(after.flows / settled.flows) / small == pytest.approx(found.flows[:, bore], abs=4e-3)
        assert np.log(after.ratios / settled.ratios) / small == pytest.approx(found.ratios[:, bore], abs=4e-3)
        assert (after.log_speed - settled.log_speed) / small == pytest.approx(found.log_speed[bore], abs=4e-3)
    after = solve_idle(ENGINE, AREAS, small)
    assert np.log(after.flows / settled.flows) / small == pytest.approx(found.flows[:, 4], abs=4e-3)
    assert (after.log_speed - settled.log_speed) / small == pytest.approx(found.log_speed[4], abs=4e-3)


def test_many_idles_at_once_are_each_as_one_alone() -> None:
    both = np.stack([AREAS, AREAS[::-1]])
    together = solve_idle(ENGINE, both, 0.02)
    slope = slopes(ENGINE, both, together)
    for row, areas in enumerate(both):
        alone = solve_idle(ENGINE, areas, 0.02)
        assert together.flows[row] == pytest.approx(alone.flows)
        assert slope.flows[row] == pytest.approx(slopes(ENGINE, areas, alone).flows)


def test_flow_answers_less_than_in_proportion_to_area() -> None:
    settled = solve_idle(ENGINE, AREAS)
    assert (np.diag(slopes(ENGINE, AREAS, settled).flows[:, :4]) < 1).all()


def test_behind_a_common_plenum_a_bores_flow_follows_its_own_gap_and_a_column_hardly_does() -> None:
    apart, joined = usual_breathing(4, 2e-3, 850 / 60), usual_breathing(4, 2e-3, 850 / 60, plenum=True)
    flow, pressure = [], []
    for engine in (apart, joined):
        found = slopes(engine, AREAS, solve_idle(engine, AREAS))
        flow.append(found.flows[3, 3] - found.flows[2, 3])  # beyond what all bores do together
        pressure.append(found.ratios[3, 3] - found.ratios[2, 3])
    assert flow[1] > 1.1 * flow[0]
    assert pressure[1] < 0.5 * pressure[0]


def test_a_column_turned_into_flow_goes_by_what_the_plenum_leaves_of_the_difference() -> None:
    """The flow law solved for one of eight bores opened by one per cent; the rest is what all share."""
    for plenum, per_flow in ((False, PRESSURE_PER_FLOW), (True, PLENUM_PRESSURE_PER_FLOW)):
        engine = usual_breathing(8, 4e-3, 850 / 60, plenum)
        areas = np.full(8, engine.demand / 8 / (engine.conductance * 0.64))
        before, after = solve_idle(engine, areas), solve_idle(engine, areas * np.array([1.01, *[1.0] * 7]))
        rise = np.log(after.ratios / before.ratios), np.log(after.flows / before.flows)
        one, other = (float(change[0] - change[1]) for change in rise)
        assert one / other == pytest.approx(per_flow, rel=0.15)
