"""The steps page of each phase: its cautions at every place, ticks taken back, and the plain word to stop."""

import html
import re
from dataclasses import replace

import pytest
from starlette.testclient import TestClient

from app.shop.assessment.assessment import assess
from app.shop.assessment.progress import items_of
from app.shop.commands import settings_versions, visits
from app.shop.procedure.items import PLACES
from app.shop.procedure.limits import stop_for
from app.shop.procedure.parts import parts_of
from app.shop.procedure.phases import BANK_BALANCE, COLD_PRESET, FIRST_FIRE, HEAT_SOAKED, LOCK_DOWN, PHASES
from app.shop.procedure.recheck import recheck
from app.shop.procedure.requirements import Changed, Requirement
from app.shop.reasons import because
from app.shop.record import stored_settings
from app.shop.record.measures import RECORDED, Amount, Units
from app.shop.record.settings import DEFAULTS
from app.shop.rejections import Rejection
from app.shop.store.database import Database
from app.sync.engine.layout import Layout
from app.wording.message import say
from app.wording.reasons import in_words
from app.wording.work.phases import item_label, phase_name, phase_steps, phase_title
from app.wording.work.reading_page import NONE_YET, TOO_FEW
from app.wording.work.safety import deferral, safety_lines
from app.wording.work.visit import STOPPED
from tests.shop.rejections import on_page
from tests.shop.yard import (
    AT,
    FOUR,
    TWINS,
    V8,
    check_all,
    engine,
    heat_soaked,
    key,
    read,
    read_round,
    visit,
    visit_record,
)


def test_a_phase_that_is_not_needed_lists_no_hazards(client: TestClient, shop: Database) -> None:
    visit_id = visit(shop, engine(shop, FOUR))
    page = html.unescape(client.get(f"/visits/{visit_id}/{BANK_BALANCE.slug}").text)
    assert "Not needed: this engine has one bank." in page
    assert 'class="cautions' not in page
    assert 'class="cautions' in client.get(f"/visits/{visit_id}/{COLD_PRESET.slug}").text


@pytest.mark.parametrize("place", PLACES)
def test_every_page_carries_the_cautions_of_its_place(client: TestClient, shop: Database, place: str) -> None:
    visit_id = visit(shop, engine(shop, V8), place)
    for phase in PHASES:
        page = html.unescape(client.get(f"/visits/{visit_id}/{phase.slug}").text)
        cautions = safety_lines(phase.cautions_at(place, parts_of(V8)))
        assert cautions
        assert deferral() in page
        for one in cautions:
            for part in (one.word, one.hazard, one.consequence, one.avoidance):
                assert part in page, phase.slug
        if phase.rounds == "none":
            continue
        page = html.unescape(client.get(f"/visits/{visit_id}/{phase.slug}/readings").text)
        for one in cautions:
            assert one.avoidance in page, phase.slug


