"""A reading turned into air: a flow meter's as it is, a vacuum column's by the day's pressure and the right slope."""

import math

import pytest
from scipy.optimize import brentq

from app.sync.engine.events import Meter, Reading
from app.sync.engine.layout import Bank, Layout
from app.sync.engine.units import KPA
from app.sync.estimation.evenness import BoreVerdict, evenness
from app.sync.readings.observation import far_from_others, log_air, per_air, scale_of

V8 = Layout((Bank("A", (1, 2, 3, 4), 1, 1), Bank("B", (5, 6, 7, 8), 5, 5)))
SHARED = 0.3


def psi(ratio: float) -> float:
    """Isentropic flow of air, gamma 1.4, constant below the critical ratio; written here on its own."""
    throat = max(ratio, (2 / 2.4) ** 3.5)
    return math.sqrt(7 * (throat ** (2 / 1.4) - throat ** (2.4 / 1.4)))


def column(area: float, base: float, bores: int = 8) -> tuple[float, float]:
    """Flow and runner over ambient pressure of one bore whose area is ``area`` times that of the others, at a given
    speed, where all alike would stand at ``base``."""
    pull = psi(base) / base
    own = brentq(lambda r: area * psi(r) - pull * r, 1e-3, 1 - 1e-9)
    shared = ((bores - 1) * base + own) / bores
    ratio = (1 - SHARED) * own + SHARED * shared
    return area * psi(ratio), ratio


@pytest.mark.parametrize("ambient", [101.325 * KPA, 83.5 * KPA])
@pytest.mark.parametrize("vacuum", [12, 20, 33, 50])
@pytest.mark.parametrize("opened", [0.9, 1.1])
def test_a_column_tells_by_how_much_a_plate_was_moved_in_any_air(ambient: float, vacuum: float, opened: float) -> None:
    """At 1,600 m, too, where the standard barometer would tell about a quarter too little."""
    base = 1 - vacuum * KPA / ambient
    (flow, ratio), (was, before) = column(opened, base), column(1.0, base)
    meter = Meter("vacuum", 0.25 * KPA, 0.01, ambient)
    told = log_air(ambient * (1 - ratio), meter)[0] - log_air(ambient * (1 - before), meter)[0]
    assert told == pytest.approx(math.log(flow / was), abs=0.009)


@pytest.mark.parametrize("sharing", [0.3, 0.8])
@pytest.mark.parametrize("vacuum", [8.0, 12.0, 33.0, 47.0, 60.0])
def test_the_slope_is_that_of_finite_differences(vacuum: float, sharing: float) -> None:
    meter, step = Meter("vacuum", 0.25 * KPA, 0.01), 50.0
    value = vacuum * KPA
    up, down = (log_air(value + sign * step, meter, sharing)[0] for sign in (1, -1))
    assert (up - down) / (2 * step) * per_air(value, meter, sharing) == pytest.approx(1.0, abs=2e-3)


@pytest.mark.parametrize(("vacuum", "per_cent"), [(12.0, 3.0), (33.0, 6.3), (56.0, 14.1)])
def test_eight_per_cent_of_a_column_is_another_share_of_the_air_at_every_depth(vacuum: float, per_cent: float) -> None:
    """Worked out for the same flow law by another program; 8 % of the vacuum is so much of the flow."""
    meter = Meter("vacuum", 0.25 * KPA, 0.01)
    assert 8 * vacuum * KPA / -per_air(vacuum * KPA, meter) == pytest.approx(per_cent, abs=0.06)


def test_differences_of_columns_are_as_unsure_as_what_runners_share() -> None:
    """At 33 kPa a column shows 1.0 of the air with nothing shared and 0.31 with 0.6, by the published table."""
    gauge = Meter("vacuum", 250.0, 0.01)
    assert scale_of(33e3, gauge, 0.3, 0.3) == pytest.approx(math.log(1.0 / 0.31) / 2, abs=0.02)
    assert scale_of(33e3, gauge, 0.3, 0.0) == 0.0
    assert scale_of(1e-3, Meter(), 0.3, 0.3) == 0.0


def test_noise_of_a_reading() -> None:
    # By hand: 2 % and a quarter of a kg/h at 6.4: sqrt(0.02^2 + (0.25 / 6.4)^2 / 12) = 0.02296.
    assert log_air(6.4 / 3600, Meter())[1] == pytest.approx(0.02296, abs=1e-5)
    assert log_air(2e-3, Meter())[0] - log_air(1e-3, Meter())[0] == pytest.approx(math.log(2))


