"""Pairing in a real browser: what a scanned picture carries arrives in the field, and never at the server."""

from playwright.sync_api import Page, expect

from app.shop.reasons import because
from app.shop.rejections import Rejection
from app.wording.reasons import in_words


def test_a_scanned_code_is_filled_in_and_taken_out_of_the_address(page: Page, server: str) -> None:
    asked: list[str] = []
    page.on("request", lambda request: asked.append(request.url))
    page.goto(f"{server}/pair#ABCD2345")
    expect(page.get_by_label("Code on the shop computer’s screen")).to_have_value("ABCD2345")
    expect(page.get_by_label("Name of this tablet")).to_be_focused()
    assert page.url == f"{server}/pair"
    page.get_by_role("button", name="Pair", exact=True).click()
    expect(page.get_by_text(in_words(because(Rejection.NAME_MISSING)))).to_be_visible()
    expect(page.get_by_label("Code on the shop computer’s screen")).to_have_value("ABCD2345")
    assert f"{server}/pair" in asked
