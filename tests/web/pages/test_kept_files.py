"""Files of the program are kept by a browser under the version's path, and asked about under any other."""

import re

import pytest
from playwright.sync_api import Page
from starlette.testclient import TestClient

from app.shop.store.database import Database
from app.web.application import create_app
from app.web.kept_files import FOR_EVER, version


@pytest.mark.parametrize(
    "path", ["static/{}all.css", "static/{}tokens.css", "static/{}exchange/engine-6.schema.json", "lib/{}htmx.min.js"]
)
def test_only_what_is_named_by_the_version_is_kept(shop: Database, path: str) -> None:
    client = TestClient(create_app(shop), base_url="http://127.0.0.1")
    plain, ours, other = (client.get(path.format(under)) for under in ("", f"{version()}/", f"v{'0' * 16}/"))
    assert plain.content == ours.content == other.content
    assert [one.status_code for one in (plain, ours, other)] == [200] * 3
    assert [one.headers["cache-control"] for one in (plain, ours, other)] == ["no-cache", FOR_EVER, "no-cache"]


def test_no_file_that_is_missing_is_kept(shop: Database) -> None:
    answer = TestClient(create_app(shop), base_url="http://127.0.0.1").get(f"/static/{version()}/none.css")
    assert (answer.status_code, answer.headers["cache-control"]) == (404, "no-cache")


def test_a_page_names_its_files_by_the_version_and_has_them_without_asking_again(page: Page, server: str) -> None:
    page.goto(server)
    named = re.findall(r'(?:href|src)="(/(?:static|lib)/[^"]+)"', page.content())
    assert len(named) > 3
    assert all(f"/{version()}/" in one for one in named)
    page.goto(f"{server}/meters")
    asked = page.evaluate(
        """() => performance.getEntriesByType("resource")
            .filter((one) => /\\/(static|lib)\\//.test(one.name) && one.transferSize > 0).map((one) => one.name)"""
    )
    assert asked == []
