"""Each kind of refusal under /api is a problem document, with the fields at fault, and stores nothing."""

import re
from collections.abc import Callable, Iterator
from typing import Any

import pytest
from starlette.testclient import TestClient

from app.shop.procedure.codes import SetAside, SkipReason
from app.shop.procedure.phases import HEAT_SOAKED
from app.shop.procedure.requirements import Requirement, Waiting
from app.shop.reasons import because
from app.shop.record.fittings import FittingReason
from app.shop.rejections import Rejection
from app.shop.store.codes import Unavailable
from app.shop.store.database import Database, ShopUnavailableError
from app.sync.engine.layout import LayoutFault
from app.web.api.interface import document
from app.web.application import create_app
from app.wording.program.request_faults import FieldFault, RequestFault
from tests.shop.yard import FOUR, engine, heat_soaked, key, read, read_round, visit, visit_record
from tests.web.api.problem_documents import at_fault, codes, problem
from tests.web.api.published_codes import CODES
from tests.web.live.pushes import FEED, let_in

HOT = "/api/visits/1/phases/heat-soaked-recheck"
ENGINE = {"serial": "31-0217", "displacement": 3.9, "idle_speed_rpm": 850, "layout": {"banks": [{"bores": [1, 2]}]}}


@pytest.fixture
def client(shop: Database) -> Iterator[TestClient]:
    app = create_app(shop)
    with TestClient(app, base_url="http://127.0.0.1", raise_server_exceptions=False) as opened:
        yield opened


@pytest.mark.parametrize(
    ("path", "code"),
    [
        ("/api", "not-found"),
        ("/api/nothing", "not-found"),
        ("/api/engines/1", "no-such-engine"),
        ("/api/engines/one", "not-found"),
        ("/api/engines/0", "not-found"),
        (f"/api/visits/{2**63}", "not-found"),
        (f"/api/visits/{10**30}", "not-found"),
        ("/api/visits/1", "no-such-visit"),
        ("/api/visits/1/phases/no-such-phase", "not-found"),
        ("/api/visits/1/phases/lock-down/advice", "no-such-visit"),
    ],
)
def test_what_is_not_there(client: TestClient, path: str, code: str) -> None:
    assert problem(client.get(path), 404)["code"] == code


def test_a_method_that_is_not_taken_names_those_that_are(client: TestClient) -> None:
    answer = client.patch("/api/engines/1")
    assert problem(answer, 405)["code"] == "method-not-allowed"
    assert answer.headers["allow"] == "GET, PUT"


def test_every_field_that_is_wrong_is_named(client: TestClient) -> None:
    body = {**ENGINE, "key": "no key", "displacement": "3.9", "color": "blue", "layout": {"banks": [{"bores": [0]}]}}
    said = problem(client.post("/api/engines", json=body), 422)
    assert said["code"] == "wrong-shape"
    assert codes(said) == {
        "#/color": "unknown-field",
        "#/displacement": "wrong-type",
        "#/key": "not-a-uuid",
        "#/layout/banks/0/bores/0": "out-of-range",
    }


@pytest.mark.parametrize(
    ("changed", "place", "code"),
    [
        ({"serial": None}, "#/serial", "wrong-type"),
        ({"vehicle": "x" * 121}, "#/vehicle", "too-long"),
        ({"displacement_unit": "gallons"}, "#/displacement_unit", "not-one-of"),
        ({"layout": {"banks": []}}, "#/layout/banks", "too-short"),
        ({"layout": {}}, "#/layout/banks", "required"),
        ({"layout": {"banks": [{"bores": [1.5]}]}}, "#/layout/banks/0/bores/0", "wrong-type"),
    ],
)
def test_a_shape_that_is_not_described_has_a_code_of_ours(
    client: TestClient, changed: dict[str, Any], place: str, code: str
) -> None:
    said = problem(client.post("/api/engines", json={**ENGINE, "key": key(), **changed}), 422)
    assert codes(said) == {place: code}


def test_a_choice_is_told_by_its_options(client: TestClient) -> None:
    body = {**ENGINE, "key": key(), "displacement_unit": "gallons"}
    (fault,) = problem(client.post("/api/engines", json=body), 422)["errors"]
    assert fault["detail"] == "Send one of these: L, cu in."


@pytest.mark.parametrize(
    ("changed", "pointer", "code"),
    [
        ({"serial": " "}, "#/serial", "serial-missing"),
        ({"displacement": 31}, "#/displacement", "out-of-range"),
        ({"idle_speed_rpm": 30}, "#/idle_speed_rpm", "out-of-range"),
        ({"hardware": {"bore_diameter_mm": 5}}, "#/hardware/bore_diameter_mm", "out-of-range"),
        ({"layout": {"banks": [{"bores": [1, 2], "stop": 3}]}}, "#/layout/banks", "stop-not-in-bank"),
        ({"layout": {"banks": [{"bores": [1, 2]}], "sensor": 9}}, "#/layout/sensor", "sensor-not-a-bore"),
        ({"layout": {"banks": [{"bores": []}]}}, "#/layout/banks/0/bores", "bores-missing"),
    ],
)
def test_what_the_store_refuses_is_named_as_in_the_body(
    client: TestClient, changed: dict[str, Any], pointer: str, code: str
) -> None:
    said = problem(client.post("/api/engines", json={**ENGINE, "key": key(), **changed}), 422)
    assert codes(said)[pointer] == code
    assert client.get("/api/engines").json() == []


