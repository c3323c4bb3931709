"""What programs are told: pointers at the field that is wrong, no words about pages, and what to do now, which ends."""

import re
from collections.abc import Callable
from typing import Any

import jsonschema_rs
import pytest
from starlette.testclient import TestClient

from app.shop.commands import checks, running
from app.shop.errors import RejectedError
from app.shop.procedure.phases import COLD_PRESET, FIRST_FIRE, HEAT_SOAKED, LOCK_DOWN
from app.shop.procedure.requirements import Waiting
from app.shop.reasons import because
from app.shop.rejections import Rejection
from app.shop.store.database import Database
from app.sync.engine.layout import LayoutFault
from app.web.api.interface import document
from app.wording.message import Message
from app.wording.program.request_faults import FieldFault, RequestFault
from app.wording.program.to_programs import TO_PROGRAMS, all_for_a_program, for_a_program
from app.wording.reasons import tables
from tests.shop.yard import AT, FOUR, check_all, key, read, read_round, ready_to_sign, visit_record
from tests.web.api.writes import COLD, HOT, TURN, cold, cold_checked, hot, hot_begun, hot_read

PAGE_WORDS = re.compile(r"\b(page|pages|reload|tablet|form|press|tap|keypad|screen|button|this field)\b", re.I)


@pytest.mark.parametrize(
    ("changed", "pointer", "code"),
    [
        ({"bore": 9}, "#/bore", "no-such-bore"),
        ({"round": 7}, "#/round", "another-round"),
        ({"value": 500.0}, "#/value", "out-of-range"),
        ({"value": 36.5}, "#/value", "far-off"),
        ({"supersedes": 99}, "#/supersedes", "changed-by-another-tablet"),
        ({"kind": "skip", "why": ""}, "#/why", "reason-missing"),
        ({"kind": "closing", "bore": 1}, "#/kind", "drift-check-last"),
        ({"from_above": True}, "#/from_above", "approach-differs"),
    ],
)
def test_what_is_wrong_with_a_reading_is_pointed_at(
    client: TestClient, shop: Database, changed: dict[str, Any], pointer: str, code: str
) -> None:
    hot_begun(shop)
    for _ in range(2):
        read(shop, 1, HEAT_SOAKED)
    body = {**TURN, "bore": 4, "key": key(), **changed}
    if body["kind"] == "skip":
        del body["value"]
    answer = client.post(f"{HOT}/readings", json=body)
    assert answer.status_code in (409, 422), answer.text
    assert [(one["pointer"], one["code"]) for one in answer.json()["errors"]] == [(pointer, code)]


def test_what_stands_before_a_phase_is_at_fault_in_no_field(client: TestClient, shop: Database) -> None:
    cold(shop)
    for path, body in (
        (f"{HOT}/readings", TURN),
        (f"{HOT}/readings/all-bores", {"round": 2, "values": [{"bore": 1, "value": 6.0, "sd": 0.01}], "by": "KM"}),
        (f"{HOT}/rounds", {}),
    ):
        said = client.post(path, json={**body, "key": key()}).json()
        assert (said["code"], "errors" in said) == ("earlier-phase", False), path


NOT_BY_PROGRAM = {
    *(Rejection.NO_SUCH_TAG, Rejection.NO_SUCH_TABLET, Rejection.NO_SUCH_TABLE, Rejection.NO_TRAINING_ENGINE),
    *(Rejection.FILE_LOST, Rejection.SENSOR_TWICE, Rejection.PAIR_TWICE),
    *(Rejection.NO_TEMPERATURE, Rejection.PAIRING_CODE_SHOWN, Rejection.PAIRING_CODE_WRONG),
}
"""What only pages are answered."""


@pytest.mark.parametrize("enum", [Rejection, Waiting, LayoutFault, FieldFault, RequestFault])
def test_no_sentence_for_a_program_speaks_of_pages(enum: Any) -> None:
    """The one of who is not let in names a page of the shop computer, where a person gets a token."""
    seen = 0
    for code, words in tables()[enum].items():
        told = TO_PROGRAMS.get(code, words)
        if not isinstance(told, Message) or code in NOT_BY_PROGRAM or code is RequestFault.NOT_PAIRED:
            continue
        said = told.text.replace("This field is", "It is")
        assert not PAGE_WORDS.search(said), (code, said)
        seen += 1
    assert seen > 5


def test_a_sentence_for_a_program_takes_the_values_of_the_one_for_people() -> None:
    told = because(Rejection.ANOTHER_ROUND, round=3)
    assert for_a_program(told).startswith("Round 3 is in progress")
    assert all_for_a_program(RejectedError({"a": told, "b": told})) == for_a_program(told)


def test_every_reason_of_a_step_is_one_of_those_that_are_described() -> None:
    shapes = document()["components"]["schemas"]
    for shape in ("AdviceTold", "ThenTold"):
        assert len(shapes[shape]["properties"]["why"]["enum"]) > 20
    assert "operation" in shapes["DoTold"]["properties"]
    operations = {one["operationId"] for path in document()["paths"].values() for one in path.values()}
    assert set(shapes["DoTold"]["properties"]["operation"]["enum"]) <= operations


