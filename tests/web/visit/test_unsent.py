"""What a person ticks and types while the page is on its way to be drawn anew is still there when it came."""

from collections.abc import Callable

import pytest
from playwright.sync_api import Page, Route, expect

from app.shop.commands import checks
from app.shop.procedure.phases import COLD_PRESET
from app.shop.store.database import Database
from app.wording.work.phases import item_label
from tests.shop.yard import AT, V8, engine, key, visit, visit_record
from tests.waiting import until


@pytest.fixture
def held(page: Page) -> Callable[[], None]:
    """Keeps what is sent to take an item back until it is called."""
    routes: list[Route] = []
    page.route("**/checks/back", lambda route: routes.append(route))

    def release() -> None:
        def sent() -> bool:
            page.wait_for_timeout(20)  # while it waits the page's events are heard
            return bool(routes)

        until(sent)
        routes[0].continue_()

    return release


def test_a_tick_outlives_the_page_that_comes_for_another_tap(
    page: Page, server: str, shop: Database, held: Callable[[], None]
) -> None:
    visit_id = visit(shop, engine(shop, V8))
    checks.record(shop, visit_id, key(), COLD_PRESET.slug, {"wide-open": None, "base-blade": 3.0}, "KM", AT)
    page.goto(f"{server}/visits/{visit_id}/{COLD_PRESET.slug}")
    for folded in ("The whole list", "2 done"):
        page.get_by_text(folded, exact=True).click()
    form = page.get_by_role("form", name="Checklist")
    before = form.locator("input[name=key]").get_attribute("value")
    page.get_by_role("button", name=f"Undo: {item_label('wide-open', ())}").click()
    form.locator("input[name=battery-off]").check()
    form.locator("input[name=preset-turns]").fill("1.25")
    held()
    expect(form.locator("input[name=key]")).not_to_have_value(before or "")  # a page drawn anew
    expect(form.locator("input[name=battery-off]")).to_be_checked()
    expect(form.locator("input[name=preset-turns]")).to_have_value("1.25")
    expect(form.locator("input[name=wide-open]")).not_to_be_checked()
    form.get_by_role("button", name="Save").click()
    until(lambda: (COLD_PRESET.slug, "battery-off") in visit_record(shop, visit_id).checks)
    assert (COLD_PRESET.slug, "preset-turns") in visit_record(shop, visit_id).checks


def test_what_was_sent_is_not_told_twice(page: Page, server: str, shop: Database) -> None:
    visit_id = visit(shop, engine(shop, V8))
    page.goto(f"{server}/visits/{visit_id}/{COLD_PRESET.slug}")
    page.get_by_text("The whole list", exact=True).click()
    form = page.get_by_role("form", name="Checklist")
    form.locator("input[name=preset-turns]").fill("1.25")
    form.get_by_role("button", name="Save").click()
    expect(page.get_by_text("1 done", exact=True)).to_be_visible()
    figure = form.locator("input[name=preset-turns]")
    assert figure.input_value() == figure.get_attribute("value")
    expect(form.locator("input[name=battery-off]")).not_to_be_checked()
