"""What a page weighs on the wire, files and all, in a browser that has nothing of it yet."""

from playwright.sync_api import Page, Request

from app.shop.procedure.phases import HEAT_SOAKED
from app.shop.store.database import Database
from tests.browser import NewContext
from tests.shop.yard import heat_soaked

MOST = 100_000
"""Bytes: a second or so of a poor Wi-Fi at 1 Mbit/s (this program's choice)."""

MOST_FILES = 12
"""Answers to wait for at the end of a shop's wireless network (our judgement)."""


def fetched(page: Page, address: str) -> list[Request]:
    """Everything a page asks for until it is whole."""
    asked: list[Request] = []
    page.on("requestfinished", lambda request: asked.append(request))
    page.goto(address)
    page.wait_for_function("() => document.fonts.status === 'loaded' && document.readyState === 'complete'")
    return list(asked)


def test_the_first_page_is_light_and_comes_from_here_alone(
    new_context: NewContext, server: str, shop: Database
) -> None:
    visit_id = heat_soaked(shop)
    for path in ("/", f"/visits/{visit_id}/{HEAT_SOAKED.slug}/readings"):
        asked = fetched(new_context().new_page(), server + path)
        sizes = [request.sizes() for request in asked]
        assert [one.resource_type for one in asked].count("font") == 1
        assert 4 < len(asked) <= MOST_FILES
        assert all(request.url.startswith(server) for request in asked)
        assert sum(one["responseBodySize"] + one["responseHeadersSize"] for one in sizes) < MOST