def test_a_parameter_of_the_address_is_named(client: TestClient) -> None:
    assert at_fault(problem(client.get("/api/engines?most=0"), 422)) == ["most"]


@pytest.mark.parametrize(
    ("body", "pointer", "code"),
    [
        ({"kind": "stop", "bank": "C", "turns": 0.125}, "#/bank", "no-such-bank"),
        ({"kind": "stop", "bank": "A", "turns": 9.0}, "#/turns", "turns-out-of-range"),
        ({"kind": "link", "bank": "A", "flats": 1.0}, "#/kind", "move-not-in-phase"),
        ({"kind": "bypass", "bore": 9, "turns": 0.5}, "#/bore", "no-such-bypass-screw"),
        ({"kind": "bypass", "bore": 3, "turns": 0.5}, "#/bore", "no-such-bypass-screw"),
        ({"kind": "screw", "coupler": {"near": 1, "far": 2}, "turns": 0.125}, "#/coupler", "coupler-has-no-screw"),
        ({"kind": "blade", "coupler": {"near": 1, "far": 3}, "leaves_thou": [4.5]}, "#/coupler", "no-such-coupler"),
        ({"kind": "blade", "coupler": {"near": 1, "far": 2}, "leaves_thou": []}, "#/leaves_thou", "feeler-count"),
        (
            {"kind": "blade", "coupler": {"near": 1, "far": 2}, "leaves_thou": [90]},
            "#/leaves_thou",
            "feelers-out-of-range",
        ),
    ],
)
def test_a_move_that_cannot_be(
    client: TestClient, shop: Database, body: dict[str, Any], pointer: str, code: str
) -> None:
    heat_soaked(shop, FOUR)
    said = problem(client.post(f"{HOT}/moves", json={"key": key(), "by": "KM", **body}), 422)
    assert codes(said) == {pointer: code}
    assert said["code"] == code
    assert visit_record(shop, 1).all_moves == ()


def test_checks_are_refused_by_item_and_all_together(client: TestClient, shop: Database) -> None:
    visit(shop, engine(shop))
    body = {"key": key(), "ticks": ["wide-open", "sing"], "numbers": {"base-blade": 90.0}, "by": "KM"}
    said = problem(client.post("/api/visits/1/phases/cold-preset/checks", json=body), 422)
    assert codes(said) == {"#/numbers/base-blade": "out-of-range", "#/ticks/1": "not-asked-for"}
    assert visit_record(shop, 1).all_checks == ()


def test_what_was_not_recorded_cannot_be_taken_back(client: TestClient, shop: Database) -> None:
    visit(shop, engine(shop))
    path = "/api/visits/1/phases/cold-preset/checks/wide-open/taken-back"
    said = problem(client.post(path, json={"key": key(), "by": "KM"}), 422)
    assert said["code"] == "nothing-to-undo"
    assert "errors" not in said


def test_a_key_that_was_used_for_something_else(client: TestClient) -> None:
    body = {**ENGINE, "key": key()}
    assert client.post("/api/engines", json=body).status_code == 201
    said = problem(client.post("/api/engines", json={**body, "serial": "another"}), 409)
    assert codes(said) == {"#/key": "key-reused"}


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
    assert codes(said) == {"#/version": "changed-by-another-tablet"}


def test_a_phase_out_of_order_says_what_comes_first(client: TestClient, shop: Database) -> None:
    visit(shop, engine(shop))
    said = problem(client.post(f"{HOT}/rounds", json={"key": key()}), 422)
    assert said["code"] == "earlier-phase"
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


def test_a_program_is_asked_from_1_6_times_and_told_by_a_code(client: TestClient, shop: Database) -> None:
    """Bores at 6.5: 10.25 is 1.58 times as much and kept, 10.5 is 1.62 times and asked about, and so is 4.0 below."""
    heat_soaked(shop, FOUR)
    for _ in range(3):
        read(shop, 1, HEAT_SOAKED)
    for value in (10.5, 4.0):
        body = {"key": key(), "kind": "turn", "round": 2, "bore": 4, "value": value, "by": "KM"}
        assert codes(problem(client.post(f"{HOT}/readings", json=body), 422)) == {"#/value": "far-off"}
    kept = {"key": key(), "kind": "turn", "round": 2, "bore": 4, "value": 10.25, "by": "KM"}
    assert client.post(f"{HOT}/readings", json=kept).status_code == 201


