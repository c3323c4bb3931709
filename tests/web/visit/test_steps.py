"""The steps page of each phase: its cautions at every place, ticks taken back, and the plain word to stop."""

import html
import re
from collections.abc import Iterator

import pytest
from starlette.testclient import TestClient

from app.shop.assessment.advising import next_step
from app.shop.commands import visits
from app.shop.procedure.items import DEFER, PLACES
from app.shop.procedure.phases import COLD_PRESET, FIRST_FIRE, HEAT_SOAKED, LOCK_DOWN, PHASES
from app.shop.rejections import Rejection
from app.shop.store.database import Database
from app.web.application import create_app
from tests.shop.rejections import on_page
from tests.shop.yard import AT, FOUR, V8, check_all, engine, heat_soaked, key, read, read_round, visit, visit_record

ORIGIN = "http://127.0.0.1"


@pytest.fixture
def client(shop: Database) -> Iterator[TestClient]:
    with TestClient(create_app(shop), base_url=ORIGIN, headers={"Origin": ORIGIN}, follow_redirects=False) as opened:
        yield opened


@pytest.mark.parametrize("place", PLACES)
def test_every_page_carries_the_cautions_of_its_place(client: TestClient, shop: Database, place: str) -> None:
    visit_id = visit(shop, engine(shop, V8), place)
    for phase in PHASES:
        page = html.unescape(client.get(f"/visits/{visit_id}/{phase.slug}").text)
        for words in (*phase.cautions, *phase.cautions_in.get(place, ()), DEFER):
            assert words in page, phase.slug
        if phase.rounds == "none":
            continue
        page = html.unescape(client.get(f"/visits/{visit_id}/{phase.slug}/readings").text)
        for words in (*phase.cautions, *phase.cautions_in.get(place, ())):
            assert words in page, phase.slug


@pytest.mark.parametrize(
    ("slug", "place", "words"),
    [
        ("first-fire", "test cell", "back-fire comes out of the open bores: face, hair and hands stay clear"),
        ("first-fire", "test cell", "No oil pressure within seconds, or any smell of fuel: stop the engine"),
        ("first-fire", "test cell", "Exhaust gas kills in a closed room"),
        ("heat-soaked-recheck", "vehicle", "Wheels chocked, out of gear; the fan starts by itself"),
        ("part-throttle-bank-balance", "test cell", "a second person or a positive hold on the lever"),
        ("part-throttle-bank-balance", "vehicle", "clear of fan and belts"),
        ("lock-down", "test cell", "Adhesive: eyes covered and air moving"),
        ("lock-down", "telephone", "Nobody works alone on a running engine"),
        (
            "cold-preset",
            "test cell",
            "The maker's instructions, local codes and the rules of licensed practice come first",
        ),
    ],
)
def test_what_is_dangerous_is_said_where_it_is_done(
    client: TestClient, shop: Database, slug: str, place: str, words: str
) -> None:
    visit_id = visit(shop, engine(shop, V8), place)
    assert words in html.unescape(client.get(f"/visits/{visit_id}/{slug}").text)


def test_what_moved_in_tightening_leads_back_one_phase(client: TestClient, shop: Database) -> None:
    visit_id = heat_soaked(shop, FOUR)
    read_round(shop, visit_id, HEAT_SOAKED)
    check_all(shop, visit_id, LOCK_DOWN)
    for value in (6.5, 6.5, 9.5, 9.5, 6.5):
        read(shop, visit_id, LOCK_DOWN, value)
    for _ in range(2):  # read again where it is doubted, until it is certain
        asked = next_step(visit_record(shop, visit_id), LOCK_DOWN)
        for bore in asked.bores if asked.kind == "measure" else ():
            read(shop, visit_id, LOCK_DOWN, 9.5 if bore > 2 else 6.5, bore)
    page = client.get(f"/visits/{visit_id}/{LOCK_DOWN.slug}/readings").text
    assert "It moved in tightening" in page
    assert re.search(
        rf'href="/visits/{visit_id}/{HEAT_SOAKED.slug}/readings"[^>]*>Back to the heat-soaked recheck', page
    )


def test_a_vehicle_has_cautions_that_a_test_cell_has_not() -> None:
    for phase in PHASES:
        extra = set(phase.cautions_at("vehicle", ())) - set(phase.cautions_at("test cell", ()))
        assert extra, phase.slug
        assert "chocked" in " ".join(extra) or "fan" in " ".join(extra)


