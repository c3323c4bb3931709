"""What a refusal points to: the field that can be mended, or none where no field can."""

from collections.abc import Iterator
from typing import Any

import pytest
from starlette.testclient import TestClient

from app.shop.store.database import Database
from app.web.application import create_app
from tests.shop.yard import FOUR, engine, heat_soaked, key, visit
from tests.web.api.problem_documents import at_fault, codes, problem

HOT = "/api/visits/1/phases/heat-soaked-recheck"


@pytest.fixture
def client(shop: Database) -> Iterator[TestClient]:
    with TestClient(create_app(shop), base_url="http://127.0.0.1") as opened:
        yield opened


def test_the_alternative_of_a_body_is_no_part_of_the_pointer(client: TestClient, shop: Database) -> None:
    heat_soaked(shop, FOUR)
    body = {"key": key(), "kind": "turn", "round": 2, "bore": 1, "value": "six", "by": "KM"}
    assert at_fault(problem(client.post(f"{HOT}/readings", json=body), 422)) == ["#/value"]


@pytest.mark.parametrize(
    ("operation", "sent", "code"),
    [
        ("readings", {"kind": "jump"}, "not-one-of"),
        ("readings", {}, "required"),
        ("moves", {"kind": "coupler"}, "not-one-of"),
        ("moves", {}, "required"),
        ("moves", {"kind": 5}, "wrong-type"),
    ],
)
def test_a_body_of_no_known_kind_is_pointed_to_by_its_kind(
    client: TestClient, shop: Database, operation: str, sent: dict[str, Any], code: str
) -> None:
    heat_soaked(shop, FOUR)
    said = problem(client.post(f"{HOT}/{operation}", json={"key": key(), "by": "KM", **sent}), 422)
    assert codes(said) == {"#/kind": code}
    assert "further" not in said["errors"][0]["detail"], "a name of the program's own, which no body can send"


def test_what_no_field_can_mend_is_pointed_to_by_none(client: TestClient, shop: Database) -> None:
    visit(shop, engine(shop, FOUR))
    opened = {"key": key(), "by": "KM", "place": "test cell", "meter_id": 1}
    for path, sent, code in (
        ("/api/engines/1/visits", opened, "visit-open"),
        ("/api/visits/1/sign-off", {"key": key(), "name": "Foreman of the yard"}, "phases-incomplete"),
        (
            "/api/engines/1/fittings",
            {"key": key(), "why": "Measured", "layout": {"banks": [{"bores": [1, 2]}]}},
            "visit-open",
        ),
    ):
        said = problem(client.post(path, json=sent), 422)
        assert said["code"] == code
        assert "errors" not in said


def test_checks_of_nothing_are_wrong_in_no_field(client: TestClient, shop: Database) -> None:
    heat_soaked(shop, FOUR)
    said = problem(client.post(f"{HOT}/checks", json={"key": key(), "by": "KM"}), 422)
    assert said["code"] == "nothing-entered"
    assert "errors" not in said


def test_a_move_before_the_first_reading_is_wrong_in_no_field(client: TestClient, shop: Database) -> None:
    heat_soaked(shop, FOUR)
    sent = {"key": key(), "by": "KM", "kind": "stop", "bank": "A", "turns": 0.125}
    said = problem(client.post(f"{HOT}/moves", json=sent), 422)
    assert said["code"] == "adjusted-before-reading"
    assert "errors" not in said


def test_a_second_opening_still_names_the_fields_that_are_wrong(client: TestClient, shop: Database) -> None:
    visit(shop, engine(shop, FOUR))
    sent = {"key": key(), "by": "KM", "place": "test cell", "meter_id": 99}
    assert codes(problem(client.post("/api/engines/1/visits", json=sent), 422)) == {"#/meter_id": "no-such-meter"}
