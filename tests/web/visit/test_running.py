"""A stop takes the whole screen until cause and remedy are recorded; what ran out is named, and asked for alone."""

import html
import re
from collections.abc import Callable, Iterator, Mapping
from datetime import datetime, timedelta

import pytest
from playwright.sync_api import Page, ViewportSize, expect
from starlette.testclient import TestClient

from app.shop.commands import checks
from app.shop.procedure.phases import FIRST_FIRE, HEAT_SOAKED, PHASES
from app.shop.store.database import Database
from app.web.application import create_app
from tests.serving import serving
from tests.shop.exchange.files import stopped_and_started
from tests.shop.yard import (
    AT,
    FOUR,
    START_LIST,
    check_all,
    engine,
    heat_soaked,
    key,
    read,
    read_round,
    visit,
    visit_record,
)

ORIGIN = "http://127.0.0.1"
SIZES: tuple[ViewportSize, ...] = (
    {"width": 1280, "height": 800},
    {"width": 800, "height": 1280},
    {"width": 390, "height": 844},
)
REMEDY = "Oil filled up to the upper mark"


class Hands:
    """The clock on the wall."""

    def __init__(self) -> None:
        self.now = datetime.fromisoformat(AT)

    def __call__(self) -> datetime:
        return self.now

    def wait(self, minutes: float) -> None:
        self.now += timedelta(minutes=minutes)


@pytest.fixture
def hands() -> Hands:
    return Hands()


@pytest.fixture
def client(shop: Database, hands: Hands) -> Iterator[TestClient]:
    app = create_app(shop, clock=hands)
    with TestClient(app, base_url=ORIGIN, headers={"Origin": ORIGIN}, follow_redirects=False) as opened:
        yield opened


def stopped(shop: Database, place: str = "test cell") -> int:
    visit_id = visit(shop, engine(shop, FOUR), place)
    check_all(shop, visit_id, PHASES[0])
    check_all(shop, visit_id, FIRST_FIRE)
    checks.record(shop, visit_id, key(), FIRST_FIRE.slug, {"oil-pressure": 30}, "KM", AT)
    return visit_id


def text_of(client: TestClient, path: str) -> str:
    page = client.get(path)
    assert page.status_code == 200, (path, page.headers.get("location"))
    return html.unescape(re.sub(r"\s+", " ", re.sub(r"<[^>]+>", " ", page.text)))


@pytest.mark.parametrize(
    "path",
    ["first-fire", "first-fire/readings", "cold-preset", "heat-soaked-recheck/moves/new", "sign-off", "start", ""],
)
def test_every_page_of_the_visit_leads_to_the_stop(client: TestClient, shop: Database, path: str) -> None:
    visit_id = stopped(shop)
    answer = client.get(f"/visits/{visit_id}/{path}".rstrip("/"))
    assert (answer.status_code, answer.headers["location"]) == (303, f"/visits/{visit_id}/stop")


def test_it_says_the_figure_the_limit_and_what_to_do(client: TestClient, shop: Database) -> None:
    said = text_of(client, f"/visits/{stopped(shop)}/stop")
    for words in ("Stop the engine", "Oil pressure", "30 kPa", "shop minimum 100 kPa", "Do not restart"):
        assert words in said
    assert "Read this out" not in said


def too_hot(shop: Database) -> int:
    visit_id = heat_soaked(shop, FOUR)
    checks.record(shop, visit_id, key(), HEAT_SOAKED.slug, {"coolant": 118}, "KM", AT)
    return visit_id


@pytest.mark.parametrize(("made", "offered"), [(stopped, False), (too_hot, True)])
def test_a_thermostat_is_a_cause_of_heat_alone(
    client: TestClient, shop: Database, made: Callable[[Database], int], offered: bool
) -> None:
    said = text_of(client, f"/visits/{made(shop)}/stop")
    assert "Gauge, sender or wiring" in said
    assert ("Thermostat" in said) is offered