@pytest.mark.parametrize(
    ("slug", "words"),
    [
        ("first-fire", "Kill switch within reach, and tried"),
        ("first-fire", "Exhaust gas is drawn away"),
        ("first-fire", "Fuel line under pressure and dry of leaks"),
        ("first-fire", "Throttle comes back by itself from wide open"),
        ("first-fire", "Nothing loose near the bores; face and hands clear"),
        ("first-fire", "Oil pressure within seconds of firing"),
        ("first-fire", "Coolant topped up and bled"),
        ("first-fire", "Wheels chocked, out of gear, nobody in front"),
        ("first-fire", "Leads, sleeves and hands clear of fan and belts"),
        ("cold-preset", "All plates stand upright at full pedal, both banks together"),
        ("cold-preset", "Every plate closes to contact by itself"),
        ("cold-preset", "Turns in from the blade, both banks alike"),
        ("cold-preset", "Throttle sensor with the plates closed"),
        ("cold-preset", "Base blade under each stop screw"),
        ("cold-preset", "Springs hold every stop screw where it was set"),
        ("cold-preset", "No slop to feel in any coupler"),
        ("heat-soaked-recheck", "Idle-speed control and idle spark control held steady"),
        ("heat-soaked-recheck", "Fans and air conditioning held steady, on or off"),
        ("part-throttle-bank-balance", "Both links have free play at the stop, engine off"),
        ("part-throttle-bank-balance", "A second person, or a positive hold on the lever"),
        ("lock-down", "Adhesive or a witness mark on every stop screw"),
        ("lock-down", "Every coupler tight"),
        ("lock-down", "Throttle comes back by itself from wide open"),
        ("lock-down", "Throttle sensor, plates closed"),
        ("lock-down", "Throttle sensor, wide open"),
    ],
)
def test_each_thing_is_asked_for_in_the_vehicle(client: TestClient, shop: Database, slug: str, words: str) -> None:
    visit_id = visit(shop, engine(shop, V8), "vehicle")
    assert words in client.get(f"/visits/{visit_id}/{slug}").text


def test_a_tick_is_taken_back_from_the_page(client: TestClient, shop: Database) -> None:
    visit_id = visit(shop, engine(shop, V8))
    there = f"/visits/{visit_id}/{COLD_PRESET.slug}"
    client.post(f"{there}/checks", data={"key": key(), "by": "KM", "wide-open": "1"})
    page = client.get(there).text
    assert re.search(r'form="take-back" name="item" value="wide-open"', page)
    assert "Take back: All plates stand upright" in page
    answer = client.post(f"{there}/checks/back", data={"key": key(), "by": "KM", "item": "wide-open"})
    assert answer.status_code == 303
    assert 'value="wide-open"' not in client.get(there).text
    assert visit_record(shop, visit_id).checks == {}
    again = client.post(f"{there}/checks/back", data={"key": key(), "by": "KM", "item": "wide-open"})
    assert again.status_code == 422


def test_no_oil_pressure_is_answered_with_stop(client: TestClient, shop: Database) -> None:
    visit_id = visit(shop, engine(shop, V8))
    check_all(shop, visit_id, COLD_PRESET)
    check_all(shop, visit_id, FIRST_FIRE)
    there = f"/visits/{visit_id}/{FIRST_FIRE.slug}"
    answer = client.post(f"{there}/checks", data={"key": key(), "by": "KM", "oil-pressure": "20"})
    assert answer.headers["location"] == there
    assert "Stop the engine now. Oil pressure 20\u00a0kPa" in client.get(there).text
    assert "Stopped: outside the shop" in client.get("/").text
    sent = {"key": key(), "round": "1", "bore": "1", "kind": "turn", "value": "6.5", "by": "KM"}
    refused = client.post(f"{there}/readings", data=sent)
    assert refused.status_code == 422
    assert "Stop the engine now" in refused.text
    assert 'value="6.5"' in refused.text


