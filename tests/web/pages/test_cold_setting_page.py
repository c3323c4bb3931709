"""The offer to set all plates cold, and its page: as a browser without JavaScript does it, and in a real one."""

import re
from collections.abc import Mapping

import pytest
from playwright.sync_api import Page, ViewportSize, expect
from starlette.testclient import TestClient

from app.shop.commands import checks
from app.shop.procedure.phases import COLD_PRESET, FIRST_FIRE
from app.shop.rejections import Rejection
from app.shop.store.database import Database
from app.sync.engine.layout import Layout
from app.sync.engine.units import THOU
from app.sync.planning.cold_setting import Foreseen
from tests.serving import serving
from tests.shop.rejections import on_page
from tests.shop.yard import AT, FOUR, TWINS, V8, check_all, engine, key, visit, visit_record
from tests.web.axe import faults

HERE = "/visits/1/cold-preset"
PLATES = f"{HERE}/plates"
SIZES: tuple[ViewportSize, ...] = (
    {"width": 1280, "height": 800},
    {"width": 800, "height": 1280},
    {"width": 390, "height": 844},
)


def begun(shop: Database, layout: Layout = V8, place: str = "test cell") -> int:
    visit_id = visit(shop, engine(shop, layout), place)
    check_all(shop, visit_id, COLD_PRESET)
    return visit_id


def fields(html: str, form: str) -> dict[str, str]:
    """The fields of the first form that posts to ``form``, as a browser would send them."""
    found = re.search(rf'<form[^>]*action="{form}".*?</form>', html, re.DOTALL)
    assert found is not None, form
    hidden = re.findall(r'<input type="hidden" name="([\w-]+)" value="([^"]*)">', found[0])
    typed = re.findall(r'<input class="input" id="[^"]*" name="([\w-]+)" value="([^"]*)"', found[0])
    return dict([*hidden, *typed])


def test_every_plate_is_set_with_a_tap_outward_from_the_stop_screw(client: TestClient, shop: Database) -> None:
    visit_id = begun(shop)
    assert f'href="{PLATES}"' in client.get(HERE).text
    first = fields(client.get(PLATES).text, f"{PLATES}/start")
    answer = client.post(f"{PLATES}/start", data={**first, "cold-and-off": "1", "hand-gauged": "1"})
    assert (answer.status_code, answer.headers["location"]) == (303, PLATES)
    for _ in V8.bores:
        sent = client.post(PLATES, data=fields(client.get(PLATES).text, PLATES))
        assert (sent.status_code, sent.headers["location"]) == (303, PLATES)
    assert "Cold setting complete" in client.get(PLATES).text
    told = visit_record(shop, visit_id)
    assert [made.bore for made in told.set_cold] == [1, 2, 3, 4, 5, 6, 7, 8]
    assert [made.gap for made in told.set_cold] == pytest.approx([3.5 * THOU] * 8)
    assert all(made.gauged for made in told.set_cold)
    page = client.get(HERE).text
    assert "Plates 1 2 3 4 5 6 7 8 set cold on the 0.0035\u00a0in feeler by a gauged hand." in page
    assert "set cold on the 0.0035\u00a0in feeler" in client.get("/visits/1/sheet").text


def test_the_offer_says_what_it_costs_and_where_it_pays_and_not_now_ends_it(client: TestClient, shop: Database) -> None:
    visit(shop, engine(shop))
    page = client.get(HERE).text
    assert re.search(r"about 13\u00a0min cold, saves only \d\u00a0min hot", page)
    assert "does not pay in minutes" in page
    assert page.index("Checklist</h2>") > page.index("Not now")  # in the column beside it
    action = f"{HERE}/checks"
    form = re.search(r'<form[^>]*aria-label="Not now".*?</form>', page, re.DOTALL)
    assert form is not None
    sent = dict(re.findall(r'name="([\w-]+)" value="([^"]*)"', form[0]))
    assert client.post(action, data=sent).status_code == 303
    page = client.get(HERE).text
    assert "Not now" not in page
    assert "Plates not set cold on one feeler" in page  # with its button to undo it
    assert 'value="cold-setting-declined"' in page


def test_what_makes_it_save_more_is_asked_beside_the_offer(client: TestClient, shop: Database) -> None:
    begun(shop)
    saved = [_saved(client.get(HERE).text)]
    for item in ("hand-gauged", "couplers-new"):
        page = client.get(HERE).text
        assert f'name="{item}"' in page
        sent = {**fields(page, f"{PLATES}/facts"), item: "1"}
        assert client.post(f"{PLATES}/facts", data=sent).headers["location"] == HERE
        saved.append(_saved(client.get(HERE).text))
    assert saved[-1] > saved[0]
    assert "/plates/facts" not in client.get(HERE).text


def _saved(page: str) -> int:
    found = re.search(r"saves (?:about|only) (\d+)\u00a0min hot", page)
    assert found is not None
    return int(found[1])


def test_it_is_not_offered_away_from_the_engine(client: TestClient, shop: Database) -> None:
    begun(shop, place="telephone")
    assert "Cold setting" not in client.get(HERE).text
    assert client.get(PLATES).headers["location"] == HERE


