"""The accessibility checker axe-core, and the address of every page to hold to it."""

import importlib
import pkgutil
import re
from collections.abc import Iterable, Iterator, Mapping

from axe_playwright_python.sync_playwright import Axe  # type: ignore[import-untyped]
from fastapi.routing import APIRoute
from playwright.sync_api import Page
from starlette.routing import Route

import app.web.pages
from app.shop.procedure.phases import PHASES

AXE = Axe()
STRICTER = {"color-contrast-enhanced": {"enabled": True}, "target-size": {"enabled": True}}
COLORS = {"type": "rule", "values": ["color-contrast", "color-contrast-enhanced"]}
NO_PAGE = re.compile(r"\.(csv|json|zip|css)$|^/tag/|/news$|^/studies/")
"""Files, and what leads elsewhere; a study is checked by the tests of the meters' pages."""


def routes() -> list[Route]:
    """What the pages answer."""
    modules = [
        importlib.import_module(found.name) for found in pkgutil.walk_packages(app.web.pages.__path__, "app.web.pages.")
    ]
    found = [route for module in modules if hasattr(module, "router") for route in module.router.routes]
    return [route for route in found if isinstance(route, Route)]


def paths() -> list[str]:
    """An address of every page, by its route; a phase's page once for every phase."""
    known = {"{engine_id}": "1", "{meter_id}": "1", "{visit_id}": "1"}
    found: set[str] = set()
    for route in routes():
        if not isinstance(route, APIRoute) or "GET" not in (route.methods or ()) or NO_PAGE.search(route.path):
            continue
        path = route.path
        for name, value in known.items():
            path = path.replace(name, value)
        found |= {path.replace("{slug}", phase.slug) for phase in PHASES if "moves/new" not in path or phase.moves}
    return sorted(found)


def each_page(page: Page, address: str, paths: Iterable[str]) -> Iterator[str]:
    """Open what the paths lead to, every page once, and say by which path.

    404 is an answer as well: some pages are only there after the sign-off.
    """
    seen: set[str] = set()
    for path in paths:
        answer = page.goto(address + path)
        assert answer is not None
        assert answer.status in (200, 404), path
        if page.url not in seen:
            seen.add(page.url)
            yield path


def faults(page: Page, only: Mapping[str, object] | None = None) -> list[str]:
    """What axe finds wrong with the page as it stands."""
    if not page.evaluate("'axe' in window"):  # half a megabyte; a second look at a page needs no second copy
        page.evaluate(AXE.axe_script)
    options = {"resultTypes": ["violations"], **({"runOnly": only} if only else {"rules": STRICTER})}
    found = page.evaluate("(options) => axe.run(options).then((results) => results.violations)", options)
    return [f"{page.url}: {one['id']}: {node['html'][:200]}" for one in found for node in one["nodes"]]
