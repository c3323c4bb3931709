"""The table of the phases against what the trade does at an engine (common practice, no published source)."""

from collections.abc import Mapping

import pytest

from app.shop.procedure.items import Phase
from app.shop.procedure.phases import BANK_BALANCE, FIRST_FIRE, HEAT_SOAKED, LOCK_DOWN, PHASES

ITEMS = [item for phase in PHASES for item in phase.items]


def those(flag: str, phase: Phase | None = None) -> set[str]:
    """The items, of one phase or of all, for which a flag of theirs is set."""
    return {item.slug for item in (phase.items if phase else ITEMS) if getattr(item, flag)}


def test_whoever_could_be_hurt_ticks_that_line_and_no_other_with_it() -> None:
    """What starts or moves by itself, poisons, burns, runs away or rolls, and what an engine would not survive."""
    assert those("apart") == {
        *("battery-off", "throttle-power-off", "plates-follow", "throttle-returns", "lever-held"),
        *("exhaust-drawn", "fuel-dry", "leak-checked", "kill-switch", "wheels-chocked"),
        *("oil-lamp", "mixture-safe"),
    }


def test_no_line_that_guards_a_person_can_be_waived() -> None:
    guards = those("apart") | {"not-alone", "guarded", "protected", "bores-clear", "fan-clear", "fire-ready"}
    assert guards - {item.slug for item in ITEMS if item.required} == {"leak-checked"}  # which comes ahead of a reading
    assert "leak-checked" in those("ahead")


def test_only_a_running_engine_shows_its_oil_its_run_in_and_its_idle() -> None:
    later = {item.slug for item in ITEMS if not item.before_running}
    put_back = {item.slug for item in ITEMS if item.puts_back} - {"battery-back"}  # without which it does not start
    assert later == put_back | {"oil-pressure", "oil-lamp", "run-in", "idle"}


def test_what_proves_the_last_state_is_looked_at_after_the_last_adjustment() -> None:
    ticks = {item.slug for item in LOCK_DOWN.items if item.kind == "tick"}
    assert those("fresh") == ticks


def test_what_is_tightened_counted_and_put_back_at_the_end_is_never_left_out() -> None:
    """But for the air filter, which a customer may have brought off, and the sensor, which not every maker learns."""
    ticks = {item.slug for item in LOCK_DOWN.items if item.kind == "tick"}
    assert ticks - those("required", LOCK_DOWN) == {"intake-back", "sensor-learned"}


def test_hands_are_at_the_linkage_of_an_engine_that_stands_still() -> None:
    at_the_end = {"couplers-tight", "bypass-held", "links-tight", "stops-marked", "tools-counted", "throttle-returns"}
    assert those("engine_off", LOCK_DOWN) == at_the_end | {"linkage-rest", "linkage-full", "plates-follow"}
    felt = {"free-play", "joints-tight", "full-open", "gauged-first", "gauged-second"}
    assert those("engine_off", BANK_BALANCE) == felt
    assert those("engine_off", FIRST_FIRE) == those("engine_off", HEAT_SOAKED) == set()


SHOWN: Mapping[str, tuple[float, float, float]] = {
    "base-blade": (1.0, 25.0, 100.0),  # thousandths of an inch
    "preset-turns": (0.25, 4.0, 10.0),
    "bypass-turns": (0.25, 4.0, 10.0),
    "sensor-closed": (0.2, 1.2, 12.0),  # volts of a sensor fed with 5; 12 is the battery
    "sensor-open": (0.3, 5.0, 12.0),  # some fall as they open
    "oil-pressure": (0.0, 900.0, 4000.0),  # none at all is the reading that matters
    "oil-pressure-hot": (0.0, 900.0, 4000.0),
    "coolant": (5.0, 140.0, 212.0),  # a figure in degrees Fahrenheit is refused where it cannot be one in Celsius
    "head": (5.0, 300.0, 450.0),
    "oil": (5.0, 160.0, 250.0),
    "idle-speed": (450.0, 2200.0, 8500.0),
    "idle": (450.0, 2200.0, 8500.0),
    "rev-limit": (1500.0, 8500.0, 25000.0),
    "air-pressure": (60.0, 108.0, 760.0),  # of a mountain pass and of the highest weather; 760 is mercury
    "air-temperature": (-35.0, 60.0, 150.0),
}
"""The lowest and the highest figure that an engine in a shop may show, and one that is a slip of unit or pen."""


@pytest.mark.parametrize("slug", SHOWN)
def test_a_figure_takes_what_an_engine_may_show_and_refuses_a_slip(slug: str) -> None:
    lowest, highest, slip = SHOWN[slug]
    found = [item for item in ITEMS if item.slug == slug]
    assert found
    for item in found:
        assert item.low <= lowest < highest <= item.high < slip
