"""Over the telephone: one instruction at a time in plain words, the answer in whatever unit the customer reads."""

import html
import re

import pytest
from starlette.testclient import TestClient

from app.shop.commands import meters
from app.shop.commands.meters import NewMeter
from app.shop.errors import RejectedError
from app.shop.procedure.items import PLACES, Phase
from app.shop.procedure.parts import parts_of
from app.shop.procedure.phases import COLD_PRESET, FIRST_FIRE, HEAT_SOAKED
from app.shop.record.measures import Units
from app.shop.record.settings import DEFAULTS
from app.shop.store.database import Database
from app.wording.work.telephone import ToldFirst, item_prompt
from tests.shop.yard import TWINS, V8, check_all, engine, key, read, read_round, visit, visit_record


def said(page: str) -> str:
    found = re.search(r'class="telephone-words">([^<]*)<', page)
    return found[1] if found else ""


def asked(phase: Phase, slug: str) -> str:
    item = next(one for one in phase.items if one.slug == slug)
    told = ToldFirst(pulls=round(DEFAULTS.pulls))
    return html.escape(item_prompt(item, parts_of(V8), DEFAULTS.base_blade, Units(), told).words)


def test_one_instruction_follows_the_other(client: TestClient, shop: Database) -> None:
    there = f"/visits/{visit(shop, engine(shop, V8), 'telephone')}/{COLD_PRESET.slug}"
    for item, then in (("battery-off", "wide-open"), ("wide-open", "closed-contact")):
        assert said(client.get(there).text) == asked(COLD_PRESET, item)
        sent = {"key": key(), "by": "KM", "said": item, item: "1"}
        assert client.post(f"{there}/checks", data=sent).status_code == 303
        assert said(client.get(there).text) == asked(COLD_PRESET, then)


@pytest.mark.parametrize(
    ("sent", "expected"),
    [
        ({"base-blade": "0.0045", "units": "°C,kPa,kPa abs.,in,km"}, 4.5),  # as the page asks: thousandths of an inch
        ({"base-blade": "0.10", "said_unit": "mm"}, 3.937008),  # 1 in = 25.4 mm
        ({"base-blade": "3"}, 3.0),  # a form that a tablet held since it asked for thousandths
    ],
)
def test_a_feeler_is_taken_in_inches_or_millimeters(
    client: TestClient, shop: Database, sent: dict[str, str], expected: float
) -> None:
    visit_id = visit(shop, engine(shop, V8), "telephone")
    there = f"/visits/{visit_id}/{COLD_PRESET.slug}"
    page = client.get(there).text
    assert 'name="units" value="°C,kPa,kPa abs.,in,km"' in page
    sent = {"key": key(), "by": "KM", "said": "base-blade", **sent}
    assert client.post(f"{there}/checks", data=sent).status_code == 303
    assert visit_record(shop, visit_id).checks[COLD_PRESET.slug, "base-blade"].number == pytest.approx(expected)


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
        assert ("Hold the meter on intake 1 until the reading is steady. What does it show, in kg/h?" in page) is (
            place == "telephone"
        )


def test_with_vacuum_columns_nothing_is_held(client: TestClient, shop: Database) -> None:
    columns = meters.register(shop, key(), NewMeter("Columns", "cmHg", 0.5, 0, 76))
    visit_id = visit(shop, engine(shop, V8), "telephone", meter=columns)
    check_all(shop, visit_id, COLD_PRESET)
    check_all(shop, visit_id, FIRST_FIRE)
    page = client.get(f"/visits/{visit_id}/{FIRST_FIRE.slug}/readings").text
    assert "Connect one column to the port behind each throttle flap" in page
    assert "What does column 1 show, in cmHg?" in page
    assert "Hold the meter" not in page
    read(shop, visit_id, FIRST_FIRE, 30.0)
    page = client.get(f"/visits/{visit_id}/{FIRST_FIRE.slug}/readings").text
    assert "Read this out:</b> What does column 2 show now, in cmHg?" in page


def test_the_oil_lamp_is_asked_about_ahead_of_the_first_reading(client: TestClient, shop: Database) -> None:
    visit_id = visit(shop, engine(shop, V8), "telephone")
    check_all(shop, visit_id, COLD_PRESET)
    there = f"/visits/{visit_id}/{FIRST_FIRE.slug}"
    heard = []
    while words := said(client.get(there).text):
        heard.append(words)
        slug = next(
            one.slug for one in FIRST_FIRE.items if "telephone" in one.where and words == asked(FIRST_FIRE, one.slug)
        )
        if slug == "oil-lamp":
            with pytest.raises(RejectedError, match="check-first"):
                read(shop, visit_id, FIRST_FIRE)
            assert "Hold the meter" not in client.get(f"{there}/readings").text
        answer = client.post(f"{there}/checks", data={"key": key(), "by": "KM", "said": slug, slug: "1"})
        assert answer.status_code == 303
    assert heard[-1].startswith("Start the engine. The oil lamp must go out within seconds.")
    assert answer.headers["location"] == f"{there}/readings"
    assert "Hold the meter on intake 1" in client.get(f"{there}/readings").text


def test_a_bypass_screw_is_turned_with_the_engine_stopped(client: TestClient, shop: Database) -> None:
    visit_id = visit(shop, engine(shop, TWINS), "telephone")
    for phase in (COLD_PRESET, FIRST_FIRE):
        check_all(shop, visit_id, phase)
    read_round(shop, visit_id, FIRST_FIRE)
    check_all(shop, visit_id, HEAT_SOAKED)
    for bore, value in zip(TWINS.bores, (6.5, 6.5, 6.5, 5.25), strict=True):
        read(shop, visit_id, HEAT_SOAKED, value, bore)
    read(shop, visit_id, HEAT_SOAKED)
    page = client.get(f"/visits/{visit_id}/{HEAT_SOAKED.slug}/readings").text
    assert re.search(r"Read this out:</b> Stop the engine\. Turn the bypass screw of intake 4 out", page)
    assert "on the running engine" not in page


def test_a_number_nobody_can_read_stays_in_its_box(client: TestClient, shop: Database) -> None:
    visit_id = visit(shop, engine(shop, V8), "telephone")
    there = f"/visits/{visit_id}/{COLD_PRESET.slug}"
    for sent in ({"base-blade": "90"}, {"base-blade": "about three"}, {"base-blade": "3", "said_unit": "furlong"}):
        answer = client.post(f"{there}/checks", data={"key": key(), "by": "KM", "said": "base-blade", **sent})
        assert answer.status_code == 422
        assert f'value="{sent["base-blade"]}"' in answer.text
        assert said(answer.text) == asked(COLD_PRESET, "base-blade")
    assert visit_record(shop, visit_id).checks == {}
