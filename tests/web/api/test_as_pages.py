"""Whatever a page can record a program can, or it is said why not."""

from dataclasses import fields

import pytest
from starlette.testclient import TestClient

from app.shop.commands.visits import NewVisit
from app.shop.procedure.recheck import reasons
from app.shop.procedure.requirements import Changed, ChangedPart
from app.shop.reasons import because
from app.shop.store.database import Database
from app.web.api.interface import document
from app.web.api.visits import VisitSent
from app.web.application import PAGES
from tests.shop.yard import key, ready_to_sign, visit_record
from tests.web.api.writes import HOT, TURN, found, hot, hot_read

BY_PROGRAM = {
    "/engines/new": "register_engine",
    "/engines": "register_engine",
    "/engines/{engine_id}/change": "change_engine",
    "/engines/{engine_id}/fitting": "fit_engine",
    "/engines/{engine_id}/visits": "open_visit",
    "/visits/{visit_id}/sign-off": "sign_off",
    "/visits/{visit_id}/mistaken": "end_mistaken",
    "/visits/{visit_id}/{slug}/checks": "record_checks",
    "/visits/{visit_id}/{slug}/checks/back": "take_back_check",
    "/visits/{visit_id}/{slug}/overrides": "override_phase",
    "/visits/{visit_id}/hours": "correct_time",
    "/visits/{visit_id}/{slug}/moves": "make_move",
    "/visits/{visit_id}/{slug}/moves/taken-back": "take_back_move",
    "/visits/{visit_id}/{slug}/speed": "record_round_speed",
    "/visits/{visit_id}/{slug}/speed/correct": "record_round_speed",
    "/visits/{visit_id}/{slug}/readings": "add_reading",
    "/visits/{visit_id}/{slug}/look": "add_all_bores",
    "/live/checks": "compare_sensors",
    "/first": "register_engine",
    "/visits/{visit_id}/{slug}/readings/correct": "add_reading",
    "/visits/{visit_id}/{slug}/settle": "settle_readings",
    "/visits/{visit_id}/{slug}/rounds": "begin_round",
    "/visits/{visit_id}/stop": "end_stop",
    "/visits/{visit_id}/stopped": "engine_stopped",
    "/visits/{visit_id}/start": "engine_started",
    "/visits/{visit_id}/instruments": "say_instruments",
    "/visits/{visit_id}/why": "add_findings",
    "/visits/{visit_id}/why/taken-back": "take_back_finding",
    "/visits/{visit_id}/why/repaired": "repair_cause",
    "/visits/{visit_id}/why/file": "add_logger_file",
    "/cross-check/{visit_id}/columns": "add_logger_file",
    "/visits/{visit_id}/correct": "correct_visit",
    "/visits/{visit_id}/cold-preset/plates": "set_plate_cold",
    "/visits/{visit_id}/cold-preset/plates/start": "record_checks",
    "/visits/{visit_id}/cold-preset/plates/facts": "record_checks",
    "/meters": "register_meter",
    "/meters/{meter_id}/studies": "begin_study",
    "/meters/{meter_id}/due": "set_meter_due",
    "/studies/{study_id}": "add_study_reading",
    "/settings": "change_settings",
    "/settings/letterhead": "change_settings",
}
"""What a page posts, and the operation that records the same."""

FOR_PEOPLE = {
    "/live/wiggles": "a person takes one hose off and puts it back",
    "/live/wiggles/done": "likewise",
    "/practice": "a simulated engine is for people to train at",
    "/look": "how this tablet shows its pages",
    "/visits/{visit_id}/stop/corrected": "two operations: a stop ended as mistyped, then the check",
    "/exchange/look": "a person is asked what a file of another shop leaves open",
    "/exchange": "likewise",
    "/exchange/several": "likewise",
    "/hand-over/answers": "a person answers what another shop's program leaves open",
    "/hand-over/visits/{visit_id}": "a person decides that another shop cannot sign a visit off any more",
    "/pair": "a tablet is let in by a person at the shop computer",
    "/pair/code": "likewise",
    "/tablets/code": "likewise",
    "/tablets/{tablet_id}/name": "likewise",
    "/tablets/{tablet_id}/remove": "likewise",
    "/sites": "where a group works is decided at the shop computer",
    "/sites/customers": "likewise",
    "/sites/{row_id}": "likewise",
    "/sites/{site_id}/rooms": "likewise",
    "/rooms/{row_id}": "likewise",
    "/tablets/{tablet_id}/room": "likewise",
    "/feeds": "who has access is decided at the shop computer",
    "/feeds/{feed_id}/withdraw": "likewise",
    "/programs": "likewise",
    "/programs/{program_id}/remove": "likewise",
    "/people": "likewise",
    "/people/{person_id}/pin": "likewise",
    "/people/{person_id}/remove": "likewise",
    "/shop/copies": "copies are made at the shop computer",
}
"""What a page posts that no program does, and why."""


