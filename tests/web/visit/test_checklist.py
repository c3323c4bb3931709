"""A checklist as a person goes through it: its order, one tap for the rest, what is open, what is signed."""

import html
import re
from collections.abc import Mapping

import pytest
from starlette.testclient import TestClient

from app.shop.commands import checks
from app.shop.procedure.phases import COLD_PRESET, FIRST_FIRE, HEAT_SOAKED, LOCK_DOWN
from app.shop.procedure.requirements import NotNeeded
from app.shop.reasons import because
from app.shop.rejections import Rejection
from app.shop.store.database import Database
from app.wording.message import say
from app.wording.office import paper
from app.wording.reasons import in_words
from app.wording.work.visit import AT_START, PUT_BACK
from tests.shop.past import Past
from tests.shop.rejections import on_page
from tests.shop.yard import AT, FOUR, V8, check_all, engine, heat_soaked, key, read_round, visit, visit_record


def shown(page: str) -> str:
    """The text of a page as a person sees it."""
    return html.unescape(re.sub(r"<[^>]*>", " ", page[page.index("<main") :]))


def test_minutes_ago_without_a_temperature_are_not_dropped(client: TestClient, shop: Database) -> None:
    there = f"/visits/{heat_soaked(shop, FOUR)}/{HEAT_SOAKED.slug}/checks"
    answer = client.post(there, data={"key": key(), "by": "KM", "idle-speed": "870", "ago": "6"})
    assert answer.status_code == 422
    assert on_page(Rejection.NO_TEMPERATURE) in answer.text
    assert 'value="6"' in answer.text


@pytest.mark.parametrize(
    ("place", "to", "sent"),
    [
        ("telephone", "checks", {"said": "base-blade", "base-blade": "90"}),
        ("test cell", "checks", {"asked": "base-blade", "base-blade": "90"}),
        ("test cell", "overrides", {"why": ""}),
    ],
)
def test_what_comes_back_is_sent_again_under_its_key(
    client: TestClient, shop: Database, place: str, to: str, sent: Mapping[str, str]
) -> None:
    """By its key a tablet lets go of what was rejected; no other form of the page has it."""
    visit_id, sent_key = visit(shop, engine(shop, V8), place), key()
    there = f"/visits/{visit_id}/{COLD_PRESET.slug}/{to}"
    answer = client.post(there, data={"key": sent_key, "by": "KM", "override_by": "KM", **sent})
    assert answer.status_code == 422
    forms = [form for form in re.findall(r"<form.*?</form>", answer.text, re.DOTALL) if sent_key in form]
    assert len(forms) == 1
    assert f'action="{there}"' in forms[0]
    for name in ("said", "asked"):
        assert (f'name="{name}"' in forms[0]) == (name in sent)


def test_one_tap_ticks_the_rest_and_no_line_of_danger(client: TestClient, shop: Database) -> None:
    visit_id = visit(shop, engine(shop, V8))
    check_all(shop, visit_id, COLD_PRESET)
    there = f"/visits/{visit_id}/{FIRST_FIRE.slug}"
    rest = re.search(r'name="rest" value="([^"]*)"', client.get(there).text)
    assert rest is not None
    assert set(rest[1].split()) == {"bores-clear", "fire-ready", "not-alone", "guarded", "coolant-full", "battery-back"}
    sent = {"key": key(), "by": "KM", "rest": f"{rest[1]} kill-switch oil-lamp no-such-item"}
    assert client.post(f"{there}/checks", data=sent).status_code == 303
    ticked = {item for phase, item in visit_record(shop, visit_id).checks if phase == FIRST_FIRE.slug}
    assert ticked == set(rest[1].split())
    assert 'name="rest"' not in client.get(there).text


def test_what_is_open_is_marked_and_counted(client: TestClient, shop: Database) -> None:
    visit_id = heat_soaked(shop, FOUR)
    page = client.get(f"/visits/{visit_id}/{HEAT_SOAKED.slug}").text
    checks.take_back(shop, visit_id, key(), HEAT_SOAKED.slug, "loads-steady", "KM", AT)
    checks.take_back(shop, visit_id, key(), HEAT_SOAKED.slug, "pulls", "KM", AT)
    later = client.get(f"/visits/{visit_id}/{HEAT_SOAKED.slug}").text
    assert (page.count("is-due"), later.count("is-due")) == (0, 2)
    assert "2 open" in later
    assert page.count("if known") == 2  # air pressure and temperature
    assert page.count("if it applies") == 2  # intake parts and hoses


