"""Over the telephone: one instruction at a time in plain words, the answer in whatever unit the customer reads."""

import re
from collections.abc import Iterator

import pytest
from starlette.testclient import TestClient

from app.shop.procedure.items import PLACES
from app.shop.procedure.phases import COLD_PRESET, FIRST_FIRE, HEAT_SOAKED, PHASES
from app.shop.record.measures import Units
from app.shop.store.database import Database
from app.sync.engine.units import THOU
from app.web.application import create_app
from app.wording.telephone import PLAIN, item_prompt
from tests.shop.yard import V8, check_all, engine, key, read_round, visit, visit_record

ORIGIN = "http://127.0.0.1"


@pytest.fixture
def client(shop: Database) -> Iterator[TestClient]:
    with TestClient(create_app(shop), base_url=ORIGIN, headers={"Origin": ORIGIN}, follow_redirects=False) as opened:
        yield opened


def said(page: str) -> str:
    found = re.search(r'class="telephone-words">([^<]*)<', page)
    return found[1] if found else ""


def test_everything_asked_for_has_plain_words() -> None:
    asked = {item.slug for phase in PHASES for item in phase.items if "telephone" in item.where}
    assert asked <= PLAIN.keys()


def test_one_instruction_follows_the_other(client: TestClient, shop: Database) -> None:
    there = f"/visits/{visit(shop, engine(shop, V8), 'telephone')}/{COLD_PRESET.slug}"
    assert said(client.get(there).text) == PLAIN["wide-open"]
    sent = {"key": key(), "by": "KM", "said": "wide-open", "wide-open": "1"}
    assert client.post(f"{there}/checks", data=sent).status_code == 303
    assert said(client.get(there).text) == PLAIN["closed-contact"]


def test_a_no_has_its_own_words_and_what_keeps_people_from_harm_is_not_passed_over() -> None:
    for phase in PHASES:
        for item in phase.items:
            told = item_prompt(item, 3 * THOU, Units()).otherwise
            assert bool(told) is (item.kind == "tick"), item.slug
            assert ("no further" in told) is (item.must and item.kind == "tick"), item.slug


@pytest.mark.parametrize("place", [p for p in PLACES if p != "telephone"])
def test_at_the_bench_nothing_is_read_out(client: TestClient, shop: Database, place: str) -> None:
    there = f"/visits/{visit(shop, engine(shop, V8), place)}/{COLD_PRESET.slug}"
    assert said(client.get(there).text) == ""


@pytest.mark.parametrize(
    ("unit", "read", "expected"),
    [("°F", "185", 85.0), ("°C", "85", 85.0), ("°F", "212", 100.0)],  # water boils at 212 F and 100 C, by definition
)
def test_a_temperature_is_taken_in_either_unit(
    client: TestClient, shop: Database, unit: str, read: str, expected: float
) -> None:
    visit_id = visit(shop, engine(shop, V8), "telephone")
    check_all(shop, visit_id, COLD_PRESET)
    check_all(shop, visit_id, FIRST_FIRE)
    read_round(shop, visit_id, FIRST_FIRE)
    there = f"/visits/{visit_id}/{HEAT_SOAKED.slug}"
    assert '<input type="radio" name="said_unit" value="°F"' in client.get(there).text
    sent = {"key": key(), "by": "KM", "said": "coolant", "coolant": read, "said_unit": unit}
    assert client.post(f"{there}/checks", data=sent).status_code == 303
    assert visit_record(shop, visit_id).checks[HEAT_SOAKED.slug, "coolant"].number == pytest.approx(expected)


def test_the_readings_are_asked_for_in_plain_words_too(client: TestClient, shop: Database) -> None:
    for place, serial in (("telephone", "31-0217"), ("vehicle", "another")):
        visit_id = visit(shop, engine(shop, V8, serial=serial), place)
        check_all(shop, visit_id, COLD_PRESET)
        check_all(shop, visit_id, FIRST_FIRE)
        page = client.get(f"/visits/{visit_id}/{FIRST_FIRE.slug}/readings").text
        assert ("Read this out:</b> Hold the meter on intake 1 " in page) is (place == "telephone")


def test_a_number_nobody_can_read_stays_in_its_box(client: TestClient, shop: Database) -> None:
    visit_id = visit(shop, engine(shop, V8), "telephone")
    there = f"/visits/{visit_id}/{COLD_PRESET.slug}"
    for sent in ({"base-blade": "90"}, {"base-blade": "about three"}, {"base-blade": "3", "said_unit": "furlong"}):
        answer = client.post(f"{there}/checks", data={"key": key(), "by": "KM", "said": "base-blade", **sent})
        assert answer.status_code == 422
        assert f'value="{sent["base-blade"]}"' in answer.text
        assert said(answer.text) == PLAIN["base-blade"].format(inch="0.003", mm="0.08")
    assert visit_record(shop, visit_id).checks == {}
