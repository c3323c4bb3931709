"""Pages over plain HTTP: bad input stays beside its field, keeps what was typed and changes nothing; all is escaped."""

import re
from dataclasses import replace

import pytest
from starlette.testclient import TestClient

from app.shop.commands import engines
from app.shop.procedure.phases import FIRST_FIRE, HEAT_SOAKED, LOCK_DOWN
from app.shop.rejections import Rejection
from app.shop.store.database import Database
from app.sync.engine.hardware import likely_hardware
from app.sync.engine.layout import LayoutFault
from tests.shop.rejections import on_page
from tests.shop.yard import AT, FACTS, FOUR, V8, check_all, engine, heat_soaked, key, read_round, visit, visit_record

NASTY = "<script>alert(1)</script>"


def form(**changes: str) -> dict[str, str]:
    return {
        "key": key(),
        "serial": "31-0217",
        "description": "Eight",
        "displacement": "3.9",
        "displacement_unit": "L",
        "customer": "C-104",
        "vehicle": "Blue coupe",
        "idle_speed": "850",
        "a_bores": "1 2 3 4",
        "b_bores": "5 6 7 8",
        **changes,
    }


def count(shop: Database) -> int:
    with shop.reading() as session:
        return engines.count(session)


def test_an_engine_is_registered_and_shown(client: TestClient, shop: Database) -> None:
    answer = client.post("/engines", data=form(bore_diameter="45,5"))
    assert answer.status_code == 303
    page = client.get(answer.headers["location"]).text
    assert "45.5\u00a0mm" in page
    assert page.count("estimate</span>") == 6
    assert count(shop) == 1


@pytest.mark.parametrize(
    ("field", "typed", "said"),
    [
        ("serial", "", on_page(Rejection.SERIAL_MISSING)),
        ("displacement", "big", on_page(Rejection.NOT_A_NUMBER, typed="big")),
        ("displacement", "", on_page(Rejection.DISPLACEMENT_MISSING)),
        ("displacement", "900", on_page(Rejection.OUT_OF_RANGE, low=0.05, high=30, unit="L")),
        ("displacement", "nan", on_page(Rejection.NOT_A_NUMBER, typed="nan")),
        ("idle_speed", "fast", on_page(Rejection.NOT_A_NUMBER, typed="fast")),
        ("idle_speed", "90000", on_page(Rejection.OUT_OF_RANGE, low=300, high=3000, unit="rpm")),
        ("a_bores", "1 2 x", on_page(Rejection.NOT_A_BORE, typed="x")),
        ("a_bores", "", on_page(Rejection.BORES_MISSING)),
        ("a_bores", "1 1 2", on_page(LayoutFault.BORE_TWICE)),
        ("b_bores", "5 6 7 8 9 10 11 12 13", on_page(LayoutFault.TOO_MANY_BORES, most=12)),
        ("b_stop", "4", on_page(LayoutFault.STOP_ELSEWHERE, bank="B")),
        ("a_drive", "9", on_page(LayoutFault.DRIVE_ELSEWHERE, bank="A")),
        ("sensor", "99", on_page(LayoutFault.SENSOR_ELSEWHERE)),
        ("springless", "3 77", on_page(LayoutFault.SPRINGLESS_ELSEWHERE)),
        ("bore_diameter", "wide", on_page(Rejection.NOT_A_NUMBER, typed="wide")),
        ("bore_diameter", "4000", on_page(Rejection.OUT_OF_RANGE, low=10, high=120, unit="mm")),
        ("shaft_diameter", "-3", on_page(Rejection.OUT_OF_RANGE, low=2, high=30, unit="mm")),
        ("serial", "x" * 200, on_page(Rejection.TOO_LONG, most=120)),
    ],
)
def test_bad_input_is_answered_beside_its_field(
    client: TestClient, shop: Database, field: str, typed: str, said: str
) -> None:
    answer = client.post("/engines", data=form(**{field: typed}))
    assert answer.status_code == 422
    message = re.search(rf'id="{field}-message">([^<]*)<', answer.text)
    assert message is not None, answer.text
    assert said in message[1]
    assert f'value="{typed}"' in answer.text
    assert 'value="Blue coupe"' in answer.text
    assert count(shop) == 0


def test_a_serial_that_is_taken_is_said_to_be(client: TestClient, shop: Database) -> None:
    client.post("/engines", data=form())
    answer = client.post("/engines", data=form(vehicle="Another"))
    assert answer.status_code == 422
    assert on_page(Rejection.SERIAL_TAKEN, serial="31-0217") in answer.text
    assert 'value="Another"' in answer.text
    assert count(shop) == 1


