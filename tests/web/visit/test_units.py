"""A shop that chose other units sees and types no others, on pages and on paper; records and interface keep theirs."""

import re
from dataclasses import replace

import pytest
from starlette.testclient import TestClient

from app.shop.commands import settings_versions, visits
from app.shop.commands.moves import NewMove, make
from app.shop.procedure.phases import BANK_BALANCE, COLD_PRESET, FIRST_FIRE, HEAT_SOAKED, LOCK_DOWN
from app.shop.record import stored_settings
from app.shop.record.measures import RECORDED, Units
from app.shop.record.settings import DEFAULTS
from app.shop.rejections import Rejection
from app.shop.store.database import Database
from app.sync.engine.units import THOU
from tests.shop.rejections import on_page
from tests.shop.yard import AT, V8, check_all, engine, heat_soaked, key, read_round, visit, visit_record
from tests.web.axe import paths

OTHERS = Units("°F", "psi", "inHg abs.", "mm", "miles")
USUAL = re.compile(r"°C|\bkPa\b|\bkm\b|\bthou\b|\bthousandth|\d(?:\xa0| )in\b(?! by| line)")
BOTH = re.compile(r"/worksheet$|^/meters|^/settings|^/live$")
"""Pages that say both: what goes to a customer, an instrument's own unit, and where units are chosen."""


def choose(shop: Database, units: Units) -> None:
    with shop.reading() as session:
        version, held = stored_settings.now(session)
    settings_versions.change(shop, key(), version, replace(held, units=units), "", "KM", AT)


def handed_over(shop: Database) -> int:
    """A first visit with a coupler reset and both banks read off idle, signed off."""
    visit_id = heat_soaked(shop)
    read_round(shop, visit_id, HEAT_SOAKED)
    make(shop, visit_id, key(), NewMove(HEAT_SOAKED.slug, "blade", "", 2, 3, 0, (4 * THOU,), True, "KM"), AT)
    read_round(shop, visit_id, HEAT_SOAKED)
    check_all(shop, visit_id, BANK_BALANCE)
    for _ in DEFAULTS.openings:
        read_round(shop, visit_id, BANK_BALANCE)
    check_all(shop, visit_id, LOCK_DOWN)
    read_round(shop, visit_id, LOCK_DOWN)
    visits.sign_off(shop, visit_id, key(), "Foreman of the yard", AT)
    return visit_id


def test_no_page_says_a_unit_the_shop_did_not_choose(client: TestClient, shop: Database) -> None:
    handed_over(shop)
    pages = [path for path in paths() if not path.startswith("/practice")]
    usual = {path for path in pages if USUAL.search(client.get(path).text)}
    assert {"/visits/1/sheet", "/visits/1/heat-soaked-recheck", "/visits/1/first-fire", "/visits/1/correct"} <= usual
    choose(shop, OTHERS)
    for path in pages:
        told = USUAL.search(client.get(path).text)
        assert BOTH.search(path) or told is None, (path, told)


def test_a_figure_is_recorded_by_the_unit_beside_its_box(client: TestClient, shop: Database) -> None:
    choose(shop, OTHERS)
    visit_id = heat_soaked(shop)
    there = f"/visits/{visit_id}/{HEAT_SOAKED.slug}"
    page = client.get(there).text
    assert re.search(r'name="coolant"[^>]*>\s*<span class="unit">°F<', page)
    sent = {"key": key(), "by": "KM", "units": OTHERS.code, "coolant": "185", "oil-pressure-hot": "27.5"}
    assert client.post(f"{there}/checks", data=sent).status_code == 303
    kept = visit_record(shop, visit_id).checks
    assert kept[HEAT_SOAKED.slug, "coolant"].number == 85
    assert kept[HEAT_SOAKED.slug, "oil-pressure-hot"].number == pytest.approx(189.6, abs=0.01)  # 1 psi = 6.894757 kPa
    page = client.get(there).text
    assert "last <b>185\xa0°F</b>" in page
    assert re.search(r'name="oil-pressure-hot"[^>]*\s+value="27.5"', page)


def test_a_form_opened_before_the_units_changed_is_read_as_it_was_shown(client: TestClient, shop: Database) -> None:
    visit_id = heat_soaked(shop)
    there = f"/visits/{visit_id}/{HEAT_SOAKED.slug}/checks"
    choose(shop, OTHERS)
    late = {"key": key(), "by": "KM", "units": RECORDED.code, "coolant": "86"}
    assert client.post(there, data=late).status_code == 303
    assert visit_record(shop, visit_id).checks[HEAT_SOAKED.slug, "coolant"].number == 86
    wrong = client.post(there, data={**late, "key": key(), "coolant": "400"})
    assert wrong.status_code == 422
    assert on_page(Rejection.OUT_OF_RANGE, low=0, high=170, unit="°C") in wrong.text
    assert re.search(r'value="400"[^>]*>\s*<span class="unit">°C<', wrong.text)
    nobody = client.post(there, data={**late, "key": key(), "units": "°F"})
    assert nobody.status_code == 422


