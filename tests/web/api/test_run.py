"""A bench program runs an engine from register to sign-off by the JSON interface alone."""

from collections.abc import Iterator
from typing import Any

import httpx2
import pytest
from starlette.testclient import TestClient

from app.shop.store.database import Database
from app.web.application import create_app
from tests.web.api.bench import FOUR, V8, Clock, Program, engine

CLOCK = Clock()


@pytest.fixture
def client(shop: Database) -> Iterator[TestClient]:
    with TestClient(create_app(shop, clock=CLOCK), base_url="http://127.0.0.1") as opened:
        yield opened


def twice(client: httpx2.Client, path: str, body: dict[str, Any]) -> dict[str, Any]:
    """Send a write, and once more as if no answer had come: the answer has to be the same."""
    first, again = client.post(path, json=body), client.post(path, json=body)
    assert first.status_code == 201, first.text
    assert (again.status_code, again.json()) == (201, first.json())
    answer: dict[str, Any] = first.json()
    return answer


def test_an_engine_goes_from_register_to_sign_off(client: TestClient) -> None:
    program = Program(client, engine(V8, seed=22, link_late=6.0), CLOCK, twice)
    visit_id = program.run(program.register())
    record = program.ask(f"/api/visits/{visit_id}/story")
    assert record["visit"]["sign_off"]["name"] == "Foreman of the yard"
    assert all(phase["done"] for phase in record["visit"]["phases"])
    assert {"measure", "link", "done"} <= set(program.kinds), program.kinds
    assert record["overrides"] == []
    last = record["rounds"][-1]
    assert (last["number"], last["closed"]) == (record["as_left"], True)
    values = program.bench.gaps.values()
    assert max(values) / min(values) < 1.2
    keys = [move["id"] for move in record["moves"]]
    assert len(keys) == len(set(keys)) == sum(kind in ("stop", "blade", "link") for kind in program.kinds)


def test_one_bank_has_nothing_to_balance(client: TestClient) -> None:
    program = Program(client, engine(FOUR, seed=3), CLOCK, twice)
    visit_id = program.run(program.register())
    assert program.ask(f"/api/visits/{visit_id}/banks") is None
    assert program.ask(f"/api/visits/{visit_id}")["current"] is None
