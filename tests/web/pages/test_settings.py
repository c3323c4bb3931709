"""The settings page: every figure with its default's source, bad input beside its field, changes told."""

import re
from dataclasses import replace

import pytest
from starlette.testclient import TestClient

from app.shop.record import stored_settings
from app.shop.record.settings import DEFAULTS, SOURCES
from app.shop.rejections import Rejection
from app.shop.store.database import Database
from tests.shop.past import Past
from tests.shop.rejections import on_page
from tests.shop.yard import FOUR, engine, key, visit


def filled(client: TestClient) -> dict[str, str]:
    """The form as the page shows it."""
    page = client.get("/settings").text
    boxes = dict(re.findall(r'name="(\w+)" value="([^"]*)"', page))
    chosen = dict(re.findall(r'name="(\w+)" value="([^"]*)" checked', page))
    return {**boxes, **chosen, "key": key(), "by": "KM"}


def test_the_page_sent_back_as_it_stands_changes_nothing(client: TestClient, shop: Database) -> None:
    assert client.post("/settings", data=filled(client)).status_code == 303
    with shop.reading() as session:
        _, held = stored_settings.now(session)
    for name in ("coarse_window", "openings", "blades", "recheck_km"):
        assert getattr(held, name) == pytest.approx(getattr(DEFAULTS, name))
    assert held.heat.coolant == pytest.approx(DEFAULTS.heat.coolant)
    assert held.limits.oil_pressure_hot == pytest.approx(DEFAULTS.limits.oil_pressure_hot)


def test_every_figure_says_where_its_default_comes_from(client: TestClient) -> None:
    page = client.get("/settings").text
    for name in SOURCES:
        assert f'id="{name}-hint"' in page, name
    assert "common practice, no published source" in page
    assert "public service sheets" in page


def test_feelers_are_shown_as_they_are_marked(client: TestClient) -> None:
    page = client.get("/settings").text
    assert 'name="openings" value="0.010 0.030"' in page
    assert "thou" not in re.sub(r'value="[^"]*"', "", page).replace("thousand", "").replace("without", "")


@pytest.mark.parametrize(
    ("field", "typed", "said"),
    [
        ("fine_window", "wide", on_page(Rejection.NOT_A_NUMBER, typed="wide")),
        ("fine_window", "40", on_page(Rejection.OUT_OF_RANGE, low=1, high=30, unit="%")),
        ("coolant_most", "300", on_page(Rejection.OUT_OF_RANGE, low=80, high=140, unit="°C")),
        ("blades", "2 three 4", on_page(Rejection.NOT_A_THICKNESS, typed="three", examples=(0.002, 0.0025, 0.003))),
        ("openings", "10", on_page(Rejection.OPENING_FEELERS)),
        ("by", "", on_page(Rejection.INITIALS_MISSING)),
    ],
)
def test_bad_input_stays_beside_its_field(
    client: TestClient, shop: Database, field: str, typed: str, said: str
) -> None:
    answer = client.post("/settings", data={**filled(client), field: typed})
    assert answer.status_code == 422
    message = re.search(rf'id="{field}-message">([^<]*)<', answer.text)
    assert message is not None
    assert said in message[1]
    assert f'name="{field}" value="{typed}"' in answer.text
    with shop.reading() as session:
        assert stored_settings.now(session)[0] == 0


def test_what_is_no_number_is_not_blamed_on_its_neighbor(client: TestClient) -> None:
    answer = client.post("/settings", data={**filled(client), "coarse_window": "wide"})
    assert re.findall(r'id="(\w+)-message">[^<]', answer.text) == ["coarse_window"]


def test_a_change_is_told_with_who_and_why(client: TestClient) -> None:
    client.post("/settings", data={**filled(client), "fine_window": "6,5", "why": "The customer asked"})
    page = client.get("/settings").text
    assert 'name="fine_window" value="6.5"' in page
    assert "The customer asked" in page
    assert "heat-soaked tolerance" in page


def test_settings_changed_meanwhile_are_not_overwritten(client: TestClient) -> None:
    mine = filled(client)
    client.post("/settings", data={**filled(client), "pulls": "5"})
    answer = client.post("/settings", data={**mine, "pulls": "7"})
    assert answer.status_code == 409
    assert on_page(Rejection.CHANGED_BY_ANOTHER_TABLET) in answer.text


def test_people_have_initials_that_the_sheet_explains(client: TestClient, shop: Database) -> None:
    for wrong, said in (
        ("KM", on_page(Rejection.PEOPLE_LINES, most=5)),
        ("KM First of all\nKM Second of all", on_page(Rejection.INITIALS_TWICE, initials="KM")),
    ):
        answer = client.post("/settings", data={**filled(client), "people": wrong})
        assert answer.status_code == 422
        assert said in answer.text
        assert f">{wrong}</textarea>" in answer.text
    client.post("/settings", data={**filled(client), "people": "KM First of the yard\nAL Second of the yard"})
    assert ">KM First of the yard\nAL Second of the yard</textarea>" in client.get("/settings").text
    visit_id = visit(shop, engine(shop))
    sheet = client.get(f"/visits/{visit_id}/sheet").text
    assert "KM: First of the yard" in sheet
    assert "Second of the yard" not in sheet  # whose initials are nowhere on it


