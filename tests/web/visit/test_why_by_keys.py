"""The cross-check by keyboard alone and without scripts, on both screens, with four to twelve bores."""

from collections.abc import Mapping

import pytest
from playwright.sync_api import Page, ViewportSize, expect

from app.shop.procedure.phases import HEAT_SOAKED
from app.shop.store.database import Database
from app.sync.engine.layout import Bank, Layout
from tests.serving import serving
from tests.shop.yard import FOUR, V8, heat_soaked, read_round

V12 = Layout((Bank("A", (1, 2, 3, 4, 5, 6), 1, 1), Bank("B", (7, 8, 9, 10, 11, 12), 7, 7)))
SCREENS: Mapping[str, ViewportSize] = {
    "landscape": {"width": 1180, "height": 820},
    "portrait": {"width": 820, "height": 1180},
}
MOST_KEYS = 60


def tab_to(page: Page, selector: str) -> None:
    """Press Tab until something is in focus."""
    for _ in range(MOST_KEYS):
        if page.locator(f"{selector}:focus").count():
            return
        page.keyboard.press("Tab")
    raise AssertionError(f"{selector} is not reached by Tab")


@pytest.fixture(params=list(SCREENS.values()), ids=list(SCREENS))
def browser_context_args(
    browser_context_args: Mapping[str, object], request: pytest.FixtureRequest
) -> dict[str, object]:
    """A tablet held both ways that runs no script."""
    return {**browser_context_args, "viewport": request.param, "java_script_enabled": False}


@pytest.mark.parametrize("layout", [FOUR, V8, V12], ids=["four", "eight", "twelve"])
def test_a_test_is_entered_by_keys_without_scripts(shop: Database, page: Page, layout: Layout) -> None:
    visit_id = heat_soaked(shop, layout)
    read_round(shop, visit_id, HEAT_SOAKED)
    with serving(shop) as home:
        page.goto(f"{home}/visits/{visit_id}/why?test=vacuum")
        for bore in layout.bores:
            tab_to(page, f"input[name=bore-{bore}]")
            page.keyboard.type(str(38 - 9 * (bore == 3)))
        page.keyboard.press("Enter")
        at = sorted(layout.bores).index(3)
        table = page.locator(".why-table")
        expect(table.locator("thead")).to_contain_text("Vacuum")
        expect(table.locator("tbody tr")).to_have_count(len(layout.bores))
        expect(table.locator("tbody tr").nth(at)).to_contain_text("29.0")
        tab_to(page, "summary:has-text('entries')")
        page.keyboard.press("Enter")
        expect(page.get_by_role("button", name="Take back: Vacuum, bore 3: 29")).to_be_visible()
        tab_to(page, "button[aria-label^='Take back: Vacuum, bore 3: 29']")
        page.keyboard.press("Enter")
        expect(table.locator("tbody tr").nth(at)).not_to_contain_text("29.0")
        widest = page.locator("main").evaluate("main => main.scrollWidth - main.clientWidth")
        assert widest <= 0
