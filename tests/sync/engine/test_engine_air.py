"""The engine's air against solving the same balance by bisection with the flow law itself, finite differences of that,
and published figures.
"""

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.optimize import brentq

from app.sync.engine.air import ATMOSPHERE, GAS_CONSTANT, flow_function, standard_pressure
from app.sync.engine.engine_air import (
    Ambient,
    Beyond,
    IdleFlowModel,
    alone,
    area_at,
    beyond,
    day_of,
    flow_function_of,
    kappa,
    needed,
    ratio_at,
    usual_breathing,
    usual_filling,
    vacuum_by_air,
)
from app.sync.engine.idle_flow import slopes, solve_idle
from app.sync.engine.plate import closed_leakage
from app.sync.engine.units import DEGREE, GRAM_PER_SECOND, KG_PER_HOUR, KPA, LITER, MM, REV_PER_MIN, THOU
from tests.sync.oracles import area_of_gap

ENGINE = usual_breathing(4, 2e-3, 850 / 60)
AREAS = np.array([7.0, 9.0, 10.5, 13.0]) * 0.7e-6


def filled(ratio: float) -> float:
    """Residual-gas form of the filling at a compression of 9.2, over that at a ratio of 0.67."""
    return float((9.2 - ratio ** (-1 / 1.4)) / (9.2 - 0.67 ** (-1 / 1.4)))


def even_ratio(engine: IdleFlowModel, speed: float) -> float:
    """Runner over ambient pressure at which all cylinders together draw what the engine needs at a speed [rev/s]."""
    need = engine.demand / engine.bores * (speed / engine.speed) ** 1.2
    return float(brentq(lambda r: engine.filling * speed / engine.speed * filled(r) * r - need, 0.05, 3.0, xtol=1e-14))


def exact_idle(engine: IdleFlowModel, areas: np.ndarray, log_demand: float) -> tuple[np.ndarray, np.ndarray, float]:
    """Flows, runner pressures and ln(speed / wanted) with nothing read off a table."""

    def at(log_speed: float) -> tuple[np.ndarray, np.ndarray]:
        speed = engine.speed * math.exp(log_speed)
        takes = engine.filling * math.exp(log_speed + log_demand) * filled(even_ratio(engine, speed))
        own = np.array(
            [
                brentq(lambda r, a=area: engine.conductance * a * flow_function(r) - takes * r, 1e-9, 1.0, xtol=1e-14)
                for area in areas
            ]
        )
        ratios = (1 - engine.sharing) * own + engine.sharing * own.mean()
        return engine.conductance * areas * np.array([flow_function(float(r)) for r in ratios]), ratios

    def short(log_speed: float) -> float:
        return math.log(at(log_speed)[0].sum() / engine.demand) - log_demand - 1.2 * log_speed

    log_speed = float(brentq(short, -1.5, 1.5, xtol=1e-13))
    return (*at(log_speed), log_speed)


@pytest.mark.parametrize("areas", [AREAS, AREAS * 1.6, np.full(4, 3.2e-6)])
@pytest.mark.parametrize("altitude", [0.0, 1500.0])
def test_a_settled_idle_is_the_one_that_bisection_finds(areas: np.ndarray, altitude: float) -> None:
    engine = usual_breathing(4, 2e-3, 850 / 60, ambient=day_of(None, 283.15, altitude))
    found = solve_idle(engine, areas, 0.05)
    flows, ratios, log_speed = exact_idle(engine, areas, 0.05)
    assert found.flows == pytest.approx(flows, rel=2e-4)
    assert found.ratios == pytest.approx(ratios, abs=1e-4)
    assert float(found.log_speed) == pytest.approx(log_speed, abs=3e-4)