def posted() -> set[str]:
    """The address of every form."""
    return {route.path for pages in PAGES for route in pages.router.routes if "POST" in getattr(route, "methods", ())}


def test_every_form_has_an_operation_or_a_reason_for_none() -> None:
    operations = {one["operationId"] for path in document()["paths"].values() for one in path.values()}
    assert posted() == BY_PROGRAM.keys() | FOR_PEOPLE.keys()
    assert not BY_PROGRAM.keys() & FOR_PEOPLE.keys()
    assert set(BY_PROGRAM.values()) <= operations


def test_a_program_that_opens_a_visit_says_all_that_a_page_says(client: TestClient, shop: Database) -> None:
    """What was changed since the last sign-off asks for the recheck; only a page could say it."""
    assert {one.name for one in fields(NewVisit)} == VisitSent.model_fields.keys() - {"key"}
    ready_to_sign(shop)
    signed = {"key": key(), "name": "Foreman of the yard"}
    assert client.post("/api/visits/1/sign-off", json=signed).status_code == 201
    sent = {"place": "test cell", "by": "KM", "meter_id": 1, "runs": "runs", "changed": ["exhaust", "exhaust"]}
    told = client.post("/api/engines/1/visits", json={"key": key(), **sent}).json()
    assert (told["changed"], told["runs"]) == (["exhaust"], "runs")
    assert reasons(visit_record(shop, told["id"])) == (because(Changed.TOUCHED, what=ChangedPart.EXHAUST),)
    wrong = client.post("/api/engines/1/visits", json={"key": key(), **sent, "changed": ["exhaust", "paint"]}).json()
    assert [(one["pointer"], one["code"]) for one in wrong["errors"]] == [("#/changed/1", "not-one-of")]


def test_findings_are_listed_and_one_that_is_taken_back_stands_no_more(client: TestClient, shop: Database) -> None:
    found(shop)
    assert client.post("/api/visits/1/findings/1/taken-back", json={"key": key(), "by": "KM"}).status_code == 201
    told = client.get("/api/visits/1/findings").json()
    assert [(one["id"], one["bore"], one["stands"]) for one in told] == [(1, 1, False), (2, 2, True), (3, 1, False)]
    assert (told[2]["supersedes"], told[2]["why"], told[2]["by"]) == (1, "taken-back", "KM")
    again = client.post("/api/visits/1/findings/1/taken-back", json={"key": key(), "by": "KM"})
    assert (again.status_code, again.json()["code"]) == (409, "nothing-to-undo")


@pytest.mark.parametrize(
    ("path", "body", "pointer", "code"),
    [
        ("findings", {"test": "heat", "unit": "°C", "shown": [{"bore": 9, "value": 4}]}, "#/shown/0", "not-a-bore"),
        ("findings", {"test": "taste", "unit": "", "shown": [{"bore": 1, "value": 4}]}, "#/test", "not-one-of"),
        ("findings", {"test": "heat", "unit": "m", "shown": [{"bore": 1, "value": 4}]}, "#/unit", "not-one-of"),
        ("findings/repaired", {"cause": "none", "bore": 1}, "#/cause", "not-one-of"),
        ("findings/repaired", {"cause": "lean", "bore": 9}, "#/bore", "not-a-bore"),
        ("findings/repaired", {"cause": "lean", "bank": "C"}, "#/bank", "not-a-bore"),
        ("findings/cannot", {"test": "taste"}, "#/test", "not-one-of"),
        ("findings/file", {"text": "time_s\n1\n"}, "#/text", None),
    ],
)
def test_what_is_wrong_with_a_finding_is_named_by_its_field(
    client: TestClient, shop: Database, path: str, body: dict[str, object], pointer: str, code: str | None
) -> None:
    hot_read(shop)
    answer = client.post(f"/api/visits/1/{path}", json={"key": key(), "by": "KM", **body})
    assert answer.status_code == 422, answer.text
    (fault,) = answer.json()["errors"]
    assert fault["pointer"] == pointer
    assert code in (None, fault["code"])


