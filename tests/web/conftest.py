"""A browser without a screen: what a page of the shop computer itself asks and sends."""

from collections.abc import Iterator

import pytest
from starlette.testclient import TestClient

from app.shop.store.database import Database
from app.web.application import create_app

ORIGIN = "http://127.0.0.1"


@pytest.fixture
def client(shop: Database) -> Iterator[TestClient]:
    """Asks the application over the empty shop of this test, and follows no redirect."""
    with TestClient(create_app(shop), base_url=ORIGIN, headers={"Origin": ORIGIN}, follow_redirects=False) as opened:
        yield opened