def test_another_layout_keeps_what_was_typed(client: TestClient) -> None:
    answer = client.post("/engines/new", data=form(layout="six", serial="kept"))
    assert 'value="kept"' in answer.text
    assert 'value="1 2 3 4 5 6"' in answer.text


@pytest.mark.parametrize("banks", [("1", ""), ("1 2 3", ""), ("2 1", "3 4 5"), ("1 2 3 4 5 6 7 8 9 10 11 12", "")])
def test_any_layout_of_one_to_twelve_bores_fits(client: TestClient, banks: tuple[str, str]) -> None:
    made = client.post("/engines", data=form(a_bores=banks[0], b_bores=banks[1])).headers["location"]
    assert client.get(made).status_code == 200
    opened = client.post(
        f"{made}/visits", data={"key": key(), "place": "vehicle", "by": "KM", "meter": "1", "intake": "filter-off"}
    )
    visit_at = opened.headers["location"]
    for slug in ("cold-preset", "first-fire/readings", "part-throttle-bank-balance/readings", "sheet", "sign-off"):
        assert client.get(f"{visit_at}/{slug}").status_code == 200, slug


@pytest.mark.parametrize(
    ("typed", "said"),
    [
        ("-3", on_page(Rejection.OUT_OF_RANGE, low=0, high=40, unit="kg/h")),
        ("4000", on_page(Rejection.OUT_OF_RANGE, low=0, high=40, unit="kg/h")),
        ("wide open", on_page(Rejection.NOT_A_NUMBER, typed="wide open")),
        ("", on_page(Rejection.METER_VALUE_MISSING)),
    ],
)
def test_a_reading_that_cannot_be_keeps_what_was_typed(
    client: TestClient, shop: Database, typed: str, said: str
) -> None:
    visit_id = heat_soaked(shop, FOUR)
    sent = {"key": key(), "round": "2", "bore": "1", "kind": "turn", "value": typed, "by": "KM"}
    answer = client.post(f"/visits/{visit_id}/{HEAT_SOAKED.slug}/readings", data=sent)
    assert answer.status_code == 422
    message = re.search(r'id="entry-message"[^>]*>([^<]*)<', answer.text)
    assert message is not None
    assert said in message[1]
    assert f'value="{typed}"' in answer.text
    assert sum(len(r.entered) for r in visit_record(shop, visit_id).rounds if r.row.phase == HEAT_SOAKED.slug) == 0


def test_a_bore_that_does_not_exist_is_refused(client: TestClient, shop: Database) -> None:
    visit_id = heat_soaked(shop, FOUR)
    sent = {"key": key(), "round": "2", "bore": "9", "kind": "turn", "value": "6.5", "by": "KM"}
    answer = client.post(f"/visits/{visit_id}/{HEAT_SOAKED.slug}/readings", data=sent)
    assert answer.status_code == 422
    assert on_page(Rejection.NO_SUCH_BORE, bore=9) in answer.text


def test_a_reading_posted_twice_is_there_once(client: TestClient, shop: Database) -> None:
    visit_id = heat_soaked(shop, FOUR)
    sent = {"key": key(), "round": "2", "bore": "1", "kind": "turn", "value": "6.5", "by": "KM"}
    for _ in range(2):
        assert client.post(f"/visits/{visit_id}/{HEAT_SOAKED.slug}/readings", data=sent).status_code == 303
    assert len(visit_record(shop, visit_id).rounds[-1].entered) == 1


def test_a_skip_asks_why_once(client: TestClient, shop: Database) -> None:
    visit_id = heat_soaked(shop, FOUR)
    there = f"/visits/{visit_id}/{HEAT_SOAKED.slug}/readings"
    sent = {"key": key(), "round": "2", "bore": "1", "kind": "turn", "value": "", "by": "KM", "skip": "1"}
    asked = client.post(there, data=sent)
    assert asked.status_code == 303
    assert "Why is bore 1 skipped?" in client.get(asked.headers["location"]).text
    assert client.post(there, data={**sent, "why": "Cannot be reached"}).status_code == 303
    assert 1 in visit_record(shop, visit_id).rounds[-1].skipped


def test_a_check_out_of_range_keeps_the_others_typed_and_stores_none(client: TestClient, shop: Database) -> None:
    visit_id = heat_soaked(shop, FOUR)
    sent = {"key": key(), "by": "KM", "coolant": "84", "oil": "9000"}
    answer = client.post(f"/visits/{visit_id}/{HEAT_SOAKED.slug}/checks", data=sent)
    assert answer.status_code == 422
    assert on_page(Rejection.OUT_OF_RANGE, low=0, high=200, unit="°C") in answer.text
    assert 'value="9000"' in answer.text
    before = visit_record(shop, visit_id).checks[HEAT_SOAKED.slug, "coolant"]
    assert before.number != 84


