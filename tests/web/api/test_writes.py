"""Every write of the interface: what it stores, what it answers, and that a repeat under its key does neither again."""

import math
from collections.abc import Callable, Iterator
from datetime import UTC, datetime
from typing import Any

import pytest
from sqlmodel import func, select
from starlette.testclient import TestClient

from app.shop.commands import checks
from app.shop.procedure.phases import HEAT_SOAKED
from app.shop.store.database import Database
from app.shop.store.live.tables import FillingRow
from app.shop.store.tables import (
    CheckRow,
    Engine,
    FindingRow,
    Fitting,
    HoursCorrection,
    MoveRow,
    Override,
    ReadingRow,
    RoundRow,
    SignOff,
    Visit,
)
from app.web.application import create_app
from tests.shop.past import Past
from tests.shop.yard import AT, FOUR, engine, key, read, visit_record
from tests.web.api.writes import COLD, FACTS, FITTED, HOT, TURN, WRITES, cold, hot, hot_begun, hot_read

TABLES = (
    FillingRow,
    FindingRow,
    Engine,
    Fitting,
    Visit,
    RoundRow,
    ReadingRow,
    MoveRow,
    CheckRow,
    Override,
    SignOff,
    HoursCorrection,
)


@pytest.fixture
def client(shop: Database) -> Iterator[TestClient]:
    with TestClient(create_app(shop), base_url="http://127.0.0.1") as opened:
        yield opened


def rows(shop: Database) -> int:
    with shop.reading() as session:
        return sum(session.exec(select(func.count()).select_from(table)).one() for table in TABLES)


@pytest.mark.parametrize(("come_so_far", "path", "body", "stored"), WRITES)
def test_a_write_sent_again_is_stored_once_and_answered_alike(
    client: TestClient,
    shop: Database,
    come_so_far: Callable[[Database], None],
    path: str,
    body: dict[str, Any],
    stored: int,
) -> None:
    come_so_far(shop)
    before = rows(shop)
    sent = {**body, "key": key()}
    tried = client.post(path, params={"dry_run": "true"}, json=sent)
    assert (tried.status_code, tried.content) == (204, b"")
    assert "location" not in tried.headers
    assert rows(shop) == before
    first, again = client.post(path, json=sent), client.post(path, json=sent)
    assert first.status_code == 201, first.text
    assert (again.status_code, again.json()) == (201, first.json())
    assert rows(shop) == before + stored
    assert client.get(first.headers["location"]).status_code == 200


def test_joints_bypass_screws_and_a_plenum_come_back_as_they_were_sent(client: TestClient) -> None:
    joined = {"bores": [1, 2, 3, 4], "stop": 2, "drive": 2, "joints": ["shaft", "screw-out", "shaft"]}
    layout = {"banks": [joined], "sensor": None, "springless": [], "bypass": [1, 4], "plenum": True}
    sent = {**FACTS, "layout": layout, "key": key()}
    told = client.post("/api/engines", json=sent).json()["fitting"]["layout"]
    gained = {"extra": {}, "shafts": [[1, 2], [3, 4]], "cooling": "liquid", "actuation": "linkage"}
    assert told == {**layout, "banks": [{"name": "A", **joined}], **gained}
    for wrong, field in (({"bypass": [9]}, "bypass"), ({"banks": [{**joined, "joints": ["shaft"]}]}, "banks")):
        refused = client.post("/api/engines", json={**FACTS, "layout": {**layout, **wrong}, "key": key()})
        assert (refused.status_code, f"layout/{field}" in refused.text) == (422, True)


def test_a_correction_of_an_engine_sent_again_is_one(client: TestClient, shop: Database) -> None:
    engine(shop, FOUR)
    sent = {**FACTS, "vehicle": "Red coupe", "version": 1}
    first, again = client.put("/api/engines/1", json=sent), client.put("/api/engines/1", json=sent)
    assert (first.status_code, first.json()["version"], first.json()["vehicle"]) == (200, 2, "Red coupe")
    assert again.json() == first.json()