def test_blades_are_typed_and_told_in_millimeters(client: TestClient, shop: Database) -> None:
    choose(shop, OTHERS)
    visit_id = heat_soaked(shop)
    read_round(shop, visit_id, HEAT_SOAKED)
    there = f"/visits/{visit_id}/{HEAT_SOAKED.slug}/moves"
    assert client.get(f"{there}/new?kind=blade&place=2-3").text.count('<span class="unit">mm<') == 2
    sent = {"key": key(), "by": "KM", "units": OTHERS.code, "kind": "blade", "place": "2-3", "second_leaf": ""}
    thick = client.post(there, data={**sent, "leaf": "4"})
    assert thick.status_code == 422
    assert on_page(Rejection.FEELERS_OUT_OF_RANGE, low=0.0127, high=1.524, unit="mm") in thick.text
    assert client.post(there, data={**sent, "leaf": "0.10"}).status_code == 303
    assert visit_record(shop, visit_id).moves[0].amount == pytest.approx(1e-4)
    assert "reset on 0.10\xa0mm" in client.get(f"/visits/{visit_id}/{HEAT_SOAKED.slug}").text


def test_a_feeler_is_typed_in_inches_and_read_in_the_unit_of_its_form(client: TestClient, shop: Database) -> None:
    visit_id = heat_soaked(shop)
    read_round(shop, visit_id, HEAT_SOAKED)
    there = f"/visits/{visit_id}/{HEAT_SOAKED.slug}/moves"
    page = client.get(f"{there}/new?kind=blade&place=2-3").text
    assert page.count('<span class="unit">in<') == 2
    assert f'name="units" value="{RECORDED.on_screen.code}"' in page
    sent = {"by": "KM", "kind": "blade", "place": "2-3", "second_leaf": ""}
    for units, leaf in ((RECORDED.on_screen.code, "0.0045"), (RECORDED.code, "4.5")):
        answer = client.post(there, data={**sent, "key": key(), "units": units, "leaf": leaf})
        assert answer.status_code == 303
    assert [move.amount for move in visit_record(shop, visit_id).moves] == pytest.approx([4.5 * THOU, 4.5 * THOU])


def test_a_correction_is_typed_and_printed_in_the_units_of_the_shop(client: TestClient, shop: Database) -> None:
    visit_id = handed_over(shop)
    feeler = re.search(
        r'name="(check-\d+)" value="(\S+)"[^>]*>\s*<span class="unit">in<',
        client.get(f"/visits/{visit_id}/correct").text,
    )
    assert feeler is not None
    thousandths = visit_record(shop, visit_id).checks[COLD_PRESET.slug, "base-blade"].number
    assert thousandths == pytest.approx(1000 * float(feeler[2]), abs=0.06)  # shown to 0.0001 in
    choose(shop, OTHERS)
    page = client.get(f"/visits/{visit_id}/correct").text
    found = re.search(r'name="(check-\d+)" value="(\S+)"[^>]*>\s*<span class="unit">°F', page)
    assert found is not None
    field, shown = found.groups()
    assert shown == "185"  # 85 °C
    sent = {"key": key(), "by": "KM", "why": "Misread the gauge", "units": OTHERS.code}
    refused = client.post(f"/visits/{visit_id}/correct", data={**sent, field: "900"})
    assert on_page(Rejection.OUT_OF_RANGE, low=32, high=338, unit="°F") in refused.text
    assert client.post(f"/visits/{visit_id}/correct", data={**sent, field: "194"}).status_code == 303
    assert visit_record(shop, visit_id).checks[HEAT_SOAKED.slug, "coolant"].number == 90
    inches = {
        "key": key(),
        "by": "KM",
        "why": "Misread the feeler",
        "units": RECORDED.on_screen.code,
        feeler[1]: "0.004",
    }
    assert client.post(f"/visits/{visit_id}/correct", data=inches).status_code == 303
    assert visit_record(shop, visit_id).checks[COLD_PRESET.slug, "base-blade"].number == 4  # thousandths, as recorded
    assert "coolant temperature: 194\u00a0°F instead of 185\u00a0°F" in client.get(f"/visits/{visit_id}/sheet").text


def test_the_interface_keeps_the_units_of_the_records(client: TestClient, shop: Database) -> None:
    choose(shop, OTHERS)
    visit_id = visit(shop, engine(shop, V8))
    there = f"/api/visits/{visit_id}/phases"
    body = {"key": key(), "by": "KM", "numbers": {"base-blade": 3.0}}
    assert client.post(f"{there}/{COLD_PRESET.slug}/checks", json=body).is_success
    assert visit_record(shop, visit_id).checks[COLD_PRESET.slug, "base-blade"].number == 3
    items = {item["item"]: item for item in client.get(f"{there}/{FIRST_FIRE.slug}").json()["items"]}
    assert items["oil-pressure"]["unit"] == "kPa"
    assert "whatever units the shop sees" in client.get("/api/openapi.json").json()["info"]["description"]
