"""A form that goes straight over says so when it was not saved, and keeps what was typed."""

from playwright.sync_api import Page, expect

from app.shop.commands import engines
from app.shop.store.database import Database
from tests.web.tablet import said


def test_a_form_without_a_link_keeps_what_was_typed_and_is_sent_again_once(
    page: Page, server: str, shop: Database
) -> None:
    page.goto(f"{server}/engines/new")
    page.get_by_label("Serial").fill("31-0217")
    page.get_by_label("Description").fill("Eight")
    page.get_by_label("Displacement").fill("3.9")
    page.get_by_label("Target idle speed").fill("850")
    page.context.set_offline(True)
    page.get_by_role("button", name="Register engine").click()
    expect(page.locator("#link-state")).to_have_text(said("no-connection") + said("tap-again"))
    expect(page.get_by_label("Serial")).to_have_value("31-0217")
    page.context.set_offline(False)
    page.get_by_role("button", name="Register engine").click()
    expect(page.get_by_role("heading", name="Engine 31-0217")).to_be_visible()
    expect(page.locator("#link-state")).to_contain_text("All saved")
    with shop.reading() as session:
        assert engines.count(session) == 1