def test_it_is_not_offered_once_the_engine_ran(client: TestClient, shop: Database) -> None:
    visit_id = begun(shop)
    check_all(shop, visit_id, FIRST_FIRE)
    assert "Cold setting" not in client.get(HERE).text
    sent = {"key": key(), "by": "KM", "bore": "1", "leaf": "0.0035"}
    answer = client.post(PLATES, data=sent)
    assert answer.status_code == 422
    assert on_page(Rejection.ENGINE_HAS_RUN) in answer.text


def test_what_is_missing_before_the_first_plate_is_asked_for(client: TestClient, shop: Database) -> None:
    visit_id = visit(shop, engine(shop))
    assert (
        "First record in the checklist that every plate closes fully, and the preset turns." in client.get(PLATES).text
    )
    check_all(shop, visit_id, COLD_PRESET)
    page = client.get(PLATES).text
    assert "no motor moves a plate" in page
    assert "Set and checked" not in page
    answer = client.post(PLATES, data={"key": key(), "by": "KM", "bore": "1", "leaf": "0.0035"})
    assert answer.status_code == 422
    assert on_page(Rejection.COLD_SETTING_UNSAFE) in answer.text


def test_a_feeler_told_wrongly_is_corrected_and_another_one_is_kept_for_the_next(
    client: TestClient, shop: Database
) -> None:
    visit_id = begun(shop)
    checks.record(shop, visit_id, key(), COLD_PRESET.slug, {"cold-and-off": None}, "KM", AT)
    first = fields(client.get(PLATES).text, PLATES)
    client.post(PLATES, data={**first, "leaf": "0.003", "second_leaf": "0.0015"})
    assert fields(client.get(PLATES).text, PLATES)["second_leaf"] == "0.0015"
    row = visit_record(shop, visit_id).cold_settings[0]
    sent = {**first, "key": key(), "leaf": "0.004", "second_leaf": "", "supersedes": str(row.ident)}
    assert client.post(PLATES, data=sent).status_code == 303
    assert visit_record(shop, visit_id).set_cold[0].gap == pytest.approx(4 * THOU)
    assert client.get(f"{HERE}/moves/change?move={row.ident}").status_code == 404  # superseded
    now = visit_record(shop, visit_id).cold_settings[0].ident
    assert client.get(f"{HERE}/moves/change?move={now}").headers["location"] == PLATES
    assert "Plate 1 set cold" in client.get(f"{HERE}/recorded").text
    bad = client.post(PLATES, data={**sent, "key": key(), "supersedes": "", "leaf": "0.9"})
    assert bad.status_code == 422
    assert "for all feelers together" in bad.text


@pytest.mark.parametrize(("saved", "first"), [(13.5, True), (13.3, False)])
def test_it_stands_before_the_checklist_only_where_it_pays(
    client: TestClient, shop: Database, monkeypatch: pytest.MonkeyPatch, saved: float, first: bool
) -> None:
    foreseen = Foreseen(13.4, 20.0, 20.0 - saved, 0.05, 0.02)
    monkeypatch.setattr("app.shop.assessment.cold_setting.foresee", lambda *_: foreseen)
    begun(shop)
    page = client.get(HERE).text
    assert ("For this engine it pays." in page) is first
    assert ("saves only" in page) is not first
    assert (page.index('class="preset"') < page.index("Not now") < page.index("Checklist</h2>")) is first


def test_a_coupler_with_a_screw_is_set_by_its_screw(client: TestClient, shop: Database) -> None:
    visit_id = begun(shop, TWINS)
    checks.record(shop, visit_id, key(), COLD_PRESET.slug, {"cold-and-off": None}, "KM", AT)
    assert "Turn the stop screw until the feeler just drags" in client.get(PLATES).text
    client.post(PLATES, data=fields(client.get(PLATES).text, PLATES))
    assert "Turn the screw of coupler 2–3 until the feeler just drags" in client.get(PLATES).text


@pytest.fixture
def browser_context_args(
    browser_context_args: Mapping[str, object], request: pytest.FixtureRequest
) -> dict[str, object]:
    return {**browser_context_args, "viewport": getattr(request, "param", SIZES[0]), "has_touch": True}


@pytest.mark.parametrize("browser_context_args", SIZES, indirect=True, ids=lambda size: f"{size['width']}")
def test_a_technician_sets_all_plates_and_goes_on(page: Page, shop: Database) -> None:
    begun(shop, FOUR)
    with serving(shop) as server:
        page.goto(f"{server}{HERE}")
        page.get_by_role("link", name="Set plates").click()
        page.get_by_label(re.compile("^Engine cold")).check()
        page.get_by_role("button", name="Start").click()
        for bore in FOUR.bores:
            expect(page.get_by_role("heading", name=re.compile(f"^Plate {bore} "))).to_be_visible()
            assert page.evaluate("document.documentElement.scrollWidth - innerWidth") <= 0
            assert faults(page) == []
            page.get_by_role("button", name="Set and checked").click()
        expect(page.get_by_role("heading", name="Cold setting complete")).to_be_visible()
        page.get_by_role("link", name="Continue").click()
        expect(page.get_by_role("heading", name="First fire").first).to_be_visible()
