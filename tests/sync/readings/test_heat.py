"""Hot right through: limits of the rule, what a cooling engine takes back, and order of what is missing."""

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from app.sync.engine.units import MINUTE, ZERO_CELSIUS
from app.sync.readings.heat import Heat, HeatPoint, HeatRule, Lack, heat_soaked, swing

RULE = HeatRule(15 * MINUTE, 70 + ZERO_CELSIUS, 65 + ZERO_CELSIUS, 5 * MINUTE, 2.0)


def warming(minutes: int, lag: float, end: float = 85.0, every: int = 1) -> list[HeatPoint]:
    """Coolant that nears its end temperature as a body warmed through one resistance does; oil twice as slow."""
    return [
        HeatPoint(
            m * MINUTE,
            ZERO_CELSIUS + end - (end - 20) * math.exp(-m / lag),
            ZERO_CELSIUS + end - (end - 20) * math.exp(-m / (2 * lag)),
        )
        for m in range(0, minutes + 1, every)
    ]


def test_a_warm_engine_that_still_moves_is_not_through() -> None:
    """With a lag of 6 min oil is at 66 degrees after 15 min and climbs on: 85 - 65 exp(-15/12) = 66.4."""
    heat = heat_soaked(warming(15, 6), RULE)
    assert not heat.holds
    assert [(lack.why, lack.what) for lack in heat.lacks] == [("moving", "coolant"), ("moving", "oil")]


def test_it_opens_once_oil_moves_less_than_the_rule_allows() -> None:
    """Oil moves by 65 (exp(-(m-5)/12) - exp(-m/12)) in the last five minutes; that is 2.0 at m = 12 ln 16.8 = 33.9."""
    assert not heat_soaked(warming(33, 6), RULE).holds
    assert heat_soaked(warming(34, 6), RULE).holds


@pytest.mark.parametrize(
    ("points", "lacks"),
    [
        ([], [("unread", "coolant")]),
        (warming(0, 6), [("time", None), ("low", "coolant"), ("low", "oil")]),
        ([HeatPoint(0, 360, 360)], [("time", None), ("short", "coolant"), ("short", "oil")]),
        ([HeatPoint(0, 360), HeatPoint(15 * MINUTE, 360)], [("unread", "oil")]),
    ],
)
def test_what_is_still_wanted_is_named(points: list[HeatPoint], lacks: list[tuple[str, str | None]]) -> None:
    heat = heat_soaked(points, RULE)
    assert not heat.holds
    assert [(lack.why, lack.what) for lack in heat.lacks] == lacks


def test_oil_without_a_gauge_is_not_asked_for_but_counts_when_read() -> None:
    steady = [HeatPoint(m * MINUTE, 358.0) for m in range(0, 21, 5)]
    assert heat_soaked(steady, RULE, with_oil=False).holds
    assert not heat_soaked(steady, RULE).holds
    assert not heat_soaked([HeatPoint(0, 358.0, 320.0), *steady[1:]], RULE, with_oil=False).holds


def test_a_thermostat_that_opens_takes_nothing_back_but_a_cold_engine_does() -> None:
    hot = [HeatPoint(m * MINUTE, 358.0, 358.0) for m in range(0, 21, 5)]
    dip = [*hot, HeatPoint(22 * MINUTE, 350.0, 358.0)]
    assert heat_soaked(dip, RULE).holds
    cooled = [*dip, HeatPoint(80 * MINUTE, 310.0, 320.0)]
    assert not heat_soaked(cooled, RULE).holds


@given(st.floats(0.1, 10), st.integers(2, 40))
def test_a_figure_that_stands_still_has_no_swing(every: float, count: int) -> None:
    series = [(every * n, 355.0) for n in range(count)]
    assert swing(series, every) == 0


@given(st.lists(st.floats(300, 400), min_size=2, max_size=30))
def test_the_swing_over_everything_is_the_whole_range(values: list[float]) -> None:
    series = [(float(n), value) for n, value in enumerate(values)]
    assert swing(series, len(values) - 1) == pytest.approx(max(values) - min(values))


def test_where_air_cools_the_engine_its_heads_are_judged_and_coolant_is_not_asked_for() -> None:
    heads = [HeatPoint(60.0 * m, head=ZERO_CELSIUS + 160 - 130 * 0.8**m) for m in range(31)]
    assert heat_soaked(heads, RULE, with_oil=False, metal="head").holds
    assert heat_soaked(heads, RULE, with_oil=False).lacks[-1] == Lack("unread", "coolant")
    cooler = [HeatPoint(60.0 * m, head=100 + ZERO_CELSIUS) for m in range(31)]
    (low,) = heat_soaked(cooler, RULE, with_oil=False, metal="head").lacks
    assert (low.why, low.what) == ("low", "head")
    assert low.by == pytest.approx(RULE.head - 100 - ZERO_CELSIUS)


def test_how_much_is_wanting_is_told_in_seconds_and_kelvin() -> None:
    """By hand: 120 s of 900 ran, and 120 s of the 300 that are looked at."""
    heat = heat_soaked([HeatPoint(100.0, 360.0, 360.0), HeatPoint(220.0, 360.0, 330.0)], RULE)
    assert heat.time == 120.0
    assert heat.lacks == (
        Lack("time", None, 780.0),
        Lack("short", "coolant", 180.0),
        Lack("low", "oil", 65 + ZERO_CELSIUS - 330),
    )
    assert heat_soaked([], RULE).time == 0.0
    hot = [HeatPoint(100.0 + 60 * m, 360.0, 360.0) for m in range(21)]
    assert heat_soaked(hot, RULE) == Heat(True, 1200.0, ())


def test_a_swing_is_judged_over_the_newest_stretch_that_is_long_enough() -> None:
    series = [(0.0, 300.0), (100.0, 350.0), (200.0, 352.0), (400.0, 351.0)]
    assert swing(series, 300.0) == 2.0
    assert swing(series, 400.0) == 52.0
    assert swing(series, 401.0) is None
    assert swing([], 1.0) is None
