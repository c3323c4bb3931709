"""A form that goes straight over says so when it was not saved, and keeps what was typed."""

from playwright.sync_api import Page, expect

from app.shop.commands import engines
from app.shop.procedure.phases import COLD_PRESET
from app.shop.store.database import Database
from tests.proxy import Proxy
from tests.shop.yard import FOUR, engine, visit, visit_record
from tests.web.tablet import Tablet, said

ELSEWHERE = (
    b"HTTP/1.1 403 x\r\nX-Refused: This%20visit%20is%20at%20North.\r\nConnection: close\r\nContent-Length: 0\r\n\r\n"
)


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


def test_what_is_rejected_by_a_page_without_its_form_is_listed_with_its_reason(
    hand: Tablet, link: Proxy, shop: Database
) -> None:
    """As for a tablet that was moved to another site while a check waited on it."""
    visit_id = visit(shop, engine(shop, FOUR))
    hand.page.goto(f"{link.address}/visits/{visit_id}/{COLD_PRESET.slug}")
    link.fault, link.only = ELSEWHERE, b"POST"
    hand.page.get_by_role("button", name="Checked").first.click()
    back = hand.page.get_by_role("list", name="Not saved").get_by_role("listitem")
    hand.in_time(back, "This visit is at North.")
    assert not visit_record(shop, visit_id).checks
    link.fault = "pass"
    back.get_by_role("button", name=said("send-again")).click()
    hand.is_saved()
    expect(back).to_have_count(0)
    assert len(visit_record(shop, visit_id).checks) == 1