def test_an_engine_comes_back_as_it_was_sent(client: TestClient) -> None:
    hardware = {"bore_diameter_mm": 46.5, "closed_angle_deg": 6.5}
    sent = {**FACTS, **FITTED, "description": "Eight", "key": key(), "hardware": hardware}
    told = client.post("/api/engines", json=sent).json()
    assert {name: told[name] for name in FACTS} == FACTS
    assert told["fitting"]["layout"]["banks"] == [
        {"name": "A", "bores": [1, 2, 3, 4], "stop": 2, "drive": 2, "joints": ["blade"] * 3}
    ]
    assert told["fitting"]["layout"]["springless"] == [3]
    figures = told["fitting"]["hardware"]
    assert {name: figures[name] for name in hardware} == {
        name: {"value": value, "measured": True} for name, value in hardware.items()
    }
    assert figures["stop_lever_mm"] == {"value": 25.4, "measured": False}
    assert [one["serial"] for one in client.get("/api/engines?words=31-02").json()] == ["31-0217"]
    assert client.get("/api/engines?words=nothing").json() == []


def test_all_engines_are_told_page_by_page_newest_first(client: TestClient, shop: Database) -> None:
    for number in range(5):
        engine(shop, FOUR, serial=f"31-000{number}")
    first = client.get("/api/engines?most=3").json()
    then = client.get(f"/api/engines?most=3&before={first[-1]['id']}").json()
    assert [one["serial"][-1] for one in first + then] == ["4", "3", "2", "1", "0"]


def test_a_correction_stands_in_place_of_what_was_mistyped(client: TestClient, shop: Database) -> None:
    hot_begun(shop)
    wrong = visit_record(shop, 1).rounds[-1].latest[1].ident
    right = client.post(f"{HOT}/readings", json={**TURN, "key": key(), "supersedes": wrong}).json()
    assert (right["supersedes"], right["value"], right["unit"], right["stands"]) == (wrong, 6.25, "kg/h", True)
    told = client.get("/api/visits/1/rounds").json()[-1]["readings"]
    assert [(one["id"], one["stands"]) for one in told] == [(wrong, False), (right["id"], True)]


def test_it_is_said_which_of_two_values_counts(client: TestClient, shop: Database) -> None:
    hot_begun(shop)
    read(shop, 1, HEAT_SOAKED, 7.5, bore=1)
    advice = client.get(f"{HOT}/advice").json()
    assert (advice["kind"], advice["why"], advice["about"]) == ("cannot", "in-question", [1])
    asked = client.get("/api/visits/1/rounds").json()[-1]["in_question"]
    assert [one["bore"] for one in asked] == [1]
    body = {"older": asked[0]["older"], "newer": asked[0]["newer"], "counts": "older", "by": "KM", "key": key()}
    first = client.post(f"{HOT}/readings/settled", json=body)
    again = client.post(f"{HOT}/readings/settled", json=body)
    assert (first.status_code, again.status_code) == (201, 201)
    assert again.json() == first.json()
    assert client.get(f"{HOT}/advice").json()["kind"] == "measure"


def test_a_move_is_told_in_the_fields_of_its_kind(client: TestClient, shop: Database) -> None:
    hot_read(shop)
    body = {"kind": "blade", "coupler": {"near": 2, "far": 3}, "leaves_thou": [3, 1.5], "by": "KM", "key": key()}
    told = client.post(f"{HOT}/moves", json=body).json()
    assert (told["coupler"], told["leaves_thou"], told["bank"]) == ({"near": 2, "far": 3}, [3.0, 1.5], "A")
    assert (told["turns"], told["flats"], told["bore"], told["stands"]) == (None, None, None, True)
    assert client.get("/api/visits/1/story").json()["moves"] == [told]


def test_an_expectation_is_in_the_unit_of_the_meter_with_its_band(client: TestClient, shop: Database) -> None:
    hot(shop)
    checks.record(shop, 1, key(), HEAT_SOAKED.slug, {"idle-speed": 780.0}, "KM", AT)  # a plate opened brings the rest
    for bore, value in ((1, 6.5), (2, 6.5), (3, 6.5), (4, 3.5), (1, 6.5)):
        read(shop, 1, HEAT_SOAKED, value, bore)
    for _ in range(6):
        advice = client.get(f"{HOT}/advice").json()
        if advice["kind"] != "measure":
            break
        for asked in advice["readings"]:
            value = 3.5 if asked["bore"] == 4 else 6.5
            assert client.post(f"{HOT}/readings", json={**asked, "value": value, "by": "KM", "key": key()}).is_success
    assert (advice["kind"], advice["coupler"], advice["moves_bores"]) == ("blade", {"near": 3, "far": 4}, [4])
    assert 1 <= len(advice["leaves_thou"]) <= 2
    assert set(advice["leaves_thou"]) <= set(client.get("/api/blades").json()["leaves_thou"])
    (expected,) = advice["expected"]
    assert expected["bore"] == 4
    assert 3.5 < expected["low"] < expected["value"] < expected["high"] < 12
    assert advice["unit"] == "kg/h"