@pytest.mark.parametrize("plenum", [False, True])
@pytest.mark.parametrize("altitude", [0.0, 1500.0])
def test_slopes_are_finite_differences_of_what_bisection_finds(plenum: bool, altitude: float) -> None:
    engine = usual_breathing(4, 2e-3, 850 / 60, plenum, day_of(None, None, altitude))
    found = slopes(engine, AREAS, solve_idle(engine, AREAS))
    small = 1e-3
    for column in range(5):
        step = small * (np.arange(5) == column)
        (more, high, fast), (less, low, slow) = (
            exact_idle(engine, AREAS * np.exp(way * step[:4]), float(way * step[4])) for way in (1, -1)
        )
        assert np.log(more / less) / (2 * small) == pytest.approx(found.flows[:, column], abs=1e-4)
        assert np.log(high / low) / (2 * small) == pytest.approx(found.ratios[:, column], abs=1e-4)
        assert (fast - slow) / (2 * small) == pytest.approx(found.log_speed[column], abs=1e-4)


@given(st.floats(0.01, 0.9999))
def test_the_table_is_the_flow_law(ratio: float) -> None:
    assert flow_function_of(np.array([ratio]))[0] == pytest.approx(flow_function(ratio), abs=2e-4)


@pytest.mark.parametrize("diameter", [40 * MM, 43 * MM])
def test_an_eight_thou_blade_passes_what_the_trade_says(diameter: float) -> None:
    """7 to 8 kg/h on a mid-sized bore (common practice, no published source), and a meter may be a tenth off."""
    area = area_of_gap(8 * THOU, diameter, 8 * MM, 6 * DEGREE) + 0.3 * closed_leakage(diameter)
    flow = solve_idle(usual_breathing(8, 4e-3, 850 / 60), np.full(8, area)).flows[0] / KG_PER_HOUR
    assert 7 * 0.9 < flow < 8 * 1.1


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


@pytest.mark.parametrize(("vacuum", "expected"), [(12, 0.36), (33, 0.61), (56, 0.70)])
def test_a_column_sees_less_of_a_bore_the_nearer_its_runner_comes_to_ambient(vacuum: float, expected: float) -> None:
    """By hand from ``S = d ln psi / d ln r``: h = 1 / (1 - S), (1 - m) h / (1 + S (1 - m) h), at a sharing of 0.3."""
    assert float(kappa(1 - vacuum * KPA / ATMOSPHERE, 0.3)) == pytest.approx(expected, abs=0.01)


@pytest.mark.parametrize("plenum", [False, True])
def test_kappa_and_the_answer_of_a_bore_alone_are_those_of_the_settled_idle(plenum: bool) -> None:
    """One of eight bores opened by a thousandth, less what all bores did together."""
    engine = usual_breathing(8, 4e-3, 850 / 60, plenum)
    areas = np.full(8, float(area_at(engine, 0.0)))
    flows, ratios, _ = exact_idle(engine, areas * np.exp(1e-3 * (np.arange(8) == 0)), 0.0)
    flow, ratio = (float(np.log(one[0] / one[1])) for one in (flows, ratios))
    assert ratio / flow == pytest.approx(float(kappa(0.67, engine.sharing)), rel=2e-3)
    assert flow / 1e-3 == pytest.approx(float(alone(0.67, engine.sharing)), rel=2e-3)


@pytest.mark.parametrize("ratio", [0.5, 0.61, 0.67, 0.8])
def test_more_air_takes_so_much_of_the_vacuum_as_finite_differences_say(ratio: float) -> None:
    """A cylinder takes its filling times the pressure of its runner, nothing shared."""
    more, less = (one * filled(one) for one in (ratio * 1.001, ratio / 1.001))
    lost = 2 * math.log(1.001) * ratio / (1 - ratio)
    assert vacuum_by_air(ratio) == pytest.approx(lost / math.log(more / less), rel=1e-3)


@pytest.mark.parametrize(("vacuum", "air", "after"), [(33.4, 0.112, 25.8), (56.0, 0.194, 47.0)])
def test_a_leak_takes_vacuum_as_another_solver_of_the_same_balance_says(
    vacuum: float, air: float, after: float
) -> None:
    """2 mm2 behind a plate gave that cylinder so much more air [kPa], worked for one filling at every pressure."""
    lost = (vacuum - after) / vacuum / air
    assert vacuum_by_air(1 - vacuum / 101.325) == pytest.approx(lost, rel=0.2)


