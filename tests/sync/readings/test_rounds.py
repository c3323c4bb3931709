"""One round in the meter's unit: drift taken out, the meter allowed for, and what is too far off to be believed."""

import numpy as np
import pytest

from app.sync.engine.events import Meter, Reading
from app.sync.engine.units import KG_PER_HOUR
from app.sync.readings.rounds import RoundFit, fit, outliers, reading_sd

METER = Meter()
FINE = Meter(step=1e-9, repeatability=1e-6)


def fitted(values: list[float], closing: float, meter: Meter = METER) -> RoundFit:
    """A round of these kg/h in walking order, 20 s apart, the first bore read again at its end."""
    walk = [*enumerate(values, start=1), (1, closing)]
    return fit([Reading(b, v * KG_PER_HOUR, 20.0 * n, n == len(values)) for n, (b, v) in enumerate(walk)], meter)


def test_drift_that_the_closing_reading_shows_is_taken_out() -> None:
    found = fitted([6.0 + 0.05 * n for n in range(8)], 6.0 + 0.05 * 8, FINE)
    assert found.drift / KG_PER_HOUR == pytest.approx(0.4, rel=1e-3)
    assert found.drift_seen
    assert max(abs(value - found.mean) for value in found.values.values()) / KG_PER_HOUR < 0.001


def test_a_drift_the_meter_cannot_see_is_not_claimed() -> None:
    assert not fitted([6.5] * 8, 6.75).drift_seen


def test_three_rounds_with_drift_come_out_as_published() -> None:
    """Four items circled three times: Sutton and Clarkson, Metrologia 30 (1993/94) 487-493, the drift paper's data as
    held in the public test file of a national institute; drift per reading and differences for the linear model
    recomputed independently by ordinary least squares. The drift that the program expects of an idle is wide enough
    to leave theirs alone."""
    data = [22.1, 743.7, 3080.4, 4003.4, 18.3, 739.2, 3075.5, 3998.2, 14.2, 734.7, 3071.6, 3994.8]
    equal = Meter(step=1.0, repeatability=0.0)
    found = fit([Reading(1 + n % 4, v, 20.0 * n) for n, v in enumerate(data)], equal)
    assert found.drift / 11 == pytest.approx(-1.071875, rel=1e-4)
    assert found.values[1] - found.values[2] == pytest.approx(-722.071875, rel=1e-7)
    assert found.values[4] - found.values[1] == pytest.approx(3983.815625, rel=1e-7)
    assert found.drift_seen


@pytest.mark.parametrize("every", [20.0, 0.0], ids=["timed", "times not told"])
def test_there_and_back_again_is_free_of_drift(every: float) -> None:
    """Reference, test, test, reference: (t1 - r1 - r2 + t2) / 2 (OIML R 111-1:2004, C.4, from memory). Made up: 10.0
    and 10.4 with 0.1 a reading, so that both stand 0.15 higher in the middle."""
    walk = [(1, 10.0), (2, 10.5), (2, 10.6), (1, 10.3)]
    found = fit([Reading(bore, value, every * n) for n, (bore, value) in enumerate(walk)], FINE)
    assert found.values[2] - found.values[1] == pytest.approx(0.4, rel=1e-6)
    assert found.values[1] == pytest.approx(10.15, rel=1e-6)
    assert found.drift == pytest.approx(0.3, rel=1e-4)


def test_a_value_many_times_the_others_is_asked_for_again() -> None:
    assert outliers({1: 6.5, 2: 6.5, 3: 65.0, 4: 6.5, 5: 6.5}) == {3}
    assert outliers({1: 6.5, 2: 7.5, 3: 5.5, 4: 6.5}) == frozenset()


def test_the_meter_sd_is_repeatability_and_step_together() -> None:
    assert reading_sd(10.0, Meter(step=0.0, repeatability=0.02)) == pytest.approx(0.2)
    assert reading_sd(10.0, Meter(step=0.25, repeatability=0.0)) == pytest.approx(0.25 / np.sqrt(12))


def test_a_round_without_a_reading_raises() -> None:
    with pytest.raises(ValueError, match="needs a reading"):
        fit([], METER)