@pytest.mark.parametrize(
    ("slug", "place", "words"),
    [
        ("first-fire", "test cell", "Keep face, hair and hands away from the bores while the engine runs."),
        ("first-fire", "test cell", "If oil pressure does not rise within seconds, stop it."),
        ("first-fire", "test cell", "Fuel leak or fuel smell."),
        ("first-fire", "test cell", "Carbon monoxide kills within minutes."),
        ("first-fire", "telephone", "Exhaust gas in a closed garage."),
        ("heat-soaked-recheck", "vehicle", "Chock the wheels, select neutral, set the brake, keep the front clear."),
        ("heat-soaked-recheck", "vehicle", "An electric fan can start with the key off."),
        ("heat-soaked-recheck", "test cell", "Do not open the cap while hot."),
        ("part-throttle-bank-balance", "test cell", "Have a second person hold the lever, or use a positive hold."),
        ("part-throttle-bank-balance", "vehicle", "Keep clear of belts and fan."),
        ("lock-down", "test cell", "Wear eye protection and ventilate."),
        ("lock-down", "telephone", "Have a second person there."),
        ("cold-preset", "test cell", "local codes and the rules of licensed practice come first"),
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
        asked = assess(visit_record(shop, visit_id)).of(LOCK_DOWN).step
        for bore in asked.bores if asked.kind == "measure" else ():
            read(shop, visit_id, LOCK_DOWN, 9.5 if bore > 2 else 6.5, bore)
    page = client.get(f"/visits/{visit_id}/{LOCK_DOWN.slug}/readings").text
    assert "Tightening moved a plate" in page
    assert re.search(
        rf'href="/visits/{visit_id}/{HEAT_SOAKED.slug}/readings"[^>]*>Back to the {phase_name(HEAT_SOAKED)}', page
    )


@pytest.mark.parametrize("layout", [FOUR, TWINS, V8], ids=["4", "twins", "V8"])
@pytest.mark.parametrize("place", PLACES)
def test_everything_a_phase_asks_is_on_its_page(client: TestClient, shop: Database, place: str, layout: Layout) -> None:
    visit_id, parts = visit(shop, engine(shop, layout), place), parts_of(layout)
    record = visit_record(shop, visit_id)
    for phase in PHASES:
        page = html.unescape(client.get(f"/visits/{visit_id}/{phase.slug}").text)
        if phase is BANK_BALANCE and layout is not V8:
            continue
        assert phase_title(phase) in page
        for step in phase_steps(phase, parts):
            assert step in page, phase.slug
        for item in items_of(record, phase):
            assert item.aside or item_label(item, parts) in page, item.slug


@pytest.mark.parametrize("units", [RECORDED, Units("°F", "psi", "inHg abs.", "mm", "miles")], ids=["in", "mm"])
@pytest.mark.parametrize("place", PLACES)
@pytest.mark.parametrize("layout", [FOUR, TWINS, V8], ids=["4", "twins", "V8"])
def test_no_page_says_thousandths_and_an_engine_with_one_bank_is_not_told_of_banks(
    client: TestClient, shop: Database, place: str, layout: Layout, units: Units
) -> None:
    choose(shop, units)
    visit_id = visit(shop, engine(shop, layout), place)
    for phase in PHASES:
        page = shown(client.get(f"/visits/{visit_id}/{phase.slug}").text).replace(phase_title(BANK_BALANCE), "")
        assert not re.search(r"\bthou\b", page), phase.slug
        assert "rev/min" not in page, phase.slug
        if phase is not BANK_BALANCE:
            assert ("bank" in page.lower()) <= (layout is V8), phase.slug


def choose(shop: Database, units: Units) -> None:
    """Let the shop see those units."""
    with shop.reading() as session:
        version, held = stored_settings.now(session)
    if held.units != units:
        settings_versions.change(shop, key(), version, replace(held, units=units), "", "KM", AT)


def shown(page: str) -> str:
    """The text of a page as a person sees it, what is only spoken with it."""
    return html.unescape(re.sub(r"<[^>]*>", " ", page[page.index("<main") :]))


def test_a_tick_is_taken_back_from_the_page(client: TestClient, shop: Database) -> None:
    visit_id = visit(shop, engine(shop, V8))
    there = f"/visits/{visit_id}/{COLD_PRESET.slug}"
    client.post(f"{there}/checks", data={"key": key(), "by": "KM", "wide-open": "1"})
    page = client.get(there).text
    assert re.search(r'form="take-back" name="item" value="wide-open"', page)
    assert f"Undo: {item_label('wide-open', parts_of(V8))}" in page
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
    assert answer.headers["location"] == f"/visits/{visit_id}/stop"
    pressure = next(item for item in FIRST_FIRE.items if item.slug == "oil-pressure")
    reason = stop_for(pressure, 20, DEFAULTS.limits)
    assert reason is not None
    stop = html.escape(in_words(reason))
    assert stop in client.get(f"/visits/{visit_id}/stop").text
    assert say(STOPPED) in client.get("/").text
    sent = {"key": key(), "round": "1", "bore": "1", "kind": "turn", "value": "6.5", "by": "KM"}
    refused = client.post(f"{there}/readings", data=sent)
    assert refused.status_code == 422
    assert stop in refused.text
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
    assert "Not heat-soaked yet" in page
    by = Amount(13, RECORDED.of("temperature"), difference=True)
    assert in_words(because(Requirement.HEAT_MOVING, what="oil", by=by, count=5)) in page
    assert [len(points.split()) for points in re.findall(r'points="([^"]*)"', page)] == [3, 3]
    rest = {"pulls": "3", "idle-speed": "850", "oil-pressure-hot": "190", "idle-control": "1", "loads-steady": "1"}
    rest |= {"leak-checked": "1"}
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
    sent = {"key": key(), "place": "vehicle", "by": "KM", "meter": "1", "intake": "as-it-runs", "changed exhaust": "1"}
    there = client.post(f"/engines/{engine_id}/visits", data=sent).headers["location"]
    asked = recheck(visit_record(shop, int(there.rpartition("/")[2])))
    assert asked is not None
    assert [one.code for one in asked.values["reasons"]] == [Changed.TOUCHED, Changed.IN_VEHICLE]
    for slug in (FIRST_FIRE.slug, HEAT_SOAKED.slug):
        page = client.get(f"{there}/{slug}").text
        assert in_words(asked) in page, slug


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
    assert re.search(r"turn each stop screw in by <b>[\d\xa0/]+\xa0turns?</b>", page)
    assert re.search(r">Range [\d\xa0/]+ to [\d\xa0/]+&nbsp;turns\. (Estimated|Calculated) from", page)


def test_one_bank_has_one_stop_screw(client: TestClient, shop: Database) -> None:
    page = client.get(f"/visits/{visit(shop, engine(shop, FOUR))}/cold-preset").text
    assert re.search(r"turn the stop screw in by <b>[\d\xa0/]+\xa0turns?</b>", page)
    assert "each stop screw" not in page


def test_the_spread_of_a_single_reading_is_not_nothing(client: TestClient, shop: Database) -> None:
    visit_id = heat_soaked(shop)
    read(shop, visit_id, HEAT_SOAKED)
    assert re.search(r"6\.50</td>.*–</td></tr>", client.get(f"/visits/{visit_id}/sheet").text)


def test_a_first_reading_is_not_nothing(client: TestClient, shop: Database) -> None:
    visit_id = heat_soaked(shop)
    path = f"/visits/{visit_id}/{HEAT_SOAKED.slug}/readings"
    assert say(NONE_YET, round=2) in client.get(path).text
    read(shop, visit_id, HEAT_SOAKED)
    assert say(TOO_FEW, round=2) in client.get(path).text


def test_the_meter_of_a_visit_is_named_where_it_is_read(client: TestClient, shop: Database) -> None:
    """A wrong one is noticed before it is signed for: the unit alone may be that of another meter."""
    visit_id = heat_soaked(shop, FOUR)
    name = visit_record(shop, visit_id).meter.name
    for path in (HEAT_SOAKED.slug, f"{HEAT_SOAKED.slug}/recorded"):
        assert f"Meter of this visit: {name}, kg/h" in client.get(f"/visits/{visit_id}/{path}").text
