"""The search box as a person meets it: what it finds follows the typing, and a scanner needs no tap."""

from collections.abc import Iterator

import pytest
from playwright.sync_api import Page, expect

from app.shop.commands import engines
from app.shop.queries.search import tag_of
from app.shop.store.database import Database
from tests.shop.yard import FOUR, engine, visit


@pytest.fixture
def page(page: Page) -> Iterator[Page]:
    """A page whose scripts may say nothing of an error."""
    heard: list[str] = []
    page.on("console", lambda said: heard.append(said.text) if said.type == "error" else None)
    page.on("pageerror", lambda error: heard.append(str(error)))
    yield page
    assert heard == []


def test_what_is_found_follows_the_typing(page: Page, server: str, shop: Database) -> None:
    visit(shop, engine(shop, serial="31-0217"))
    engine(shop, FOUR, serial="22-0098")
    page.goto(server)
    box = page.get_by_label("Find an engine")
    box.press_sequentially("009")
    expect(page.get_by_role("heading", name="Engines found")).to_be_visible()
    expect(page.get_by_role("link", name="22-0098")).to_be_visible()
    expect(page.get_by_role("link", name="31-0217")).to_have_count(0)
    expect(box).to_be_focused()
    assert page.url.endswith("?find=009")
    box.press_sequentially("9")
    expect(page.get_by_role("heading", name="Similar spelling")).to_be_visible()
    expect(page.get_by_role("link", name="22-0098")).to_be_visible()
    box.press_sequentially("77")
    expect(page.get_by_text("No engine matches “009977”")).to_be_visible()
    box.fill("")
    expect(page.get_by_role("heading", name="Engines in work")).to_be_visible()
    expect(page.get_by_role("link", name="31-0217")).to_be_visible()


def test_a_scanner_types_a_tag_without_a_tap(page: Page, server: str, shop: Database) -> None:
    engine(shop, FOUR, serial="22-0098")
    with shop.reading() as session:
        tag = tag_of(engines.get(session, 1).key)
    page.goto(server)
    page.keyboard.type(f"{server}/tag/{tag}")
    page.keyboard.press("Enter")
    expect(page.get_by_role("heading", name="Engine 22-0098")).to_be_visible()
    page.goto(f"{server}/tag/{tag}")
    expect(page.get_by_role("heading", name="Engine 22-0098")).to_be_visible()