def test_a_mistyped_figure_is_corrected_on_its_screen_and_no_remedy_is_asked_for(
    client: TestClient, shop: Database
) -> None:
    visit_id = stopped(shop)
    here = f"/visits/{visit_id}/stop/corrected"
    wrong = next(check.ident for check in visit_record(shop, visit_id).all_checks if check.number == 30)
    assert f'name="check-{wrong}"' in client.get(f"/visits/{visit_id}/stop").text
    low = client.post(here, data={"key": key(), f"check-{wrong}": "40", "by": "KM"})
    assert low.status_code == 422
    assert "Stop the engine now. Oil pressure 40" in html.unescape(low.text).replace("\xa0", " ")
    done = client.post(here, data={"key": key(), f"check-{wrong}": "300", "by": "KM"})
    assert done.headers["location"] == f"/visits/{visit_id}/start"
    assert "Remedy" not in text_of(client, "/audit")


def test_over_the_telephone_it_is_read_out(client: TestClient, shop: Database) -> None:
    assert "Read this out" in text_of(client, f"/visits/{stopped(shop, 'telephone')}/stop")


def test_entering_the_figure_leads_straight_to_it_and_a_better_one_is_refused(
    client: TestClient, shop: Database
) -> None:
    visit_id = heat_soaked(shop, FOUR)
    here = f"/visits/{visit_id}/{HEAT_SOAKED.slug}/checks"
    answer = client.post(here, data={"key": key(), "coolant": "118", "by": "KM"})
    assert answer.headers["location"] == f"/visits/{visit_id}/stop"
    refused = client.post(here, data={"key": key(), "coolant": "84", "by": "KM"})
    assert refused.status_code == 422
    assert "118" in html.unescape(refused.text)
    assert [check.number for check in visit_record(shop, visit_id).all_checks if check.item == "coolant"][-1] == 118


def test_it_ends_with_cause_and_remedy_and_leads_to_the_start_list(client: TestClient, shop: Database) -> None:
    visit_id = stopped(shop)
    here = f"/visits/{visit_id}/stop"
    refused = client.post(here, data={"key": key(), "cause": "leak", "remedy": "", "by": "KM"})
    assert refused.status_code == 422
    assert "Enter the remedy" in refused.text
    assert 'value="leak" checked' in refused.text
    done = client.post(here, data={"key": key(), "cause": "leak", "remedy": REMEDY, "by": "KM"})
    assert done.headers["location"] == f"/visits/{visit_id}/start"
    assert client.get(here).headers["location"] == f"/visits/{visit_id}/start"
    said = text_of(client, f"/visits/{visit_id}/start")
    assert "The engine was stopped." in said
    refused = client.post(f"/visits/{visit_id}/start", data={"key": key(), "kill-switch": "1", "by": "KM"})
    assert refused.status_code == 422
    assert refused.text.count("Check and tick this for every start.") == len(START_LIST) - 1
    ticks = dict.fromkeys(START_LIST, "1")
    done = client.post(f"/visits/{visit_id}/start", data={"key": key(), "by": "KM", **ticks})
    assert done.headers["location"] == f"/visits/{visit_id}/first-fire"
    assert "Beyond the limit: read again" in text_of(client, f"/visits/{visit_id}/first-fire")


def test_two_days_in_the_middle_of_a_round(client: TestClient, shop: Database, hands: Hands) -> None:
    """The page says what ran out and leads to just that: start list, gauges, a new round."""
    visit_id = heat_soaked(shop, FOUR)
    for _ in range(2):
        read(shop, visit_id, HEAT_SOAKED)
    here = f"/visits/{visit_id}/{HEAT_SOAKED.slug}/readings"
    version = re.search(r'data-version="([^"]+)"', client.get(here).text)
    assert version is not None
    news = f"/visits/{visit_id}/news?since={version[1]}"
    assert client.get(news).status_code == 204
    hands.wait(minutes=2 * 24 * 60)
    assert client.get(news).status_code == 200
    said = text_of(client, here)
    assert "Nothing was entered for 2 days, so the engine counts as stopped." in said
    assert f'href="/visits/{visit_id}/start"' in client.get(here).text
    assert client.get(f"/visits/{visit_id}").headers["location"] == f"/visits/{visit_id}/start"
    said = text_of(client, f"/visits/{visit_id}/start")
    assert "Round 2 was left open and is void. A new round begins with bore 1." in said
    assert "read the gauges again" in said
    typed = {"key": key(), "round": "2", "bore": "3", "kind": "turn", "value": "6.5", "by": "KM"}
    assert client.post(here, data=typed).status_code == 422
    assert [len(one.entered) for one in visit_record(shop, visit_id).rounds][-1] == 2


