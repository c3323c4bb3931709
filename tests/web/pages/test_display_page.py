"""The look of one tablet is chosen on it, kept on it, and holds on every page, with or without script."""

import pytest
from playwright.sync_api import Page, expect
from starlette.testclient import TestClient

from app.shop.procedure.phases import HEAT_SOAKED
from app.shop.store.database import Database
from app.web.application import create_app
from tests.browser import NewContext
from tests.shop.yard import heat_soaked

ORIGIN = "http://127.0.0.1"
AWAKE = """
window.asked = [];
Object.defineProperty(navigator, "wakeLock", { value: { request: async (kind) => {
  window.asked.push(kind);
  return { released: false, release() { this.released = true; window.asked.push("let go"); } };
} } });
"""


@pytest.fixture(params=[True, False], ids=["script", "no script"])
def page(new_context: NewContext, request: pytest.FixtureRequest) -> Page:
    return new_context(java_script_enabled=request.param).new_page()


def test_dark_and_left_handed_hold_on_the_readings_too(page: Page, server: str, shop: Database) -> None:
    visit_id = heat_soaked(shop)
    page.goto(server)
    page.get_by_role("link", name="This tablet").click()
    for choice in ("Dark", "Keypad on the left", "Front on the right"):
        page.get_by_text(choice, exact=True).click()
    page.get_by_role("button", name="Save").click()
    expect(page.get_by_label("Dark")).to_be_checked()
    page.goto(f"{server}/visits/{visit_id}/{HEAT_SOAKED.slug}/readings")
    expect(page.locator("html")).to_have_css("color-scheme", "dark")
    keypad, engine = page.get_by_role("form", name="Keypad"), page.get_by_role("region", name="Engine from above")
    left, right = keypad.bounding_box(), engine.bounding_box()
    first, last = page.locator("[data-bore='1']").bounding_box(), page.locator("[data-bore='4']").bounding_box()
    assert left is not None
    assert right is not None
    assert first is not None
    assert last is not None
    assert left["x"] < right["x"]
    assert last["x"] < first["x"]


def test_what_is_no_choice_is_none(shop: Database) -> None:
    with TestClient(create_app(shop), base_url=ORIGIN, headers={"Origin": ORIGIN}) as client:
        client.cookies.set("look", '"><script>')
        assert "data-look" not in client.get("/").text
        assert client.post("/look", data={"look": "dark", "hand": "third"}).status_code == 200
        assert 'data-look="dark"' in client.get("/").text
        assert "data-hand" not in client.get("/").text


def test_a_visit_keeps_the_screen_awake_and_the_board_lets_it_sleep(
    new_context: NewContext, server: str, shop: Database
) -> None:
    visit_id = heat_soaked(shop)
    page = new_context().new_page()
    page.add_init_script(AWAKE)
    page.goto(f"{server}/visits/{visit_id}/{HEAT_SOAKED.slug}/readings")
    page.get_by_role("link", name="Engines").click()
    expect(page.get_by_role("link", name="New engine")).to_be_visible()
    page.wait_for_function("() => window.asked.length === 2")
    assert page.evaluate("window.asked") == ["screen", "let go"]
