"""Each kind of refusal under /api is a problem document, with the fields at fault, and stores nothing."""

import re
from collections.abc import Callable, Iterator
from typing import Any

import pytest
from starlette.testclient import TestClient

from app.shop.procedure.phases import HEAT_SOAKED
from app.shop.reasons import because
from app.shop.store.codes import Unavailable
from app.shop.store.database import Database, ShopUnavailableError
from app.web.api.interface import document
from app.web.application import create_app
from app.web.error_responses import PROBLEM
from tests.shop.yard import FOUR, engine, heat_soaked, key, read, read_round, visit, visit_record

HOT = "/api/visits/1/phases/heat-soaked-recheck"
ENGINE = {"serial": "31-0217", "displacement": 3.9, "idle_speed_rpm": 850, "layout": {"banks": [{"bores": [1, 2]}]}}


@pytest.fixture
def client(shop: Database) -> Iterator[TestClient]:
    app = create_app(shop)
    with TestClient(app, base_url="http://127.0.0.1", raise_server_exceptions=False) as opened:
        yield opened


def problem(answer: Any, status: int) -> dict[str, Any]:
    """The document, after a look at what every one has to have."""
    assert answer.status_code == status, answer.text
    assert answer.headers["content-type"] == PROBLEM
    said: dict[str, Any] = answer.json()
    assert said["type"] == "about:blank"
    assert said["status"] == status
    assert said["title"]
    assert said["detail"]
    return said


def at_fault(said: dict[str, Any]) -> list[str]:
    return sorted(fault.get("pointer") or fault["parameter"] for fault in said["errors"])


@pytest.mark.parametrize(
    "path",
    [
        "/api",
        "/api/nothing",
        "/api/engines/1",
        "/api/engines/one",
        "/api/engines/0",
        f"/api/visits/{2**63}",
        f"/api/visits/{10**30}",
        "/api/visits/1",
        "/api/visits/1/phases/no-such-phase",
        "/api/visits/1/phases/lock-down/advice",
    ],
)
def test_what_is_not_there(client: TestClient, path: str) -> None:
    problem(client.get(path), 404)


def test_a_method_that_is_not_taken_names_those_that_are(client: TestClient) -> None:
    answer = client.patch("/api/engines/1")
    problem(answer, 405)
    assert answer.headers["allow"] == "GET, PUT"


def test_every_field_that_is_wrong_is_named(client: TestClient) -> None:
    body = {**ENGINE, "key": "no key", "displacement": "3.9", "colour": "blue", "layout": {"banks": [{"bores": [0]}]}}
    said = problem(client.post("/api/engines", json=body), 422)
    assert at_fault(said) == ["#/colour", "#/displacement", "#/key", "#/layout/banks/0/bores/0"]


@pytest.mark.parametrize(
    ("changed", "pointer"),
    [
        ({"serial": " "}, "#/serial"),
        ({"displacement": 31}, "#/displacement"),
        ({"idle_speed_rpm": 30}, "#/idle_speed_rpm"),
        ({"hardware": {"bore_diameter_mm": 5}}, "#/hardware/bore_diameter_mm"),
        ({"layout": {"banks": [{"bores": [1, 2], "stop": 3}]}}, "#/layout/banks"),
        ({"layout": {"banks": [{"bores": [1, 2]}], "sensor": 9}}, "#/layout/sensor"),
        ({"layout": {"banks": [{"bores": []}]}}, "#/layout/banks/0/bores"),
    ],
)
def test_what_the_store_refuses_is_named_as_in_the_body(
    client: TestClient, changed: dict[str, Any], pointer: str
) -> None:
    said = problem(client.post("/api/engines", json={**ENGINE, "key": key(), **changed}), 422)
    assert pointer in at_fault(said)
    assert client.get("/api/engines").json() == []


def test_a_parameter_of_the_address_is_named(client: TestClient) -> None:
    assert at_fault(problem(client.get("/api/engines?most=0"), 422)) == ["most"]


def test_the_alternative_of_a_body_is_no_part_of_the_pointer(client: TestClient, shop: Database) -> None:
    heat_soaked(shop, FOUR)
    body = {"key": key(), "kind": "turn", "round": 2, "bore": 1, "value": "six", "by": "KM"}
    assert at_fault(problem(client.post(f"{HOT}/readings", json=body), 422)) == ["#/value"]
    assert at_fault(problem(client.post(f"{HOT}/readings", json={**body, "kind": "jump"}), 422)) == ["#"]