def test_an_even_idle_settles_at_the_speed_its_area_was_found_for() -> None:
    for altitude in (0.0, 1000.0, 2000.0):
        engine = usual_breathing(6, 3e-3, 900 / 60, ambient=day_of(None, None, altitude))
        for log_speed in (-0.2, 0.0, 0.14):
            area = float(area_at(engine, log_speed, 0.1))
            found = solve_idle(engine, np.full(6, area), 0.1)
            assert float(found.log_speed) == pytest.approx(log_speed, abs=1e-3)
            assert found.ratios[0] == pytest.approx(even_ratio(engine, engine.speed * math.exp(log_speed)), abs=1e-3)


def test_the_demand_law_lies_within_published_idle_demands() -> None:
    """Published for engines of many kinds: 0.8 to 2 g/s for a liter at about 750 rev/min."""
    assert 0.8 < needed(1 * LITER, 750 * REV_PER_MIN) / GRAM_PER_SECOND < 2.0


def test_the_filling_is_what_the_demand_leaves_for_a_cylinder() -> None:
    """By hand: 2.2 g/s of a liter at 850 rev/min, every other revolution, of air at 0.67 atmospheres and 320 K."""
    drawn = usual_filling() * 1e-3 * 850 / 120 * 0.67 * ATMOSPHERE / (GAS_CONSTANT * 320)
    assert drawn == pytest.approx(2.2e-3)
    assert usual_filling() == pytest.approx(0.42, abs=0.005)


@pytest.mark.parametrize(("altitude", "factor", "ratio"), [(1000, 1.22, 0.75), (2000, 1.62, 0.84), (3000, 2.91, 0.95)])
def test_thinner_air_wants_more_area_than_its_density_says(altitude: float, factor: float, ratio: float) -> None:
    """Worked from the same balance with another solver; the runner keeps its absolute pressure, so its ratio rises."""
    sea, high = (usual_breathing(8, 5.7e-3, 900 / 60, ambient=day_of(None, None, at)) for at in (0.0, altitude))
    assert float(area_at(high, 0.0) / area_at(sea, 0.0)) == pytest.approx(factor, rel=0.01)
    assert float(ratio_at(high, 0.0)) == pytest.approx(ratio, abs=0.006)
    assert factor > ATMOSPHERE / standard_pressure(altitude)


def test_the_day_is_what_was_recorded_else_the_standard_air_of_the_shop() -> None:
    assert day_of(83.5 * KPA, 300.0, 1600.0) == Ambient(83.5 * KPA, 300.0)
    # US Standard Atmosphere 1976, geopotential altitude.
    assert day_of(None, None, 2000.0).pressure == pytest.approx(79495.202, rel=1e-6)
    assert day_of(None, None) == Ambient()


@pytest.mark.parametrize(
    ("change", "expected"),
    [
        ({}, ()),
        ({"gaps": np.array([5.0, 21.0]) * THOU}, (Beyond.GAP,)),
        ({"ratios": 0.93}, (Beyond.RATIO,)),
        ({"speed": 1700 * REV_PER_MIN}, (Beyond.SPEED,)),
        ({"ambient": Ambient(65 * KPA, 240.0)}, (Beyond.PRESSURE, Beyond.TEMPERATURE)),
        ({"diameter": 75 * MM}, (Beyond.BORE,)),
    ],
)
def test_what_lies_outside_the_model_is_named(change: dict[str, object], expected: tuple[Beyond, ...]) -> None:
    usual = {"gaps": 5 * THOU, "ratios": 0.68, "speed": 15.0, "ambient": Ambient(), "diameter": 48 * MM}
    assert beyond(**(usual | change)) == expected  # type: ignore[arg-type]
