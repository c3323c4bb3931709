"""Sensors that stay at their bores prove nothing, however even they read: each has a scale of its own."""

import pytest

from app.sync.engine.events import Event, IdleSpeed, Meter, Reading
from app.sync.engine.hardware import likely_hardware
from app.sync.engine.layout import Bank, Layout
from app.sync.engine.units import KG_PER_HOUR, REV_PER_MIN, THOU
from app.sync.estimation.conformity import Conformity
from app.sync.estimation.evenness import evenness
from app.sync.planning.advice import Advice, AdviceKind, AdviceReason
from app.sync.planning.planner import next_move
from app.sync.readings.carried import MOST_APART, apart, as_judged
from app.sync.readings.untouched import Untouched

FOUR = Layout((Bank("A", (1, 2, 3, 4), 1, 1),))
METER, WINDOW, WANTED, DISPLACEMENT = Meter(), 0.08, 850 * REV_PER_MIN, 2e-3
COLUMN = Meter("vacuum", 250.0, 0.01)
BLADES = tuple(t * THOU for t in (1.5, 2, 3, 4, 5, 6, 8, 10))
EVEN = 6.5 * KG_PER_HOUR


def a_round(start: float, fixed: bool, *values: float, alike: float | None = None) -> list[Reading]:
    """All bores at these times an even reading, and the first one again."""
    walk = [(1, False), (2, False), (3, False), (4, False), (1, True)]
    scale = values or (1.0,) * 4
    return [
        Reading(bore, EVEN * scale[bore - 1], start + 20.0 * n, closing, fixed=fixed, alike=alike)
        for n, (bore, closing) in enumerate(walk)
    ]


ARRAY = [*a_round(0.0, True), *a_round(200.0, True)]
PROBE = a_round(400.0, False)[:-1]


def test_a_round_of_sensors_that_stay_is_not_even() -> None:
    proved = evenness(FOUR, [*a_round(0.0, False), *a_round(200.0, False)], METER, WINDOW)
    assert proved.verdict is Conformity.EVEN
    found = evenness(FOUR, ARRAY, METER, WINDOW)
    assert found.verdict is Conformity.UNDECIDED
    assert found.decision.unproved == (1, 2, 3, 4)


def test_one_bore_left_to_sensors_of_their_own_is_asked_for() -> None:
    found = evenness(FOUR, [*ARRAY, *PROBE[:3]], METER, WINDOW)
    assert found.verdict is Conformity.UNDECIDED
    assert found.decision.unproved == (4,)


def test_what_the_probe_read_stands_in_the_place_of_what_sensors_read() -> None:
    """Sensors that differ by 20 % where the probe reads even, as long as it takes."""
    array = [one for n in range(8) for one in a_round(200.0 * n, True, 1.2, 1.0, 1.0, 1.0)]
    probe = [*a_round(2000.0, False), *a_round(2200.0, False)]
    assert evenness(FOUR, array, METER, WINDOW).verdict is Conformity.NOT_EVEN
    found = evenness(FOUR, [*array, *probe], METER, WINDOW)
    assert found.verdict is Conformity.EVEN
    assert found.counted == len(probe)
    uneven = [*a_round(2000.0, False, 1.2, 1.0, 1.0, 1.0), *a_round(2200.0, False, 1.2, 1.0, 1.0, 1.0)]
    assert evenness(FOUR, [*ARRAY, *uneven], METER, WINDOW).verdict is Conformity.NOT_EVEN


def test_what_sensors_read_before_a_move_proves_no_bore_that_it_left_alone() -> None:
    earlier = (Untouched(1, tuple(a_round(0.0, True)[2:4])),)
    last = [one for one in a_round(400.0, False) if one.bore in (1, 2)]
    found = evenness(FOUR, last, METER, WINDOW, earlier=earlier)
    assert found.decision.unproved == (3, 4)
    assert found.verdict not in (Conformity.EVEN, Conformity.LIMIT)