@pytest.mark.parametrize(
    ("body", "pointer"),
    [
        ({"kind": "stop", "bank": "C", "turns": 0.125}, "#/bank"),
        ({"kind": "stop", "bank": "A", "turns": 9.0}, "#/turns"),
        ({"kind": "link", "bank": "A", "flats": 1.0}, "#/kind"),
        ({"kind": "bypass", "bore": 9, "turns": 0.5}, "#/bore"),
        ({"kind": "bypass", "bore": 3, "turns": 0.5}, "#/bore"),
        ({"kind": "screw", "coupler": {"near": 1, "far": 2}, "turns": 0.125}, "#/coupler"),
        ({"kind": "blade", "coupler": {"near": 1, "far": 3}, "leaves_thou": [4.5]}, "#/coupler"),
        ({"kind": "blade", "coupler": {"near": 1, "far": 2}, "leaves_thou": []}, "#/leaves_thou"),
        ({"kind": "blade", "coupler": {"near": 1, "far": 2}, "leaves_thou": [90]}, "#/leaves_thou"),
    ],
)
def test_a_move_that_cannot_be(client: TestClient, shop: Database, body: dict[str, Any], pointer: str) -> None:
    heat_soaked(shop, FOUR)
    said = problem(client.post(f"{HOT}/moves", json={"key": key(), "by": "KM", **body}), 422)
    assert at_fault(said) == [pointer]
    assert visit_record(shop, 1).all_moves == ()


def test_checks_are_refused_by_item_and_all_together(client: TestClient, shop: Database) -> None:
    visit(shop, engine(shop))
    body = {"key": key(), "ticks": ["wide-open", "sing"], "numbers": {"base-blade": 90.0}, "by": "KM"}
    said = problem(client.post("/api/visits/1/phases/cold-preset/checks", json=body), 422)
    assert at_fault(said) == ["#/numbers/base-blade", "#/ticks/1"]
    assert visit_record(shop, 1).all_checks == ()


def test_what_was_not_recorded_cannot_be_taken_back(client: TestClient, shop: Database) -> None:
    visit(shop, engine(shop))
    path = "/api/visits/1/phases/cold-preset/checks/wide-open/taken-back"
    said = problem(client.post(path, json={"key": key(), "by": "KM"}), 422)
    assert "errors" not in said


def test_a_key_that_was_used_for_something_else(client: TestClient) -> None:
    body = {**ENGINE, "key": key()}
    assert client.post("/api/engines", json=body).status_code == 201
    said = problem(client.post("/api/engines", json={**body, "serial": "another"}), 409)
    assert at_fault(said) == ["#/key"]


def test_a_key_of_one_visit_records_nothing_in_another(client: TestClient, shop: Database) -> None:
    visit(shop, engine(shop))
    visit(shop, engine(shop, FOUR, serial="22-0098"))
    body = {"key": key(), "ticks": ["wide-open"], "by": "KM"}
    assert client.post("/api/visits/1/phases/cold-preset/checks", json=body).status_code == 201
    problem(client.post("/api/visits/2/phases/cold-preset/checks", json=body), 409)


def test_two_corrections_that_crossed(client: TestClient, shop: Database) -> None:
    engine(shop)
    facts = {name: ENGINE[name] for name in ("serial", "displacement", "idle_speed_rpm")}
    assert client.put("/api/engines/1", json={**facts, "vehicle": "Red coupe", "version": 1}).status_code == 200
    said = problem(client.put("/api/engines/1", json={**facts, "vehicle": "Green coupe", "version": 1}), 409)
    assert at_fault(said) == ["#/version"]


def test_a_phase_out_of_order_says_what_comes_first(client: TestClient, shop: Database) -> None:
    visit(shop, engine(shop))
    said = problem(client.post(f"{HOT}/rounds", json={"key": key()}), 422)
    assert said["detail"].startswith("First finish cold preset")
    assert "errors" not in said