def test_the_list_stands_in_the_order_it_is_done(client: TestClient, shop: Database) -> None:
    visit_id = visit(shop, engine(shop, V8))
    page = html.unescape(client.get(f"/visits/{visit_id}/{FIRST_FIRE.slug}").text)
    assert page.index("Kill switch") < page.index(say(AT_START)) < page.index("Oil pressure within seconds")
    ready = heat_soaked_other(shop)
    page = html.unescape(client.get(f"/visits/{ready}/{LOCK_DOWN.slug}").text)
    assert page.index("Every coupler tight") < page.index(say(PUT_BACK)) < page.index("Idle-speed and idle spark")


def heat_soaked_other(shop: Database) -> int:
    """Another engine, as far as the fine round, its idle control and fans held."""
    visit_id = visit(shop, engine(shop, FOUR, "31-0305"))
    for phase in (COLD_PRESET, FIRST_FIRE):
        check_all(shop, visit_id, phase)
    read_round(shop, visit_id, FIRST_FIRE)
    check_all(shop, visit_id, HEAT_SOAKED)
    return visit_id


def test_the_sign_off_shows_the_result_that_is_signed(client: TestClient, shop: Database) -> None:
    visit_id = heat_soaked(shop, FOUR)
    read_round(shop, visit_id, HEAT_SOAKED, 7.25)
    check_all(shop, visit_id, LOCK_DOWN)
    before = html.unescape(client.get(f"/visits/{visit_id}/sign-off").text)
    assert say(paper.RESULT_BEFORE_TIGHTENING, verdict="even") in before
    read_round(shop, visit_id, LOCK_DOWN, 7.0)
    page = html.unescape(client.get(f"/visits/{visit_id}/sign-off").text)
    sheet = html.unescape(client.get(f"/visits/{visit_id}/sheet").text)
    assert say(paper.RESULT, verdict="even") in page
    for bore in FOUR.bores:
        assert f"Bore {bore}: <b>7.00</b> even" in page
    sentence = re.search(r"All bores within [^<]*", page)
    assert sentence is not None
    assert sentence[0].strip() in sheet  # the very words that the customer reads


def test_a_visit_of_an_engine_nothing_is_known_of_asks_whether_it_runs(client: TestClient, shop: Database) -> None:
    there = f"/engines/{engine(shop, FOUR)}/visits"
    assert "Does the engine run?" in client.get(f"{there}/new").text
    sent = {"key": key(), "place": "vehicle", "by": "KM", "meter": "1", "asks": "runs", "intake": "as-it-runs"}
    refused = client.post(there, data=sent)
    assert refused.status_code == 422
    assert "Does the engine run?" in refused.text
    opened = client.post(there, data={**sent, "runs": "runs"}).headers["location"]
    assert client.get(opened).headers["location"] == f"{opened}/{FIRST_FIRE.slug}"
    page = client.get(f"{opened}/{COLD_PRESET.slug}").text
    assert in_words(because(NotNeeded.ENGINE_RUNS)) in html.unescape(page)
    assert "checks-form" not in page
    assert 'Cold preset<span class="spoken">, not needed<' in page


def test_an_engine_that_was_signed_off_is_not_asked_again(client: TestClient, shop: Database) -> None:
    past = Past(shop)
    past.visit([6.5] * 8, [6.5] * 8)
    assert "Does the engine run?" not in client.get(f"/engines/{past.engine_id}/visits/new").text


def test_the_sheet_says_what_was_put_back_and_seen_to_work(client: TestClient, shop: Database) -> None:
    visit_id = heat_soaked(shop, FOUR)
    checks.record(shop, visit_id, key(), HEAT_SOAKED.slug, {"hoses-off": None}, "KM", AT)
    there = f"/visits/{visit_id}/sheet"
    held = shown(client.get(there).text)
    assert "Idle-speed and idle spark control locked out" in held
    assert "Put back" not in held
    read_round(shop, visit_id, HEAT_SOAKED)
    check_all(shop, visit_id, LOCK_DOWN)
    page = re.sub(r"\s+", " ", shown(client.get(there).text))
    back = "Idle-speed and idle spark control connected, seen to work; Fans and air conditioning released, seen to work"
    assert f"Put back {back}; Ports capped and hoses connected, no hiss at idle." in page
    assert "Idle-speed and idle spark control locked out" not in page  # said once, and not as if it still were
    assert "xtinguisher" not in page  # of the people at work, not of the engine