def test_a_form_of_eleven_megabytes_is_turned_away(client: TestClient, shop: Database) -> None:
    answer = client.post("/engines", data=form(description="x" * 11 * 1024 * 1024))
    assert answer.status_code == 413
    assert count(shop) == 0


@pytest.mark.parametrize(
    "path", ["/engines/999", "/visits/999", "/visits/999/sheet", "/nowhere", "/engines/x", f"/engines/{10**30}"]
)
def test_what_is_not_there_is_a_plain_page(client: TestClient, path: str) -> None:
    answer = client.get(path)
    assert answer.status_code in (404, 422)
    assert "<!doctype html>" in answer.text.lower()
    assert "Not saved - " not in answer.text


def test_everything_typed_is_escaped_on_paper_too(client: TestClient, shop: Database) -> None:
    facts = replace(FACTS, serial=NASTY, description=NASTY, customer=NASTY, vehicle=NASTY)
    engine_id = engines.register(shop, key(), facts, FOUR, likely_hardware(facts.displacement, 4), AT)
    visit_id = visit(shop, engine_id, job=NASTY)
    paths = (
        "/",
        f"/?find={NASTY}",
        f"/engines/{engine_id}",
        f"/engines/{engine_id}/change",
        f"/visits/{visit_id}/sheet",
    )
    for path in (*paths, f"/visits/{visit_id}/cold-preset", f"/visits/{visit_id}/sign-off"):
        page = client.get(path, headers={"HX-Request": "true"}).text  # as typed: one hit is opened once it is sent
        assert NASTY not in page, path
        assert "&lt;script&gt;alert(1)&lt;/script&gt;" in page, path


def test_the_same_bore_kept_meanwhile_is_asked_about(client: TestClient, shop: Database) -> None:
    visit_id = heat_soaked(shop, FOUR)
    there = f"/visits/{visit_id}/{HEAT_SOAKED.slug}/readings"
    sent = {"round": "2", "bore": "1", "kind": "turn", "by": "KM"}
    client.post(there, data={**sent, "key": key(), "value": "6.5"})
    assert client.post(there, data={**sent, "key": key(), "value": "7.5"}).status_code == 303
    page = client.get(there).text
    assert "Which value of bore 1 counts?" in page
    fields = dict(re.findall(r'name="(older|newer)" value="(\d+)"', page))
    settled = client.post(there.replace("/readings", "/settle"), data={"key": key(), "counts": "newer", **fields})
    assert settled.status_code == 303
    assert "Which value" not in client.get(there).text
    assert visit_record(shop, visit_id).rounds[-1].latest[1].value == 7.5


def test_an_override_is_printed_with_its_reason(client: TestClient, shop: Database) -> None:
    visit_id = heat_soaked(shop, FOUR)
    read_round(shop, visit_id, HEAT_SOAKED)
    check_all(shop, visit_id, LOCK_DOWN)
    sent = {"key": key(), "why": "The customer waits", "override_by": "KM"}
    assert client.post(f"/visits/{visit_id}/{LOCK_DOWN.slug}/overrides", data=sent).status_code == 303
    assert "The customer waits" in client.get(f"/visits/{visit_id}/sheet").text


def test_every_phase_page_opens_at_every_place(client: TestClient, shop: Database) -> None:
    for number, place in enumerate(("test cell", "vehicle", "telephone")):
        visit_id = visit(shop, engine(shop, V8, serial=str(number)), place)
        for slug in ("cold-preset", FIRST_FIRE.slug, HEAT_SOAKED.slug, "part-throttle-bank-balance", LOCK_DOWN.slug):
            page = client.get(f"/visits/{visit_id}/{slug}")
            assert page.status_code == 200
            assert "come first" in page.text


def test_a_move_of_the_only_kind_a_phase_has_is_chosen_already(client: TestClient, shop: Database) -> None:
    at = visit(shop, engine(shop))
    kinds = re.compile(r'type="radio" name="kind" value="(\w+)"( checked)?')
    assert kinds.findall(client.get(f"/visits/{at}/first-fire/moves/new").text) == [("stop", " checked")]
    assert ("stop", "") in kinds.findall(client.get(f"/visits/{at}/heat-soaked-recheck/moves/new").text)
