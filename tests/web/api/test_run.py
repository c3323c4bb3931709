"""A bench program runs an engine from register to sign-off by the JSON interface alone."""

from collections.abc import Iterator
from pathlib import Path
from typing import Any

import httpx2
import pytest
from starlette.testclient import TestClient

from app.shop.commands.access.programs import let_one_in
from app.shop.commands.access.scopes import Scope
from app.shop.store.database import Database
from app.web.application import create_app
from tests.serving import serving
from tests.shop.yard import key
from tests.web.api import bench
from tests.web.api.bench import Program, patiently
from tests.web.api.bench_engine import FOUR, V8, Clock, engine

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


MOST_LINES = 150
"""What another shop should need to run an engine."""


def with_a_token(client: httpx2.Client, path: str, body: dict[str, Any]) -> dict[str, Any]:
    """Send a write once, in the token's time."""
    sent = patiently(lambda: client.post(path, json=body))
    assert sent.status_code == 201, sent.text
    answer: dict[str, Any] = sent.json()
    return answer


def test_a_program_with_a_token_runs_a_visit_on_a_running_server_and_each_row_names_it(shop: Database) -> None:
    clock = Clock()
    token = let_one_in(shop, key(), "Bench 2", {Scope.READ, Scope.RECORD, Scope.ENGINES, Scope.EVENTS}, 30, clock())
    headers = {"Authorization": f"Bearer {token}"}
    with serving(shop, clock) as address, httpx2.Client(base_url=address, headers=headers, timeout=60) as client:
        before = client.get("/api/changes?most=1").json()["newest"]
        program = Program(client, engine(FOUR, seed=3), clock, with_a_token)
        visit_id = program.run(program.register())
        assert program.ask(f"/api/visits/{visit_id}")["sign_off"] is not None
        told: list[dict[str, Any]] = []
        more = True
        while more:
            page = program.ask(f"/api/changes?after={before}")
            told, more, before = told + page["changes"], page["more"], page["changes"][-1]["seq"]
    named = {change["program"] for change in told if change["kind"] != "engine"}
    assert named == {"Bench 2"}
    assert {"fitting", "visit", "check", "round", "reading", "sign-off"} <= {change["kind"] for change in told}
    assert len(Path(bench.__file__).read_text().splitlines()) < MOST_LINES
