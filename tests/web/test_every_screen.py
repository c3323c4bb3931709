"""Every page on every screen that it is held on: whole, no wider than the screen, with room between what is tapped."""

from collections.abc import Iterator, Mapping, Sequence
from contextlib import ExitStack
from datetime import UTC, datetime
from typing import Any

import pytest
from playwright.sync_api import Browser, BrowserType, Page, ViewportSize

from app.shop.demo import demo_shop
from app.shop.procedure.phases import PHASES
from app.shop.store.upgrade import open_shop
from tests.serving import serving
from tests.web.axe import each_page, faults, paths
from tests.web.more_pages import more_pages
from tests.web.screens import LARGE_TEXT, LOOK, SIZES, faults_on_screen

OPEN = (3, 5, 8, 10, 12, 15, 16)
"""Visits of the demonstration that are under way, one in every phase, on engines of four to twelve bores."""

TWELVE = "/visits/5/heat-soaked-recheck/readings"
"""Where a visit of twelve bores is read, which waits at its start list."""

LISTS = (3, 8, 15)
"""Those whose lists are looked at as well."""


def addresses(further: Sequence[str] = ()) -> list[str]:
    """Every page of a visit that is over, visits under way where they stand, lists of some, and ``further`` ones."""
    lists = [f"/visits/{visit}/{phase.slug}" for visit in LISTS for phase in PHASES]
    return [*paths(), *(f"/visits/{visit}" for visit in OPEN), *lists, TWELVE, "/studies/1", *further]


@pytest.fixture(scope="module")
def demonstration(tmp_path_factory: pytest.TempPathFactory) -> Iterator[tuple[str, Sequence[str]]]:
    """Where the demonstration shop is, and its pages."""
    with ExitStack() as opened:
        shop = open_shop(tmp_path_factory.mktemp("demonstration") / "shop")
        opened.callback(shop.close)
        demo_shop.fill(shop)
        pages = addresses(more_pages(shop))
        yield opened.enter_context(serving(shop, lambda: datetime.now(UTC))), pages


def walked(
    page: Page, shown: tuple[str, Sequence[str]], sizes: Mapping[str, ViewportSize], checked: str = ""
) -> dict[str, list[str]]:
    """What is wrong with the pages by size, each loaded once and each fault told once; at the size ``checked`` axe is
    asked as well."""
    found: dict[str, dict[str, str]] = {name: {} for name in sizes}
    for path in each_page(page, *shown):
        for name, size in sizes.items():
            for one in (*faults_on_screen(page, size), *(faults(page) if name == checked else ())):
                found[name].setdefault(one.removeprefix(page.url), path)
    return {name: [f"{path}{one}" for one, path in told.items()] for name, told in found.items()}


@pytest.fixture(scope="module")
def on_screens(
    browser: Browser, browser_context_args: dict[str, Any], demonstration: tuple[str, Sequence[str]]
) -> Mapping[str, Sequence[str]]:
    """What is wrong with any page by the name of the screen, which is turned and changed with the page loaded."""
    with browser.new_context(**browser_context_args) as context:
        return walked(context.new_page(), demonstration, SIZES, checked="phone")


@pytest.mark.slow
@pytest.mark.parametrize("size", SIZES)
def test_every_page_is_whole_on_a_screen(on_screens: Mapping[str, Sequence[str]], size: str) -> None:
    assert on_screens[size] == []


@pytest.mark.slow
def test_every_page_is_whole_in_text_of_twice_the_size(
    browser_type: BrowserType, browser_type_launch_args: dict[str, Any], demonstration: tuple[str, Sequence[str]]
) -> None:
    args = [*browser_type_launch_args["args"], LARGE_TEXT]
    with browser_type.launch(**{**browser_type_launch_args, "args": args}) as browser:
        page = browser.new_context(has_touch=True).new_page()
        assert walked(page, demonstration, {"landscape": SIZES["landscape"]}) == {"landscape": []}
        assert page.evaluate("parseFloat(getComputedStyle(document.documentElement).fontSize)") == 32


PLANTED = """<main><button>One</button><button>Two</button>
<div class="card" style="width:40px;white-space:nowrap">Longer than its card</div>
<p style="width:600px">Wider than the screen</p></main>"""


def test_each_fault_would_be_found(page: Page) -> None:
    page.set_viewport_size(SIZES["phone"])
    page.set_content(f"<style>body {{ margin: 0 }} button {{ margin: 0 -1px }}</style>{PLANTED}")
    found = "\n".join(page.evaluate(LOOK, [8]))
    assert "wider than the screen" in found
    assert "text leaves" in found
    assert "px between" in found
