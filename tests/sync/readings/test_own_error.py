"""A reading that came with a standard error of its own is trusted by that, and others by the meter."""

import math

import pytest

from app.sync.engine.events import Meter, Reading
from app.sync.planning.contradictions import to_read_again
from app.sync.readings.repeat_checks import accepted, as_read
from app.sync.readings.rounds import fit, reading_sd
from tests.shop.yard import V8

METER = Meter(step=0.25 / 3600, repeatability=0.02)


def test_the_error_of_a_reading_stands_for_repeatability_and_step() -> None:
    assert reading_sd(6.5, METER, 0.006) == pytest.approx(0.039)
    assert reading_sd(6.5, METER) > reading_sd(6.5, METER, 0.006)


def test_a_meter_with_no_such_readings_stays_as_it_is() -> None:
    assert as_read(METER, [Reading(1, 6.5 / 3600, 0.0)]) is METER


def test_two_readings_differ_by_the_root_of_both_variances() -> None:
    """Var(a - b) = Var(a) + Var(b), GUM 5.1.2 with c = 1 and -1."""
    pair = [Reading(1, 0.002, 0.0, sd=0.04), Reading(1, 0.002, 9.0, sd=0.006)]
    assert math.sqrt(2) * as_read(METER, pair).repeatability == pytest.approx(math.hypot(0.04, 0.006))


def test_a_weighted_mean_is_weighted_by_each_error() -> None:
    """Two readings of one bore: weights of 1 / variance (Gauss, 1809), but for the drift that a round allows for."""
    pair = [Reading(1, 0.00200, 0.0, sd=0.04), Reading(1, 0.00210, 0.0, sd=0.005)]
    weights = [(0.04 * 0.00200) ** -2, (0.005 * 0.00210) ** -2]
    expected = (weights[0] * 0.00200 + weights[1] * 0.00210) / sum(weights)
    assert fit(pair, METER).values[1] == pytest.approx(expected, rel=1e-3)


def test_poor_values_are_not_called_contradictory_and_good_ones_are() -> None:
    others = [Reading(bore, 6.5 / 3600, 10.0 * bore) for bore in V8.bores if bore != 1]

    def asked(sd: float) -> tuple[int, ...]:
        found = to_read_again(
            V8, METER, [*others, Reading(1, 7.3 / 3600, 90.0, sd=sd), Reading(1, 6.5 / 3600, 99.0, sd=sd)]
        )
        return found.bores if found else ()

    assert (asked(0.1), asked(0.004)) == ((), (1,))
    good, poor = (accepted([6.5, 7.3, 6.5], as_read(METER, [Reading(1, 6.5, 0.0, sd=sd)])) for sd in (0.006, 0.04))
    assert (good, poor) == ([6.5, 6.5], [6.5, 7.3, 6.5])