def test_the_noise_of_a_column_is_that_of_its_air() -> None:
    """By hand at 33 kPa: 1 % of it and 0.25 kPa, over 68.3 kPa of runner pressure and a slope of 0.61."""
    sd = math.hypot(0.01 * 33, 0.25 / math.sqrt(12)) / (101.325 - 33) / 0.61
    assert log_air(33 * KPA, Meter("vacuum", 0.25 * KPA, 0.01))[1] == pytest.approx(sd, rel=0.01)


@pytest.mark.parametrize("depth", [12.0, 33.0, 56.0])
def test_the_tolerance_of_a_column_is_one_of_air(depth: float) -> None:
    """A plate 18 % too open is called open at any depth, though the vacuum differs by other amounts."""
    base = 1 - depth / 101.325
    area = brentq(lambda a: column(a, base)[0] / column(1.0, base)[0] - 1.18, 1.0, 4.0)
    high = 101.325 * (1 - column(area, base)[1])
    values = [high if bore == 3 else depth for bore in V8.bores]
    read = [Reading(b, v * KPA, 20.0 * n) for n, (b, v) in enumerate(zip(V8.bores, values, strict=True))]
    found = evenness(V8, [*read, Reading(1, depth * KPA, 160.0, True)], Meter("vacuum", 0.1 * KPA, 0.005), 0.08)
    third = next(one for one in found.standings if one.bore == 3)
    assert third.verdict is BoreVerdict.OPEN
    assert third.deviation < 0 < third.opening  # less vacuum, and to the open end of the ruler


def test_less_than_the_step_counts_as_a_part_of_it() -> None:
    assert log_air(0.0, Meter())[0] == log_air(0.25 / 3600 / 4, Meter())[0]


@pytest.mark.parametrize("sharing", [0.3, 0.8])
@pytest.mark.parametrize("vacuum", [5.0, 12.0, 33.0, 56.0])
def test_a_gauge_and_an_absolute_column_of_one_truth_give_one_answer(vacuum: float, sharing: float) -> None:
    ambient = 83.5 * KPA
    gauge = Meter("vacuum", 0.2 * KPA, 0.0, ambient)
    absolute = Meter("vacuum", 0.2 * KPA, 0.0, ambient, absolute=True)
    shown = vacuum * KPA
    assert log_air(ambient - shown, absolute, sharing) == pytest.approx(log_air(shown, gauge, sharing))
    assert per_air(ambient - shown, absolute, sharing) == pytest.approx(-per_air(shown, gauge, sharing))


def test_an_absolute_column_repeats_by_a_share_of_what_it_shows() -> None:
    """By hand at 33 kPa below 101.325: 1 % of 68.325 kPa over itself and a slope of 0.61."""
    meter = Meter("vacuum", 1e-6, 0.01, absolute=True)
    assert log_air((101.325 - 33) * KPA, meter)[1] == pytest.approx(0.01 / 0.61, rel=0.01)


def test_gauge_and_absolute_rounds_are_judged_alike() -> None:
    read = dict(zip(V8.bores, (33.0, 33.5, 27.0, 32.5, 33.0, 34.0, 33.0, 32.5), strict=True))
    verdicts = []
    for absolute in (False, True):
        meter = Meter("vacuum", 0.1 * KPA, 0.0, 83.5 * KPA, absolute)
        shown = [(bore, meter.turned(value * KPA)) for bore, value in (*read.items(), (1, 33.0))]
        taken = [Reading(bore, value, 20.0 * n, n == len(read)) for n, (bore, value) in enumerate(shown)]
        found = evenness(V8, taken, meter, 0.08)
        verdicts.append([(one.verdict, round(one.share, 6)) for one in found.standings])
    assert verdicts[0] == verdicts[1]
    assert verdicts[0][2][0] is BoreVerdict.OPEN


@pytest.mark.parametrize("absolute", [False, True])
def test_a_column_that_shows_nothing_is_read_again_but_not_one_that_may_be_true(absolute: bool) -> None:
    meter = Meter("vacuum", 0.25 * KPA, 0.01, absolute=absolute)
    shown = {bore: meter.turned(33 * KPA) for bore in V8.bores}
    assert far_from_others({**shown, 3: meter.turned(0.0)}, meter) == {3}
    assert far_from_others({**shown, 3: meter.turned(75 * KPA)}, meter) == {3}
    assert far_from_others({**shown, 3: meter.turned(12 * KPA)}, meter) == frozenset()
    assert far_from_others(dict.fromkeys(V8.bores, meter.turned(0.0)), meter) == frozenset()