def test_what_is_not_json(client: TestClient) -> None:
    sent = {"content-type": "application/json"}
    assert problem(client.post("/api/engines", content="{", headers=sent), 400)["code"] == "not-json"
    assert at_fault(problem(client.post("/api/engines", content="[]", headers=sent), 422)) == ["#"]


def test_no_write_takes_what_a_foreign_page_could_send_without_asking(client: TestClient, shop: Database) -> None:
    read_round(shop, heat_soaked(shop, FOUR), HEAT_SOAKED)
    feed = {"authorization": f"Bearer {let_in(client)}"}  # without it the door does not look at what is sent
    for path, operations in document()["paths"].items():
        there = re.sub(r"{\w+_id}", "1", path).replace("{phase}", "heat-soaked-recheck").replace("{item}", "coolant")
        for method in {"post", "put", "patch", "delete"} & operations.keys():
            for kind in ("text/plain", "application/x-www-form-urlencoded", "multipart/form-data; boundary=x", ""):
                headers = {"content-type": kind, **(feed if path == FEED else {})}
                answer = client.request(method, there, content='{"key":"x"}', headers=headers)
                assert problem(answer, 415)["code"] == "json-expected"


@pytest.mark.parametrize(
    "headers",
    [{"origin": "http://other.example"}, {"origin": "null"}, {"sec-fetch-site": "cross-site"}],
)
def test_a_foreign_page_is_turned_away(client: TestClient, headers: dict[str, str]) -> None:
    answer = client.post("/api/engines", json={**ENGINE, "key": key()}, headers=headers)
    assert problem(answer, 403)["code"] == "foreign-origin"
    assert client.get("/api/engines").json() == []


def test_a_page_of_this_server_may_write_too(client: TestClient) -> None:
    headers = {"origin": "http://127.0.0.1", "sec-fetch-site": "same-origin"}
    assert client.post("/api/engines", json={**ENGINE, "key": key()}, headers=headers).status_code == 201


def test_a_program_elsewhere_is_told_how_it_is_let_in(shop: Database) -> None:
    app = create_app(shop)
    with TestClient(app, base_url="http://192.168.7.20", client=("192.168.7.31", 50000)) as client:
        for answer in (client.get("/api/engines"), client.post("/api/engines", json={**ENGINE, "key": key()})):
            said = problem(answer, 401)
            assert said["code"] == "not-paired"
            assert "Authorization: Bearer" in said["detail"]
            assert "Programs with access" in said["detail"]
            assert answer.headers["www-authenticate"].startswith("Bearer")
    with TestClient(app, base_url="http://127.0.0.1") as client:
        assert client.get("/api/engines").json() == []


def test_too_much_at_once(client: TestClient) -> None:
    answer = client.post("/api/engines", json={**ENGINE, "description": "x" * 2_000_000})
    assert problem(answer, 413)["code"] == "too-large"


def test_a_name_that_is_not_this_computers(client: TestClient) -> None:
    assert problem(client.get("/api/engines", headers={"host": "other.example"}), 400)["code"] == "unknown-host"


@pytest.mark.parametrize(
    ("error", "status", "code"),
    [
        (ShopUnavailableError(because(Unavailable.DISK_FULL)), 503, "disk-full"),
        (RuntimeError("a mistake inside"), 500, "internal-error"),
    ],
)
def test_what_breaks_down_inside(
    client: TestClient, shop: Database, monkeypatch: pytest.MonkeyPatch, error: Exception, status: int, code: str
) -> None:
    def breaks(*_: object) -> None:
        raise error

    monkeypatch.setattr(shop, "reading", breaks)
    said = problem(client.get("/api/engines"), status)
    assert said["code"] == code
    assert "mistake" not in said["detail"]


CHECKED: list[tuple[str, Callable[[TestClient], Any]]] = [
    ("an unknown address", lambda client: client.get("/apish")),
    ("a page", lambda client: client.get("/engines/99")),
]


@pytest.mark.parametrize(("what", "send"), CHECKED, ids=[what for what, _ in CHECKED])
def test_pages_keep_their_own_words(client: TestClient, what: str, send: Callable[[TestClient], Any]) -> None:
    answer = send(client)
    assert (answer.status_code, answer.headers["content-type"]) == (404, "text/html; charset=utf-8"), what


STORED = (SkipReason, SetAside, FittingReason)


def test_no_code_that_was_published_changes() -> None:
    enums = (Rejection, LayoutFault, RequestFault, FieldFault, Waiting, Requirement, *STORED, Unavailable)
    name, published = "", dict[str, set[str]]()
    for word in CODES.split():
        if word.endswith(":"):
            name = word[:-1]
            published[name] = set()
        else:
            published[name].add(word)
    assert published == {enum.__name__: {str(code) for code in enum} for enum in enums}


def test_the_description_says_that_every_problem_has_a_code() -> None:
    schemas = document()["components"]["schemas"]
    for name in ("Problem", "Fault"):
        assert "code" in schemas[name]["required"]
        assert schemas[name]["properties"]["code"]["type"] == "string"
    assert "`code` says why" in document()["info"]["description"]