OTHERS = {"temperature": "°F", "oil_pressure": "psi", "air_pressure": "inHg abs.", "blade": "mm", "distance": "miles"}


def test_units_are_chosen_with_where_each_default_comes_from(client: TestClient, shop: Database) -> None:
    page = client.get("/settings").text
    for name, unit in OTHERS.items():
        assert f'name="{name}" value="{unit}"' in page
        assert f'id="{name}-hint"' in page
    assert "Default °C: SI unit" in page
    client.post("/settings", data={**filled(client), **OTHERS})
    shown = filled(client)
    assert (shown["coolant_most"], shown["oil_pressure_hot"], shown["base_blade"]) == ("230", "10.2", "0.076")
    assert shown["openings"] == "0.254 0.762"
    assert shown["recheck_km"] == "3107"
    assert shown["steady_within"] == "3.6"  # a difference of 2 K
    client.post("/settings", data=shown)
    with shop.reading() as session:
        _, held = stored_settings.now(session)
    assert replace(held, units=DEFAULTS.units) == DEFAULTS  # to the last place, through boxes that round


def test_a_figure_is_read_in_the_unit_that_stood_beside_it(client: TestClient, shop: Database) -> None:
    mine = filled(client)
    client.post("/settings", data={**mine, **OTHERS, "coolant_most": "105"})
    with shop.reading() as session:
        version, held = stored_settings.now(session)
    assert held.limits.coolant == pytest.approx(105 + 273.15)
    late = client.post("/settings", data={**mine, "version": str(version), "key": key(), "coolant_most": "300"})
    assert late.status_code == 422
    assert (
        on_page(Rejection.OUT_OF_RANGE, low=80, high=140, unit="°C") in late.text
    )  # the page of the old units, shown again in them
    assert 'value="300"' in late.text
    wrong = client.post("/settings", data={**filled(client), "coolant_most": "300"})
    assert on_page(Rejection.OUT_OF_RANGE, low=176, high=284, unit="°F") in wrong.text


def test_a_unit_nobody_knows_is_refused(client: TestClient, shop: Database) -> None:
    for sent in ({"temperature": "warm"}, {"units": "°F,psi"}):
        assert client.post("/settings", data={**filled(client), **sent}).status_code == 422
    with shop.reading() as session:
        assert stored_settings.now(session)[0] == 0


def test_known_initials_are_a_tap_wherever_initials_are_asked(client: TestClient, shop: Database) -> None:
    engine(shop)
    asked = ["/engines/1/visits/new", "/look", "/meters/1", "/practice", "/settings"]
    assert not any("known initials" in client.get(path).text for path in asked)
    client.post("/settings", data={**filled(client), "people": "KM First of the yard\nAL Second of the yard"})
    for path in asked:
        page = client.get(path).text
        rows = re.findall(r'aria-label="[^"]+: known initials">(.*?)</div>', page, re.DOTALL)
        buttons = re.findall(r'type="button" data-fill="([^"]+)" aria-label="[^"]+">(\w+)</button>', "".join(rows))
        assert {initials for _, initials in buttons} == {"KM", "AL"}, path
        assert all(f'<input class="input" id="{field}"' in page for field, _ in buttons), path


def test_the_letterhead_is_a_version_of_the_settings_and_needs_a_name(client: TestClient, shop: Database) -> None:
    Past(shop, FOUR).visit([6.5] * 4, [6.5] * 4)
    sent = {"key": key(), "version": "0", "back": "1", "by": "KM", "shop_address": "14 Quay Road"}
    refused = client.post("/settings/letterhead", data=sent)
    assert refused.status_code == 422
    assert "14 Quay Road" in refused.text
    saved = client.post("/settings/letterhead", data={**sent, "shop_name": "Quayside  Engine Works"})
    assert saved.headers["location"] == "/visits/1/sheet"
    with shop.reading() as session:
        version, held = stored_settings.now(session)
    assert version == 1
    assert replace(held, shop_name="", shop_address="") == DEFAULTS
    sheet = client.get("/visits/1/sheet").text
    assert "Quayside Engine Works" in sheet
    assert "/settings/letterhead" not in sheet
    other = client.post("/settings/letterhead", data={**sent, "key": key(), "shop_name": "Another"})
    assert other.status_code == 409  # asked by a tablet that had not seen the first answer
    assert "name of the shop, address of the shop" in client.get("/settings").text