def test_a_value_far_from_the_others_is_asked_about_once(client: TestClient, shop: Database) -> None:
    heat_soaked(shop, FOUR)
    for _ in range(3):
        read(shop, 1, HEAT_SOAKED)
    body = {"key": key(), "kind": "turn", "round": 2, "bore": 4, "value": 36.5, "by": "KM"}
    assert at_fault(problem(client.post(f"{HOT}/readings", json=body), 422)) == ["#/value"]
    assert client.post(f"{HOT}/readings", json={**body, "sure": True}).status_code == 201
    assert client.post(f"{HOT}/readings", json={**body, "sure": True}).status_code == 201
    assert visit_record(shop, 1).rounds[-1].latest[4].value == 36.5


def test_what_is_not_json(client: TestClient) -> None:
    sent = {"content-type": "application/json"}
    problem(client.post("/api/engines", content="{", headers=sent), 400)
    assert at_fault(problem(client.post("/api/engines", content="[]", headers=sent), 422)) == ["#"]


def test_no_write_takes_what_a_foreign_page_could_send_without_asking(client: TestClient, shop: Database) -> None:
    read_round(shop, heat_soaked(shop, FOUR), HEAT_SOAKED)
    for path, operations in document()["paths"].items():
        there = re.sub(r"{\w+_id}", "1", path).replace("{phase}", "heat-soaked-recheck").replace("{item}", "coolant")
        for method in {"post", "put", "patch", "delete"} & operations.keys():
            for kind in ("text/plain", "application/x-www-form-urlencoded", "multipart/form-data; boundary=x", ""):
                answer = client.request(method, there, content='{"key":"x"}', headers={"content-type": kind})
                problem(answer, 415)


@pytest.mark.parametrize(
    "headers",
    [{"origin": "http://other.example"}, {"origin": "null"}, {"sec-fetch-site": "cross-site"}],
)
def test_a_foreign_page_is_turned_away(client: TestClient, headers: dict[str, str]) -> None:
    problem(client.post("/api/engines", json={**ENGINE, "key": key()}, headers=headers), 403)
    assert client.get("/api/engines").json() == []


def test_a_page_of_this_server_may_write_too(client: TestClient) -> None:
    headers = {"origin": "http://127.0.0.1", "sec-fetch-site": "same-origin"}
    assert client.post("/api/engines", json={**ENGINE, "key": key()}, headers=headers).status_code == 201


def test_a_program_elsewhere_is_told_how_it_is_let_in(shop: Database) -> None:
    app = create_app(shop)
    with TestClient(app, base_url="http://192.168.7.20", client=("192.168.7.31", 50000)) as client:
        for answer in (client.get("/api/engines"), client.post("/api/engines", json={**ENGINE, "key": key()})):
            assert "/pair" in problem(answer, 401)["detail"]
    with TestClient(app, base_url="http://127.0.0.1") as client:
        assert client.get("/api/engines").json() == []


def test_too_much_at_once(client: TestClient) -> None:
    problem(client.post("/api/engines", json={**ENGINE, "description": "x" * 2_000_000}), 413)


def test_a_name_that_is_not_this_computers(client: TestClient) -> None:
    problem(client.get("/api/engines", headers={"host": "other.example"}), 400)


@pytest.mark.parametrize(
    ("error", "status"),
    [(ShopUnavailableError(because(Unavailable.DISK_FULL)), 503), (RuntimeError("a mistake inside"), 500)],
)
def test_what_breaks_down_inside(
    client: TestClient, shop: Database, monkeypatch: pytest.MonkeyPatch, error: Exception, status: int
) -> None:
    def breaks(*_: object) -> None:
        raise error

    monkeypatch.setattr(shop, "reading", breaks)
    said = problem(client.get("/api/engines"), status)
    assert "mistake" not in said["detail"]


CHECKED: list[tuple[str, Callable[[TestClient], Any]]] = [
    ("an unknown address", lambda client: client.get("/apish")),
    ("a page", lambda client: client.get("/engines/99")),
]


@pytest.mark.parametrize(("what", "send"), CHECKED, ids=[what for what, _ in CHECKED])
def test_pages_keep_their_own_words(client: TestClient, what: str, send: Callable[[TestClient], Any]) -> None:
    answer = send(client)
    assert (answer.status_code, answer.headers["content-type"]) == (404, "text/html; charset=utf-8"), what
