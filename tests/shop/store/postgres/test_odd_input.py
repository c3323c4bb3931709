"""What no table can hold is refused in words, whichever engine holds the records: never an error of the program."""

from collections.abc import Iterator

import pytest
from fastapi.testclient import TestClient

from app.shop.store.database import Database
from app.web.application import create_app
from tests.shop.yard import FOUR, engine, heat_soaked, key

GREAT = (2**31, 2**40, 2**63 - 1, 2**63, 2**70)
PATHS = (
    *("/engines/{0}", "/visits/{0}/heat-soaked-recheck", "/visits/{0}/sheet", "/api/engines/{0}", "/api/visits/{0}"),
    *("/api/visits/{0}/advice", "/api/meters/{0}", "/api/changes?after={0}", "/audit?skip={0}"),
)


@pytest.fixture
def client(server_shop: Database) -> Iterator[TestClient]:
    """A browser at the shop computer."""
    with TestClient(create_app(server_shop), base_url="http://127.0.0.1:8000", raise_server_exceptions=False) as one:
        yield one


def body() -> dict[str, object]:
    """A reading that is stored."""
    return {"key": key(), "round": 2, "bore": 1, "kind": "turn", "value": 6.25, "by": "KM"}


@pytest.mark.parametrize("number", GREAT)
def test_a_number_that_nothing_has_is_no_error(client: TestClient, server_shop: Database, number: int) -> None:
    engine(server_shop, FOUR)
    assert {path: client.get(path.format(number)).status_code >= 500 for path in PATHS} == dict.fromkeys(PATHS, False)


def test_a_sign_that_no_text_can_hold_is_refused(client: TestClient, server_shop: Database) -> None:
    visit_id = heat_soaked(server_shop, FOUR)
    here = f"/api/visits/{visit_id}/phases/heat-soaked-recheck/readings"
    assert 400 <= client.post(here, json={**body(), "by": "K\x00M"}).status_code < 500
    form = {"key": key(), "round": "2", "bore": "1", "value": "6.25", "by": "K\x00M"}
    assert 400 <= client.post(f"/visits/{visit_id}/heat-soaked-recheck/readings", data=form).status_code < 500
    assert client.post(here, json=body()).status_code == 201
    for path in ("/?q=a%00b", "/api/engines?q=a%00b", "/tag/%00", "/api/engines?serial=a%00b"):
        assert client.get(path).status_code < 500, path


@pytest.mark.parametrize("number", [2**31, 2**63, 2**70])
def test_a_number_past_what_a_column_holds_is_refused(client: TestClient, server_shop: Database, number: int) -> None:
    visit_id = heat_soaked(server_shop, FOUR)
    here = f"/api/visits/{visit_id}/phases/heat-soaked-recheck/readings"
    for field in ("bore", "round", "supersedes"):
        assert 400 <= client.post(here, json={**body(), field: number}).status_code < 500, field
    assert client.post(here, json=body()).status_code == 201
