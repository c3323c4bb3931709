"""Outside the range of the flow law an adjustment is a first try: small, with no figures to come, and it says why."""

from dataclasses import replace

import pytest

from app.sync.engine.engine_air import Ambient, Beyond
from app.sync.engine.events import Event, IdleSpeed, Meter, Reading
from app.sync.engine.hardware import Figure, Hardware, likely_hardware
from app.sync.engine.layout import Bank, Layout
from app.sync.engine.units import KG_PER_HOUR, KPA, LITER, MM, REV_PER_MIN, THOU
from app.sync.estimation.posterior import start_prior
from app.sync.planning.advice import SMALL_TURN, Advice, AdviceKind, outside_range
from app.sync.planning.planner import next_move

FOURS = Layout((Bank("A", (1, 2, 3, 4), 2, 1), Bank("B", (5, 6, 7, 8), 6, 5)))
LITERS = 4 * LITER
USUAL = likely_hardware(LITERS, 8)
WIDE = replace(USUAL, bore_diameter=Figure(75 * MM, True))
FEELERS = tuple(size * THOU for size in (2, 3, 4, 5, 6, 8, 10))


def advised(hardware: Hardware, wanted: float = 850 * REV_PER_MIN, low: float = 3.5) -> Advice:
    """Bank A draws little more than half of what bank B draws."""
    read: list[Event] = [IdleSpeed(wanted, 0.0)]
    read += [Reading(bore, (low if bore < 5 else 6.5) * KG_PER_HOUR, 20.0 * bore) for bore in FOURS.bores]
    read.append(Reading(1, low * KG_PER_HOUR, 200.0, closing=True))
    return next_move(FOURS, hardware, Meter(), read, wanted, FEELERS, 0.08, LITERS)


def test_inside_the_range_a_turn_is_sized_and_its_readings_are_told() -> None:
    found = advised(USUAL)
    assert (found.kind, found.bank, found.outside) == (AdviceKind.STOP, "A", ())
    assert found.turns > SMALL_TURN
    assert set(found.expected) == {1, 2, 3, 4}


@pytest.mark.parametrize(
    ("hardware", "speed", "outside"),
    [(WIDE, 850, (Beyond.BORE,)), (USUAL, 1900, (Beyond.SPEED,))],
    ids=["bores of 75 mm", "an idle of 1900"],
)
def test_outside_it_a_turn_is_an_eighth_at_most_and_foretells_nothing(
    hardware: Hardware, speed: float, outside: tuple[Beyond, ...]
) -> None:
    found = advised(hardware, speed * REV_PER_MIN)
    assert (found.kind, found.bank) == (AdviceKind.STOP, "A")
    assert 0 < found.turns <= SMALL_TURN
    assert (found.expected, found.then) == ({}, ())
    assert found.outside == outside


def test_a_reading_is_asked_for_anywhere() -> None:
    assert next_move(FOURS, WIDE, Meter(), [], 15.0, FEELERS, 0.08, LITERS).outside == ()


def test_the_air_of_a_day_may_be_outside_too() -> None:
    start = start_prior(FOURS, USUAL, LITERS, 15.0)
    thin = replace(start, engine=replace(start.engine, ambient=Ambient(60 * KPA)))
    assert outside_range(start, 1.0) == ()
    assert Beyond.PRESSURE in outside_range(thin, 1.0)