def test_a_logger_s_file_is_read_by_the_roles_that_are_told(client: TestClient, shop: Database) -> None:
    hot_read(shop)
    text = "t\tcyl one\n" + "".join(f"{second}\t420\n" for second in range(30))
    body = {"key": key(), "text": text, "roles": {"t": "time_s", "cyl one": "egt_1_C"}, "by": "KM"}
    assert client.post("/api/visits/1/findings/file", json=body).status_code == 201
    (told,) = client.get("/api/visits/1/findings").json()
    assert (told["kind"], told["bore"], told["value"], told["source"]) == ("heat", 1, 420.0, "csv")


def test_sensors_at_all_bores_fill_what_is_left_of_a_round(client: TestClient, shop: Database) -> None:
    hot(shop)
    values = [{"bore": bore, "value": 6.0 + bore / 4, "sd": 0.01} for bore in (1, 2, 3, 4)]
    body = {"key": key(), "round": 2, "values": values, "by": "KM"}
    told = client.post(f"{HOT}/readings/all-bores", json=body).json()
    assert [(one["bore"], one["kind"], one["value"]) for one in told] == [
        *((bore, "turn", 6.0 + bore / 4) for bore in (1, 2, 3, 4)),
        (1, "closing", 6.25),
    ]
    short = client.post(f"{HOT}/readings/all-bores", json={**body, "key": key(), "round": 3, "values": values[:2]})
    assert short.status_code in (409, 422)
    twice = client.post(f"{HOT}/readings/all-bores", json={**body, "key": key(), "values": values[:1] * 2})
    assert twice.json()["errors"][0]["pointer"] == "#/values"


def test_the_engine_speed_beside_readings_is_recorded_with_them(client: TestClient, shop: Database) -> None:
    hot(shop)
    told = client.post(f"{HOT}/readings", json={**TURN, "key": key(), "speed_rpm": 870}).json()
    assert told["speed_rpm"] == 870
    rest = [{"bore": bore, "value": 6.25, "sd": 0.01} for bore in (1, 2, 3, 4)]
    body = {"key": key(), "round": 2, "values": rest, "by": "KM", "speed_rpm": 840}
    assert {one["speed_rpm"] for one in client.post(f"{HOT}/readings/all-bores", json=body).json()} == {840}
    stored = visit_record(shop, 1).rounds[-1].entered
    assert [one.speed for one in stored] == pytest.approx([14.5, *[14.0] * 4])  # 870 / 60 and 840 / 60 turns a second
    wrong = client.post(f"{HOT}/readings", json={**TURN, "key": key(), "speed_rpm": 0}).json()
    assert [(one["pointer"], one["code"]) for one in wrong["errors"]] == [("#/speed_rpm", "out-of-range")]


def test_instruments_are_at_one_engine_at_a_time(client: TestClient, shop: Database) -> None:
    hot(shop)
    here = "/api/visits/1/instruments"
    assert client.get(here).json() == {"here": False}
    assert client.post(here, json={"key": key(), "here": True, "by": "KM"}).json() == {"here": True}
    assert client.post(here, json={"key": key(), "here": False, "by": "KM"}).json() == {"here": False}
    nobody = client.post(here, json={"key": key(), "here": True, "by": ""}).json()
    assert nobody["errors"][0] | {"detail": ""} == {"pointer": "#/by", "code": "initials-missing", "detail": ""}


def test_the_letterhead_and_the_units_of_the_pages_are_settings(client: TestClient) -> None:
    sent = {"shop_address": "Yard 7\n\n Harbor side ", "units": {"temperature": "°F"}, "by": "KM"}
    told = client.post("/api/settings", json={"key": key(), "version": 0, **sent}).json()
    assert (told["shop_address"], told["units"]["temperature"]) == ("Yard 7\nHarbor side", "°F")
    version = told["version"]
    for units, pointer in (({"temperature": "mm"}, "#/units/temperature"), ({"a/b": "mm"}, "#/units/a~1b")):
        wrong = client.post("/api/settings", json={"key": key(), "version": version, "units": units, "by": "KM"})
        assert [one["pointer"] for one in wrong.json()["errors"]] == [pointer]