def advice(*events: Event) -> Advice:
    hardware = likely_hardware(DISPLACEMENT, 4)
    return next_move(FOUR, hardware, METER, events, WANTED, BLADES, WINDOW, DISPLACEMENT)


def test_the_adviser_asks_for_one_probe_before_it_is_done() -> None:
    speed = IdleSpeed(WANTED, 0.0)
    asked = advice(speed, *ARRAY)
    assert (asked.kind, asked.why, asked.bores) == (AdviceKind.MEASURE, AdviceReason.ONE_PROBE, (1, 2, 3, 4))
    some = advice(speed, *ARRAY, *PROBE[:2])
    assert (some.why, some.bores) == (AdviceReason.ONE_PROBE, (3, 4))
    done = advice(speed, *ARRAY, *PROBE, *a_round(600.0, False)[:-1])
    assert done.kind is AdviceKind.DONE


def test_where_no_sensor_stays_everything_counts() -> None:
    events: list[Event] = [IdleSpeed(WANTED, 0.0), *PROBE]
    assert as_judged(FOUR, METER, events, WINDOW) == (events, WINDOW)


def test_sensors_that_were_compared_prove_a_round_in_a_narrower_tolerance() -> None:
    compared = [*a_round(0.0, True, alike=0.004), *a_round(200.0, True, alike=0.004)]
    found = evenness(FOUR, compared, METER, WINDOW)
    assert found.verdict is Conformity.EVEN
    assert found.window == pytest.approx(WINDOW - 0.004)
    assert found.decision.unproved == ()
    done = advice(IdleSpeed(WANTED, 0.0), *compared)
    assert done.kind is AdviceKind.DONE


def test_what_just_passes_in_the_whole_tolerance_does_not_in_the_narrow_one() -> None:
    values = (1.052, 1.0, 1.0, 1.0)
    probe = [one for n in range(12) for one in a_round(200.0 * n, False, *values)]
    array = [one for n in range(12) for one in a_round(200.0 * n, True, *values, alike=0.01)]
    whole, narrow = evenness(FOUR, probe, METER, 0.05), evenness(FOUR, array, METER, 0.05)
    assert whole.decision.all_inside is not None
    assert narrow.decision.all_inside is not None
    assert narrow.decision.all_inside < whole.decision.all_inside


def test_sensors_that_differ_by_more_prove_nothing_though_they_were_compared() -> None:
    far = 1.01 * MOST_APART
    found = evenness(FOUR, [*a_round(0.0, True, alike=far), *a_round(200.0, True, alike=far)], METER, WINDOW)
    assert (found.verdict, found.window) == (Conformity.UNDECIDED, WINDOW)
    assert found.decision.unproved == (1, 2, 3, 4)


def test_a_probe_at_some_bores_does_not_spoil_what_compared_sensors_read_at_all() -> None:
    """The probe reads 6 % less at every bore: among the sensors' values its own would look like closed plates."""
    array = [*a_round(0.0, True, alike=0.002), *a_round(200.0, True, alike=0.002)]
    probe = a_round(400.0, False, 0.94, 0.94, 0.94, 0.94)
    some = evenness(FOUR, [*array, *probe[:2]], METER, WINDOW)
    assert (some.verdict, some.counted) == (Conformity.EVEN, len(array))
    every = evenness(FOUR, [*array, *probe], METER, WINDOW)
    assert (every.window, every.counted) == (WINDOW, len(probe))


def test_a_plenum_makes_the_same_difference_of_columns_a_larger_one_of_air() -> None:
    """What runners share hides a bore's own air in its column, so that the sensors' error weighs more."""
    apart_alone = apart(Reading(1, 33e3, 0.0, fixed=True, alike=0.005), COLUMN, 0.0)
    apart_joined = apart(Reading(1, 33e3, 0.0, fixed=True, alike=0.005), COLUMN, 0.8)
    assert apart_joined > 2 * apart_alone
