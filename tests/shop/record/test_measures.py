"""The units a shop chose: figures go out and come back by the units' definitions, and sentences follow."""

from dataclasses import replace

import pytest
from hypothesis import given
from hypothesis import strategies as st

from app.shop.commands import checks, settings_versions
from app.shop.procedure.heat import lacks_of
from app.shop.procedure.limits import stop_for
from app.shop.procedure.phases import COLD_PRESET, FIRST_FIRE, HEAT_SOAKED, PHASES
from app.shop.record.measures import CHOICES, MEASURES, RECORDED, Quantity, Units, named
from app.shop.record.settings import DEFAULTS, SOURCES, Limits, from_json, to_json
from app.shop.store.database import Database
from app.wording.reasons import in_words
from tests.shop.yard import AT, FOUR, check_all, engine, key, read_round, visit, visit_record

ITEMS = {item.slug: item for phase in PHASES for item in phase.items}
ALL = [(quantity, unit) for quantity, units in CHOICES.items() for unit in units]
OTHERS = Units("°F", "psi", "inHg abs.", "mm", "miles")


@pytest.mark.parametrize(
    ("quantity", "unit", "typed", "kept"),
    [
        ("temperature", "°F", 212, 100.0),  # water boils at 212 F and 100 C, by definition
        ("temperature", "°F", -40, -40.0),  # where both scales meet
        ("oil_pressure", "psi", 14.5, 99.974),  # NIST SP 811: 1 psi = 6.894757 kPa
        ("oil_pressure", "bar", 3, 300.0),
        ("air_pressure", "inHg abs.", 29.92, 101.3208),  # NIST SP 811: 1 inHg = 3.386389 kPa
        ("air_pressure", "mbar abs.", 1013.25, 101.325),
        ("distance", "miles", 3000, 4828.032),  # NIST SP 811: 1 mi = 1.609344 km
        ("blade", "mm", 0.0762, 3.0),  # 0.003 in of 25.4 mm
    ],
)
def test_a_typed_figure_is_recorded_by_the_units_definition(
    quantity: Quantity, unit: str, typed: float, kept: float
) -> None:
    assert named(quantity, unit).kept(typed) == pytest.approx(kept, abs=1e-3)


@pytest.mark.parametrize(("quantity", "unit"), ALL)
@given(steps=st.integers(0, 2000))
def test_what_was_typed_is_what_is_shown(quantity: Quantity, unit: str, steps: int) -> None:
    one = named(quantity, unit)
    typed = round(steps / 10**one.places, one.places)
    assert float(one.shown(one.kept(typed))) == typed


@pytest.mark.parametrize("quantity", MEASURES)
def test_what_is_recorded_in_is_kept_as_typed(quantity: Quantity) -> None:
    assert RECORDED.of(quantity).kept(83.25) == 83.25
    asked = {item.unit for item in ITEMS.values() if item.quantity == quantity}
    assert asked == {RECORDED.of(quantity).name}
    assert SOURCES[quantity]


def test_units_survive_their_line_and_their_text() -> None:
    assert Units.coded(OTHERS.code) == OTHERS
    assert from_json(to_json(replace(DEFAULTS, units=OTHERS))).units == OTHERS
    for wrong in ("", "°F", "°F,psi,inHg abs.,cubit,km"):
        with pytest.raises(ValueError, match="unit"):
            Units.coded(wrong)


def test_the_instruction_to_stop_is_in_the_units_of_the_shop() -> None:
    low = stop_for(ITEMS["oil-pressure-hot"], 40, Limits(), OTHERS)
    hot = stop_for(ITEMS["coolant"], 120, Limits(), OTHERS)
    assert low is not None
    assert hot is not None
    assert "Oil pressure 5.8\u00a0psi, shop minimum 10.2\u00a0psi." in in_words(low)
    assert "Coolant 248\u00a0°F, shop maximum 230\u00a0°F." in in_words(hot)


def test_units_chosen_today_word_a_visit_opened_before(shop: Database) -> None:
    visit_id = visit(shop, engine(shop, FOUR))
    told = visit_record(shop, visit_id)
    settings_versions.change(shop, key(), 0, replace(DEFAULTS, units=OTHERS, pulls=9), "", "KM", AT)
    later = visit_record(shop, visit_id)
    assert (told.units, later.units) == (RECORDED, OTHERS)
    assert later.settings.pulls == told.settings.pulls


def test_a_difference_of_temperatures_has_no_zero(shop: Database) -> None:
    visit_id = visit(shop, engine(shop, FOUR))
    for phase in (COLD_PRESET, FIRST_FIRE):
        check_all(shop, visit_id, phase)
    read_round(shop, visit_id, FIRST_FIRE)
    checks.record(shop, visit_id, key(), HEAT_SOAKED.slug, {"coolant": 60}, "KM", AT)
    assert "coolant 10\u00a0°C hotter" in map(in_words, lacks_of(visit_record(shop, visit_id)))
    settings_versions.change(shop, key(), 0, replace(DEFAULTS, units=OTHERS), "", "KM", AT)
    assert "coolant 18\u00a0°F hotter" in map(in_words, lacks_of(visit_record(shop, visit_id)))  # 10 K are 18 F


def test_a_barometer_is_told_to_a_whole_millibar() -> None:
    """101.3 kPa are 1013 mbar; no shop's barometer is better than that (common practice, no published source)."""
    (millibar,) = (one for one in MEASURES["air_pressure"] if one.name.startswith("mbar"))
    assert (millibar.figure(101.33), millibar.shown(101.33)) == (1013, "1013")


@pytest.mark.parametrize(
    ("quantity", "unit", "kept", "shown"),
    [
        ("air_pressure", "inHg abs.", 101.325, "29.92"),  # the standard atmosphere, as altimeters are set
        ("oil_pressure", "bar", 313.7, "3.14"),
        ("oil_pressure", "psi", 190.0, "27.6"),  # 190 / 6.894757 = 27.557
        ("temperature", "°F", 84.2, "183.6"),  # 1.8 x 84.2 + 32 = 183.56
        ("distance", "km", 5000.4, "5000"),
        ("distance", "miles", 5000.0, "3107"),  # 5000 / 1.609344 = 3106.86
        ("blade", "thou", 3.004, "3"),
        ("blade", "mm", 3.0, "0.076"),  # 3 x 0.0254 = 0.0762
        ("blade", "mm", 19.685, "0.50"),  # 19.685 x 0.0254 = 0.5; the marks of metric feelers have two places
    ],
)
def test_a_figure_is_shown_in_no_more_places_than_what_it_is_read_from_has(
    quantity: Quantity, unit: str, kept: float, shown: str
) -> None:
    """Dials, counters and the marks of feelers (common practice, no published source)."""
    assert named(quantity, unit).shown(kept) == shown


@pytest.mark.parametrize(("distance", "shown"), [("km", "312\u00a0m"), ("miles", "1025\u00a0ft")])
def test_a_height_is_in_whole_meters_or_in_feet_beside_miles(distance: str, shown: str) -> None:
    """312.4 / 0.3048 = 1024.9."""
    assert Units(distance=distance).height.says(312.4) == shown
