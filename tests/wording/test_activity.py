"""The activity log in words: every code, figures in the shop's units, and the rows that each code stands for."""

import pytest

from app.shop.commands import checks, people
from app.shop.commands.access import tablets
from app.shop.procedure.phases import COLD_PRESET, HEAT_SOAKED
from app.shop.queries import activity
from app.shop.queries.activity import Activity
from app.shop.reasons import because
from app.shop.record.measures import RECORDED, Units
from app.shop.store.database import Database
from app.wording.office.activity import MESSAGES, done
from tests.shop.yard import AT, engine, key, visit

COOLANT = because(Activity.FIGURE, phase=HEAT_SOAKED.slug, item="coolant", number=85.0, text="")


def told(shop: Database) -> list[str]:
    """The log, newest first."""
    with shop.reading() as session:
        return [done(line.what, RECORDED) for line in activity.lines(session, 1000)]


def test_every_code_has_words() -> None:
    assert set(MESSAGES) == set(Activity)


@pytest.mark.parametrize(("units", "figure"), [(RECORDED, "85 °C"), (Units(temperature="°F"), "185 °F")])
def test_a_figure_is_in_the_units_of_the_shop(units: Units, figure: str) -> None:
    assert done(COOLANT, units).replace("\u00a0", " ") == f"Coolant: {figure}"
    repeated = done(because(Activity.REPEATED, what=COOLANT), units).replace("\u00a0", " ")
    assert repeated == f"Entered again: Coolant: {figure}"


def test_an_item_that_is_no_longer_asked_for_is_still_told() -> None:
    gone = because(Activity.FIGURE, phase="cold-preset", item="old-item", number=0.5, text="")
    assert done(gone, RECORDED) == "Old item: 0.5"


def test_a_check_that_is_undone_and_made_again_is_told_each_time(shop: Database) -> None:
    visit_id = visit(shop, engine(shop))
    for _ in range(2):
        checks.record(shop, visit_id, key(), COLD_PRESET.slug, {"wide-open": None}, "KM", AT)
        checks.take_back(shop, visit_id, key(), COLD_PRESET.slug, "wide-open", "KM", AT)
    assert told(shop)[:4].count("Plates open fully: undone") == 2
    assert {"Plates open fully: checked", "Entered again: Plates open fully: checked"} <= set(told(shop)[:4])


def test_people_and_tablets_are_told_by_what_was_done_to_them(shop: Database) -> None:
    person = people.add(shop, key(), "Kim Marlow", "2580", "2580", AT)
    person = people.change_pin(shop, key(), person, "9042", "9042", AT)
    people.remove(shop, key(), person, AT)
    tablet = tablets.pair(shop, key(), "test cell", "token", AT)
    tablet = tablets.rename(shop, key(), tablet, "office", AT)
    tablets.remove(shop, key(), tablet, AT)
    assert set(told(shop)) >= {
        "Added to the people who can sign off",
        "PIN changed",
        "Removed from the people who can sign off",
        "Tablet test cell paired",
        "Tablet renamed to office",
        "Tablet office: access removed",
    }