def warming(shop: Database) -> None:
    cold_checked(shop)
    check_all(shop, 1, FIRST_FIRE)
    read_round(shop, 1, FIRST_FIRE)


def stopped(shop: Database) -> None:
    hot(shop)
    checks.record(shop, 1, key(), HEAT_SOAKED.slug, {"oil-pressure-hot": 30}, "KM", AT)


def standing(shop: Database) -> None:
    hot_begun(shop)
    running.stop(shop, 1, key(), "KM", AT)


def in_question(shop: Database) -> None:
    hot_begun(shop)
    read(shop, 1, HEAT_SOAKED, 7.5, bore=1)


def as_described(shape: str, told: object) -> None:
    """Every code is one of those that the description lists."""
    schemas = document()["components"]
    jsonschema_rs.validate({"$ref": f"#/components/schemas/{shape}", "components": schemas}, told)


@pytest.mark.parametrize(
    ("come_so_far", "phase", "operation", "where"),
    [
        (cold, COLD_PRESET, "record_checks", "cold-preset"),
        (cold, HEAT_SOAKED, "advice", "cold-preset"),
        (cold_checked, COLD_PRESET, "advice", "first-fire"),
        (cold_checked, FIRST_FIRE, "record_checks", "first-fire"),
        (hot, HEAT_SOAKED, "add_reading", "heat-soaked-recheck"),
        (hot_read, LOCK_DOWN, "record_checks", "lock-down"),
        (in_question, HEAT_SOAKED, "settle_readings", "heat-soaked-recheck"),
        (stopped, HEAT_SOAKED, "end_stop", None),
        (standing, HEAT_SOAKED, "engine_started", None),
        (ready_to_sign, LOCK_DOWN, "sign_off", None),
    ],
)
def test_what_to_do_now_is_told_as_an_operation(
    client: TestClient,
    shop: Database,
    come_so_far: Callable[[Database], object],
    phase: Any,
    operation: str,
    where: str | None,
) -> None:
    come_so_far(shop)
    told = client.get(f"/api/visits/1/phases/{phase.slug}/advice").json()
    as_described("AdviceTold", told)
    as_described("PhaseTold", client.get(f"/api/visits/1/phases/{phase.slug}").json())
    as_described("VisitTold", client.get("/api/visits/1").json())
    do = told["do"]
    assert (do["operation"], do["phase"]) == (operation, where)
    if operation in ("record_checks", "engine_started"):
        assert do["items"]


def test_a_program_that_follows_what_to_do_is_never_rejected_while_the_engine_gets_hot(
    client: TestClient, shop: Database
) -> None:
    """It used to be told to measure, and to be rejected for it, again and again."""
    hot_read(shop)
    running.stop(shop, 1, key(), "KM", AT)
    done = []
    for _ in range(6):
        advice = client.get(f"{HOT}/advice").json()
        do = advice["do"]
        done.append(do["operation"])
        if do["operation"] == "engine_started":
            body: dict[str, Any] = {"ticks": do["items"]}
            path = "/api/visits/1/started"
        elif do["operation"] == "record_checks":
            told = client.get(f"/api/visits/1/phases/{do['phase']}").json()
            kinds = {one["item"]: one["kind"] for one in told["items"]}
            body = {
                "ticks": [name for name in do["items"] if kinds[name] == "tick"],
                "numbers": {name: 85.0 for name in do["items"] if kinds[name] == "number"},
            }
            path = f"/api/visits/1/phases/{do['phase']}/checks"
        else:
            break
        answer = client.post(path, json={"key": key(), "by": "KM", **body})
        assert answer.status_code == 201, answer.text
    assert done[0] == "engine_started"
    assert visit_record(shop, 1).layout == FOUR
    assert client.get(f"{COLD}/advice").json()["do"]["operation"] == "advice"


@pytest.mark.parametrize(
    ("looks", "minutes"),
    [
        ((), 0.0),  # not looked at yet
        ((0,), 3.0),  # 15 minutes of running and 5 of standing still are wanted: in a few minutes, by our own judgement
        ((14, 9, 0), 1.0),  # 15 - 14: what is left of the running is less than a few minutes
    ],
)
def test_a_program_is_told_how_long_to_wait_between_two_looks_at_the_gauges(
    client: TestClient, shop: Database, looks: tuple[float, ...], minutes: float
) -> None:
    """Without it a program that does what it is told sends the same figures without end while the engine warms."""
    warming(shop)
    for ago in looks:
        sent = {"numbers": {"coolant": 88, "oil": 92}, "minutes_ago": ago, "by": "KM", "key": key()}
        assert client.post(f"{HOT}/checks", json=sent).status_code == 201
    do = client.get(f"{HOT}/advice").json()["do"]
    assert (do["operation"], do["items"], do["after_minutes"]) == ("record_checks", ["coolant", "oil"], minutes)
