"""The band of a reading after a move holds nine of ten, also where it is in doubt that anything moves."""

from dataclasses import replace
from statistics import NormalDist

import pytest
from hypothesis import given
from hypothesis import strategies as st

from app.sync.engine.events import BladeReset, Event, Meter, Reading
from app.sync.engine.hardware import likely_hardware
from app.sync.engine.layout import Bank, Coupler, Layout
from app.sync.engine.units import LITER, THOU
from app.sync.estimation.filter import predicted_readings
from app.sync.estimation.foretold import band_of_either
from app.sync.estimation.posterior import start_prior
from app.sync.estimation.visit_hypotheses import bands_after, judged

FOUR = Layout((Bank("A", (1, 2, 3, 4), 1, 1),))
START = start_prior(FOUR, likely_hardware(2 * LITER, 4), 2 * LITER, 850 / 60)

means, spreads = st.floats(4.0, 12.0), st.floats(0.05, 0.5)


@given(means, spreads, means, spreads, st.floats(0.0, 1.0))
def test_one_reading_of_twenty_lies_on_either_side(
    moved: float, by: float, unmoved: float, beside: float, doubt: float
) -> None:
    """Of the two laws together, by the normal law of Python's own library."""
    one, other = NormalDist(moved, by), NormalDist(unmoved, beside)
    below = [
        (1 - doubt) * one.cdf(end) + doubt * other.cdf(end)
        for end in band_of_either((moved, by), (unmoved, beside), doubt)
    ]
    assert below == pytest.approx([0.05, 0.95], abs=1e-6)


def test_no_reading_is_expected_below_nothing() -> None:
    assert band_of_either((0.1, 0.2), (0.1, 0.2), 0.5)[0] == 0.0


def test_after_resets_that_moved_nothing_the_next_band_holds_where_the_bore_stands() -> None:
    values, _ = predicted_readings(START, Meter())
    read: list[Event] = [
        Reading(bore, float(value) * (1.3 if bore == 4 else 1.0), 20.0 * bore)
        for bore, value in zip(FOUR.bores, values, strict=True)
    ]
    resets = [BladeReset(3, 4, thou * THOU, (thou * THOU,), 100.0) for thou in (3.0, 4.0, 2.0)]
    found = judged(START, Meter(), (*read, resets[0], *read, resets[1], *read))
    stands, last = 1.3 * float(values[3]), resets[2]
    assert 0.05 < found.unanswering[Coupler(3, 4)] < 0.95
    value, low, high = bands_after(found, last, (4,))[4]
    assert low < value < stands < high
    trusted = bands_after(replace(found, unanswering={}), last, (4,))[4]
    assert trusted[0] == value
    assert trusted[2] < stands
