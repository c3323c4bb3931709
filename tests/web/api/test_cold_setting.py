"""All plates set cold by a program: what is offered, set outward, and read back as moves."""

from collections.abc import Iterator
from typing import Any

import pytest
from starlette.testclient import TestClient

from app.shop.commands import checks
from app.shop.procedure.phases import COLD_PRESET, FIRST_FIRE
from app.shop.rejections import Rejection
from app.shop.store.database import Database
from app.web.application import create_app
from tests.shop.yard import AT, check_all, engine, key, visit

COLD = "/api/visits/1/cold-setting"


@pytest.fixture
def client(shop: Database) -> Iterator[TestClient]:
    with TestClient(create_app(shop), base_url="http://127.0.0.1") as opened:
        yield opened


@pytest.fixture
def visit_id(shop: Database) -> int:
    opened = visit(shop, engine(shop))
    check_all(shop, opened, COLD_PRESET)
    return opened


def sent(bore: int, **others: Any) -> dict[str, Any]:
    return {"key": key(), "bore": bore, "leaves_thou": [3.5], "by": "KM", **others}


def test_a_program_sets_every_plate_that_it_is_told_to(client: TestClient, shop: Database, visit_id: int) -> None:
    safe = {"key": key(), "ticks": ["cold-and-off", "hand-gauged"], "by": "KM"}
    assert client.post("/api/visits/1/phases/cold-preset/checks", json=safe).status_code == 201
    asked = {item["item"] for item in client.get("/api/visits/1/phases/cold-preset").json()["items"]}
    assert {"cold-and-off", "hand-gauged"} <= asked
    assert not {"couplers-new", "cold-setting-declined"} & asked  # asked for by nothing, and not recorded
    told = client.get(COLD).json()
    assert (told["safe"], told["preset"], told["gauged"], told["declined"]) == (True, True, True, False)
    assert told["foreseen"]["cold_minutes"] == 13.4
    assert told["foreseen"]["hot_minutes_with"] < told["foreseen"]["hot_minutes_without"]
    assert told["foreseen"]["pays"] is False
    made = []
    while (told := client.get(COLD).json())["next"] is not None:
        plate = next(one for one in told["plates"] if one["bore"] == told["next"])
        answer = client.post(f"{COLD}/plates", json=sent(told["next"], leaves_thou=told["leaves_thou"]))
        assert answer.status_code == 201, answer.text
        move = answer.json()
        assert (move["phase"], move["kind"], move["coupler"]) == ("cold-preset", plate["kind"], plate["coupler"])
        assert (move["turns"], move["flats"], move["leaves_thou"], move["stands"]) == (None, None, [3.5], True)
        made.append(move["id"])
    assert [plate["move"] for plate in told["plates"]] == made
    story = client.get("/api/visits/1/story").json()
    assert [move["id"] for move in story["moves"]] == made
    assert story["moves"][0]["sentence"] == "Plate 1 set cold on the 0.0035\u00a0in feeler."


def test_a_feeler_told_wrongly_is_superseded(client: TestClient, shop: Database, visit_id: int) -> None:
    checks.record(shop, visit_id, key(), COLD_PRESET.slug, {"cold-and-off": None}, "KM", AT)
    first = client.post(f"{COLD}/plates", json=sent(1)).json()
    second = client.post(f"{COLD}/plates", json=sent(1, leaves_thou=[4], supersedes=first["id"])).json()
    rows = client.get("/api/visits/1/story").json()["moves"]
    assert [(row["id"], row["stands"]) for row in rows] == [(first["id"], False), (second["id"], True)]
    assert client.get(COLD).json()["leaves_thou"] == [4]


@pytest.mark.parametrize(
    ("body", "code", "pointer"),
    [
        (sent(2), Rejection.SET_BEFORE, "#/bore"),
        (sent(9), Rejection.NOT_SET_COLD, "#/bore"),
        (sent(1, leaves_thou=[0.1]), Rejection.FEELERS_OUT_OF_RANGE, "#/leaves_thou"),
    ],
)
def test_what_cannot_be_set_is_refused_at_its_field(
    client: TestClient, shop: Database, visit_id: int, body: dict[str, Any], code: str, pointer: str
) -> None:
    checks.record(shop, visit_id, key(), COLD_PRESET.slug, {"cold-and-off": None}, "KM", AT)
    answer = client.post(f"{COLD}/plates", json=body)
    assert answer.status_code == 422
    assert [(error["code"], error["pointer"]) for error in answer.json()["errors"]] == [(code, pointer)]


def test_there_is_none_once_the_engine_ran(client: TestClient, shop: Database, visit_id: int) -> None:
    check_all(shop, visit_id, FIRST_FIRE)
    assert client.get(COLD).json() is None
    answer = client.post(f"{COLD}/plates", json=sent(1))
    assert (answer.status_code, answer.json()["code"]) == (422, Rejection.ENGINE_HAS_RUN)