def test_the_heat_soak_is_drawn_and_opens_the_round(client: TestClient, shop: Database) -> None:
    visit_id = visit(shop, engine(shop, FOUR))
    check_all(shop, visit_id, COLD_PRESET)
    check_all(shop, visit_id, FIRST_FIRE)
    read_round(shop, visit_id, FIRST_FIRE)
    there = f"/visits/{visit_id}/{HEAT_SOAKED.slug}"
    for ago, coolant, oil in (("20", "40", "30"), ("10", "84", "70"), ("2,5", "84", "83")):
        sent = {"key": key(), "by": "KM", "coolant": coolant, "oil": oil, "ago": ago}
        assert client.post(f"{there}/checks", data=sent).headers["location"] == there
    page = client.get(there).text
    assert "Not hot through yet" in page
    assert "oil steady: it changed by 13\u00a0°C in the last 5 minutes" in page
    assert [len(points.split()) for points in re.findall(r'points="([^"]*)"', page)] == [3, 3]
    rest = {"pulls": "3", "idle-speed": "850", "oil-pressure-hot": "190", "idle-control": "1", "loads-steady": "1"}
    client.post(f"{there}/checks", data={"key": key(), "by": "KM", **rest})
    refused = client.post(f"{there}/overrides", data={"key": key(), "gate": "heat", "why": "", "override_by": "KM"})
    assert refused.status_code == 422
    sent = {"key": key(), "gate": "heat", "why": "The cell is needed", "override_by": "KM"}
    assert client.post(f"{there}/overrides", data=sent).status_code == 303
    assert client.get(f"/visits/{visit_id}").headers["location"] == f"{there}/readings"
    assert "The cell is needed" in client.get(there).text
    assert "The cell is needed" in client.get(f"/visits/{visit_id}/sheet").text


@pytest.mark.parametrize("ago", ["-3", "5000", "soon"])
def test_a_time_that_cannot_be_stays_beside_its_field(client: TestClient, shop: Database, ago: str) -> None:
    visit_id = heat_soaked(shop, FOUR)
    count = len(visit_record(shop, visit_id).all_checks)
    there = f"/visits/{visit_id}/{HEAT_SOAKED.slug}/checks"
    answer = client.post(there, data={"key": key(), "by": "KM", "coolant": "84", "ago": ago})
    assert answer.status_code == 422
    assert 'id="ago-message"' in answer.text
    assert f'value="{ago}"' in answer.text
    assert len(visit_record(shop, visit_id).all_checks) == count


def test_what_changed_is_asked_when_the_visit_opens_and_said_in_it(client: TestClient, shop: Database) -> None:
    visit_id = heat_soaked(shop, FOUR)
    read_round(shop, visit_id, HEAT_SOAKED)
    check_all(shop, visit_id, LOCK_DOWN)
    read_round(shop, visit_id, LOCK_DOWN)
    visits.sign_off(shop, visit_id, key(), "Foreman of the yard", AT)
    engine_id = visit_record(shop, visit_id).engine.ident
    assert "Changed since the last sign-off" in client.get(f"/engines/{engine_id}/visits/new").text
    sent = {"key": key(), "place": "vehicle", "by": "KM", "meter": "1", "changed exhaust": "1"}
    there = client.post(f"/engines/{engine_id}/visits", data=sent).headers["location"]
    for slug in (FIRST_FIRE.slug, HEAT_SOAKED.slug):
        page = client.get(f"{there}/{slug}").text
        assert "Since the last sign-off: exhaust changed, now in the vehicle" in page, slug


def test_nothing_ticked_is_said_beside_the_button_and_blames_no_field(client: TestClient, shop: Database) -> None:
    at = visit(shop, engine(shop))
    answer = client.post(f"/visits/{at}/cold-preset/checks", data={"key": key(), "by": "KM"})
    assert answer.status_code == 422
    assert on_page(Rejection.NOTHING_ENTERED) in answer.text
    assert "aria-invalid" not in answer.text
    assert 'name="by" value="KM"' in answer.text


def test_the_sign_off_page_says_what_is_missing_and_leads_there(client: TestClient, shop: Database) -> None:
    at = visit(shop, engine(shop))
    page = client.get(f"/visits/{at}/sign-off").text
    assert page.count("still missing: <a") == len(PHASES)
    for phase in PHASES:
        assert f'still missing: <a class="text-link" href="/visits/{at}/{phase.slug}">' in page


def test_turns_of_a_stop_screw_are_figures(client: TestClient, shop: Database) -> None:
    page = client.get(f"/visits/{visit(shop, engine(shop, V8))}/cold-preset").text
    assert re.search(r"turn every stop screw in by <b>[\d /]+&nbsp;turns?</b>", page)
    assert re.search(r">[\d /]+ to [\d /]+ turns;", page)


def test_the_spread_of_a_single_reading_is_not_nothing(client: TestClient, shop: Database) -> None:
    visit_id = heat_soaked(shop)
    read(shop, visit_id, HEAT_SOAKED)
    assert re.search(r"6\.50</td>.*–</td></tr>", client.get(f"/visits/{visit_id}/sheet").text)


def test_a_first_reading_is_not_nothing(client: TestClient, shop: Database) -> None:
    visit_id = heat_soaked(shop)
    path = f"/visits/{visit_id}/{HEAT_SOAKED.slug}/readings"
    assert "nothing read yet" in client.get(path).text
    read(shop, visit_id, HEAT_SOAKED)
    assert "too few read yet" in client.get(path).text
