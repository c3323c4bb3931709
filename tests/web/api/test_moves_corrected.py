"""Moves and readings corrected by a program: what is answered, what follows, and which refusals it may rely on."""

from collections.abc import Iterator
from typing import Any

import pytest
from starlette.testclient import TestClient

from app.shop.procedure.phases import HEAT_SOAKED
from app.shop.procedure.requirements import Waiting
from app.shop.rejections import Rejection
from app.shop.store.database import Database
from app.web.application import create_app
from tests.shop.past import Past
from tests.shop.yard import FOUR, heat_soaked, key, read_round, visit_record

HOT = "/api/visits/1/phases/heat-soaked-recheck"
TURN = {"kind": "stop", "bank": "A", "turns": -0.125, "by": "KM"}


@pytest.fixture
def client(shop: Database) -> Iterator[TestClient]:
    heat_soaked(shop, FOUR)
    read_round(shop, 1, HEAT_SOAKED)
    with TestClient(create_app(shop), base_url="http://127.0.0.1") as opened:
        yield opened


def sent(client: TestClient, path: str, body: dict[str, Any], status: int = 201) -> dict[str, Any]:
    answer = client.post(f"{HOT}/{path}", json={"key": key(), **body})
    assert answer.status_code == status, answer.text
    told: dict[str, Any] = answer.json()
    return told


def test_a_move_taken_back_brings_its_round_back(client: TestClient) -> None:
    asked_before = client.get(f"{HOT}/advice").json()
    move = sent(client, "moves", TURN)
    assert client.get("/api/visits/1/rounds").json()[-1]["moved_since"] is True
    body = {"key": key(), "by": "EJ"}
    back, again = (sent(client, f"moves/{move['id']}/taken-back", body) for _ in range(2))
    assert back == again
    assert (back["supersedes"], back["taken_back"], back["stands"], back["by"]) == (move["id"], True, False, "EJ")
    assert client.get("/api/visits/1/rounds").json()[-1]["moved_since"] is False
    assert client.get(f"{HOT}/advice").json() == asked_before
    told = client.get("/api/visits/1/story").json()["moves"]
    assert [(m["stands"], m["taken_back"]) for m in told] == [(False, False), (False, True)]


def test_a_second_taking_back_is_answered_with_the_first(client: TestClient) -> None:
    move = sent(client, "moves", TURN)
    first, second = (sent(client, f"moves/{move['id']}/taken-back", {"by": by}) for by in ("KM", "EJ"))
    assert first == second


def test_a_changed_move_stands_in_the_place_of_the_wrong_one(client: TestClient) -> None:
    move = sent(client, "moves", TURN)
    reset = {"kind": "blade", "coupler": {"near": 2, "far": 3}, "leaves_thou": [3, 1.5], "by": "KM"}
    changed = sent(client, f"moves/{move['id']}/changed", reset)
    assert (changed["supersedes"], changed["stands"], changed["after_reading"]) == (
        move["id"],
        True,
        move["after_reading"],
    )
    assert changed["leaves_thou"] == [3, 1.5]
    assert [m["stands"] for m in client.get("/api/visits/1/story").json()["moves"]] == [False, True]


def test_what_cannot_be_corrected_has_a_code(client: TestClient) -> None:
    move = sent(client, "moves", TURN)["id"]
    too_far = sent(client, f"moves/{move}/changed", {**TURN, "turns": 40}, 422)
    assert (too_far["code"], too_far["errors"][0]["pointer"]) == (Rejection.TURNS_OUT_OF_RANGE, "#/turns")
    assert sent(client, "moves/4711/taken-back", {"by": "KM"}, 404)["code"] == Rejection.NO_SUCH_MOVE
    sent(client, f"moves/{move}/taken-back", {"by": "KM"})
    late = sent(client, f"moves/{move}/changed", TURN, 409)
    assert late["code"] == Rejection.MOVE_TAKEN_BACK
    other = client.post(f"/api/visits/1/phases/lock-down/moves/{move}/taken-back", json={"key": key(), "by": "KM"})
    assert (other.status_code, other.json()["code"]) == (404, Rejection.NO_SUCH_MOVE)


def test_after_the_sign_off_nothing_is_taken_back(client: TestClient, shop: Database) -> None:
    signed = Past(shop, serial="22-0098").visit([6.5] * 8, [6.5] * 8)
    (move,) = visit_record(shop, signed).moves
    path = f"/api/visits/{signed}/phases/heat-soaked-recheck/moves/{move.ident}/taken-back"
    refused = client.post(path, json={"key": key(), "by": "KM"})
    assert (refused.status_code, refused.json()["code"]) == (422, Waiting.SIGNED_OFF)


def test_a_reading_is_corrected_after_a_move(client: TestClient) -> None:
    first = client.get("/api/visits/1/rounds").json()[-1]
    wrong = first["readings"][1]
    sent(client, "moves", TURN)
    right = {"kind": "turn", "round": first["number"], "bore": wrong["bore"], "value": 6.75, "by": "KM"}
    sent(client, "readings", {**right, "supersedes": wrong["id"]})
    after = client.get("/api/visits/1/rounds").json()[-1]
    assert (after["number"], after["moved_since"]) == (first["number"], True)
    assert [r["value"] for r in after["readings"] if r["bore"] == wrong["bore"] and r["stands"]] == [6.75]
    assert client.get("/api/visits/1/story").json()["as_found"] == first["number"]


@pytest.mark.parametrize(
    ("body", "code", "pointer"),
    [
        ({"kind": "closing", "bore": 1}, Rejection.DRIFT_CHECK_LAST, "#/kind"),
        ({"kind": "again", "bore": 1}, Rejection.EXTRA_BEFORE_FIRST, "#/kind"),
    ],
)
def test_a_round_is_begun_by_a_bore_in_its_turn(
    client: TestClient, body: dict[str, Any], code: Rejection, pointer: str
) -> None:
    sent(client, "rounds", {})
    number = client.get("/api/visits/1/rounds").json()[-1]["number"]
    refused = sent(client, "readings", {**body, "round": number, "value": 6.5, "by": "KM"}, 422)
    assert (refused["code"], refused["errors"][0]["pointer"]) == (code, pointer)


def test_nothing_is_moved_before_the_hot_engine_is_read(shop: Database) -> None:
    heat_soaked(shop, FOUR)
    with TestClient(create_app(shop), base_url="http://127.0.0.1") as client:
        assert sent(client, "moves", TURN, 422)["code"] == Rejection.ADJUSTED_BEFORE_READING