def test_a_figure_outside_the_limits_stops_the_advice_too(client: TestClient, shop: Database) -> None:
    hot_read(shop)
    body = {"numbers": {"coolant": 150}, "by": "KM", "key": key()}
    standing = client.post(f"{HOT}/checks", json=body).json()
    assert "Stop the engine now" in standing["stops"][0]
    advice = client.get(f"{HOT}/advice").json()
    assert (advice["kind"], advice["why"], advice["readings"]) == ("cannot", "stopped", [])
    assert "Stop the engine now" in advice["reason"]


def test_what_was_mistyped_is_put_right_after_the_sign_off(client: TestClient, shop: Database) -> None:
    hot_read(shop)
    wrong = visit_record(shop, 1).rounds[-1].latest[1].ident
    body = {"why": "Mistyped", "by": "KM", "readings": [{"id": wrong, "value": 6.25}], "key": key()}
    assert client.post("/api/visits/1/corrections", json=body).status_code == 422  # still open
    with shop.writing() as session:
        session.add(SignOff(key=key(), payload="", visit_id=1, name="Foreman of the yard", at=AT))
    first, again = (client.post("/api/visits/1/corrections", json=body) for _ in range(2))
    assert (first.status_code, again.json()) == (201, first.json())
    told = first.json()
    assert (told["issue"], [(one["was"], one["now"]) for one in told["corrected"]]) == (2, [(6.5, 6.25)])
    assert client.get("/api/visits/1/story").json()["corrections"] == [told]
    far = {**body, "readings": [{"id": wrong + 1, "value": 500}], "key": key()}
    refused = client.post("/api/visits/1/corrections", json=far)
    assert (refused.status_code, refused.json()["errors"][0]["pointer"]) == (422, "#/readings/0/value")


def test_what_slipped_since_last_time_is_told_with_its_odds(client: TestClient, shop: Database) -> None:
    past = Past(shop)
    past.visit([6.5] * 8, [6.5] * 8)
    assert client.get("/api/visits/1/slipped").status_code == 404
    past.visit([6.5, 6.5, 7.75, 7.75, 6.5, 6.5, 6.5, 6.5], [6.5] * 8)
    told = client.get("/api/visits/2/slipped").json()
    coupler = {"kind": "coupler", "name": "coupler 2–3", "bank": None, "coupler": {"near": 2, "far": 3}, "bore": None}
    assert (told["since_visit_id"], told["verdict"], told["named"]["suspect"]) == (1, "slipped", coupler)
    assert told["named"]["change_percent"] > 0
    assert told["odds"][0]["suspect"] == coupler
    assert told["sentences"]
    moved = {one["bore"]: one["change_percent"] for one in told["bores"]}
    assert moved[3] == pytest.approx(100 * math.log(7.75 / 6.5), rel=0.05)


def test_gauges_may_be_told_of_minutes_after_they_were_read(shop: Database) -> None:
    hot(shop)
    now = datetime(2026, 11, 25, 11, tzinfo=UTC)
    with TestClient(create_app(shop, clock=lambda: now), base_url="http://127.0.0.1") as client:
        body = {"numbers": {"coolant": 88.5}, "minutes_ago": 3, "by": "KM", "key": key()}
        assert client.post(f"{HOT}/checks", json=body).status_code == 201
        heat = client.get(HOT).json()["heat"]
    told = {"at": "2026-11-25T10:57:00.000+00:00", "coolant_c": 88.5, "oil_c": None, "head_c": None}
    assert told in heat["gauges"]


def test_a_phase_tells_its_items_cautions_and_starting_turns(client: TestClient, shop: Database) -> None:
    cold(shop)
    told = client.get(COLD).json()
    assert told["cautions"]
    assert "manufacturer's instructions" in told["defer"]
    assert {item["item"] for item in told["items"]} >= {"wide-open", "base-blade", "preset-turns"}
    assert all(item["missing"] and item["recorded"] is None for item in told["items"])
    assert told["preset"]["low_turns"] < told["preset"]["turns"] < told["preset"]["high_turns"]
    advice = client.get(f"{COLD}/advice").json()
    assert (advice["kind"], advice["bank"], advice["turns"]) == ("stop", None, told["preset"]["turns"])
