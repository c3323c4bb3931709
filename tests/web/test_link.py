"""When the shop computer does not answer, the page says so, keeps what was typed, and the next tap stores it once."""

from playwright.sync_api import expect, sync_playwright

from app.shop.database import Database
from app.shop.phases import HEAT_SOAKED
from tests.browser import launch
from tests.shop.yard import FOUR, heat_soaked, story


def test_a_tap_without_a_link_is_kept_and_sent_again_once(server: str, shop: Database) -> None:
    visit_id = heat_soaked(shop, FOUR)
    with sync_playwright() as playwright, launch(playwright) as browser:
        context = browser.new_context(viewport={"width": 1280, "height": 800})
        page = context.new_page()
        page.goto(f"{server}/visits/{visit_id}/{HEAT_SOAKED.slug}/readings")
        page.get_by_role("button", name="6", exact=True).click()
        context.set_offline(True)
        page.get_by_role("button", name=".25", exact=True).click()
        expect(page.get_by_role("status").filter(has_text="No link.")).to_be_visible()
        expect(page.locator("[data-typed]")).to_have_text("6.25")
        context.set_offline(False)
        page.get_by_role("button", name=".25", exact=True).click()
        expect(page.locator("#entry-heading")).to_have_text("Bore 2")
    assert [r.value for r in story(shop, visit_id).rounds[-1].entered] == [6.25]