def test_the_tick_of_an_earlier_start_is_open_again_on_the_checklist(
    client: TestClient, shop: Database, hands: Hands
) -> None:
    visit_id = heat_soaked(shop, FOUR)
    assert "check again" not in text_of(client, f"/visits/{visit_id}/first-fire")
    hands.wait(minutes=25)
    said = text_of(client, f"/visits/{visit_id}/first-fire")
    assert said.count("Engine stopped since: check again") == len(START_LIST)
    assert "Open the start list" in said


def test_engine_stopped_is_a_button_while_it_may_run(client: TestClient, shop: Database) -> None:
    visit_id = heat_soaked(shop, FOUR)
    here = f"/visits/{visit_id}/{HEAT_SOAKED.slug}"
    for page in (here, f"{here}/readings"):
        assert f'action="/visits/{visit_id}/stopped"' in client.get(page).text
    done = client.post(f"/visits/{visit_id}/stopped", data={"key": key(), "by": "KM"})
    assert done.headers["location"] == f"/visits/{visit_id}/start"
    for page in (here, f"{here}/readings"):
        assert f'action="/visits/{visit_id}/stopped"' not in client.get(page).text
    assert client.get("/visits/1/start").status_code == 200


@pytest.fixture
def browser_context_args(
    browser_context_args: Mapping[str, object], request: pytest.FixtureRequest
) -> dict[str, object]:
    """A screen of the size that a test asks for."""
    size = getattr(request, "param", SIZES[0])
    return {**browser_context_args, "viewport": size, "has_touch": True}


@pytest.mark.parametrize("browser_context_args", SIZES, indirect=True, ids=lambda size: str(size["width"]))
def test_the_stop_fills_every_screen(page: Page, shop: Database) -> None:
    visit_id = stopped(shop)
    with serving(shop) as server:
        page.goto(f"{server}/visits/{visit_id}/{FIRST_FIRE.slug}/readings")
        expect(page.get_by_role("heading", name="Stop the engine")).to_be_in_viewport()
        expect(page.get_by_text("30\u00a0kPa", exact=True)).to_be_in_viewport()
        expect(page.locator("header.top")).to_be_hidden()
        assert int(page.evaluate("document.documentElement.scrollWidth - innerWidth")) <= 0
        if page.viewport_size == SIZES[0]:
            expect(page.get_by_role("button", name="End the stop")).to_be_in_viewport(ratio=1)
        page.get_by_text("Pump or its drive").click()
        page.get_by_label("Remedy: what was done about it").fill(REMEDY)
        page.get_by_role("button", name="End the stop").click()
        expect(page.get_by_role("heading", name="Before the engine starts")).to_be_visible()
        assert int(page.evaluate("document.documentElement.scrollWidth - innerWidth")) <= 0
        for box in page.get_by_role("form", name="Start list").get_by_role("checkbox").all():
            box.check()
        page.get_by_role("button", name="Engine started").click()
        expect(page.get_by_role("heading", name="Checklist")).to_be_visible()


def test_a_stop_entered_at_another_tablet_takes_over_the_reading_page(page: Page, shop: Database) -> None:
    visit_id = heat_soaked(shop, FOUR)
    with serving(shop) as server:
        page.goto(f"{server}/visits/{visit_id}/{HEAT_SOAKED.slug}/readings")
        expect(page.locator("#entry-heading")).to_have_text("Bore 1")
        checks.record(shop, visit_id, key(), HEAT_SOAKED.slug, {"oil": 140}, "JW", AT)
        expect(page.get_by_role("heading", name="Stop the engine")).to_be_visible()


def test_a_round_is_read_to_its_end_before_anything_runs_out(shop: Database) -> None:
    visit_id = heat_soaked(shop, FOUR)
    read_round(shop, visit_id, HEAT_SOAKED)
    assert visit_record(shop, visit_id).rounds[-1].closed


def test_a_stop_is_on_the_sheet_in_full_before_what_was_read(client: TestClient, shop: Database) -> None:
    visit_id = stopped_and_started(shop)
    paper = re.sub(r"\s+", " ", html.unescape(client.get(f"/visits/{visit_id}/sheet").text))
    said = "Oil pressure hot 30 kPa. Cause: Leak (At the filter). Remedy: Filter changed. KM,"
    assert said in paper
    assert paper.index(said) < paper.index("record-table")
    assert "Engine stopped (KM," in paper
    assert "Engine started (KM," in paper
