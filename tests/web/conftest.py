"""A browser without a screen: what a page of the shop computer itself asks and sends."""

from collections.abc import Iterator
from pathlib import Path

import pytest
from starlette.testclient import TestClient

from app.shop.store.database import Database
from app.shop.store.upgrade import open_shop
from app.web.application import create_app

ORIGIN = "http://127.0.0.1"


@pytest.fixture
def client(shop: Database) -> Iterator[TestClient]:
    """Asks the application over the empty shop of this test, and follows no redirect."""
    with TestClient(create_app(shop), base_url=ORIGIN, headers={"Origin": ORIGIN}, follow_redirects=False) as opened:
        yield opened


@pytest.fixture
def other(tmp_path: Path) -> Iterator[Database]:
    """A second shop."""
    opened = open_shop(tmp_path / "other")
    yield opened
    opened.close()
