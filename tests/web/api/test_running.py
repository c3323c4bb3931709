"""Starts, stops and what ends a stop, for a program: refused with a code beside the field, told in full."""

from collections.abc import Iterator

import pytest
from starlette.testclient import TestClient

from app.shop.commands import checks
from app.shop.procedure.phases import HEAT_SOAKED
from app.shop.store.database import Database
from app.web.application import create_app
from tests.shop.yard import AT, FOUR, heat_soaked, key

ENDED = {"cause": "pump", "remedy": "Pump changed", "by": "KM"}


@pytest.fixture
def client(shop: Database) -> Iterator[TestClient]:
    with TestClient(create_app(shop), base_url="http://127.0.0.1") as opened:
        yield opened


@pytest.fixture
def stopped(shop: Database) -> str:
    """The path of a visit with an open stop."""
    visit_id = heat_soaked(shop, FOUR)
    checks.record(shop, visit_id, key(), HEAT_SOAKED.slug, {"oil-pressure-hot": 30}, "KM", AT)
    return f"/api/visits/{visit_id}"


def test_a_stop_is_told_and_everything_else_is_rejected_by_its_code(client: TestClient, stopped: str) -> None:
    state = client.get(stopped).json()["engine_state"]
    assert [(one["item"], one["number"], one["code"]) for one in state["open_stops"]] == [
        ("oil-pressure-hot", 30, "oil-pressure-low")
    ]
    here = f"{stopped}/phases/heat-soaked-recheck"
    assert client.get(f"{here}/advice").json()["waits_for_code"] == "stopped"
    reading = {"key": key(), "round": 2, "bore": 1, "kind": "turn", "value": 6.5, "by": "KM"}
    move = {"key": key(), "kind": "stop", "bank": "A", "turns": 0.25, "by": "KM", "advised": True}
    for path, body in (
        (f"{here}/readings", reading),
        (f"{here}/moves", move),
        (f"{here}/checks", {"key": key(), "numbers": {"oil-pressure-hot": 300}, "by": "KM"}),
        (f"{here}/overrides", {"key": key(), "why": "It will do", "by": "KM"}),
        (f"{stopped}/started", {"key": key(), "by": "KM"}),
        (f"{stopped}/sign-off", {"key": key(), "name": "Foreman of the yard"}),
    ):
        answer = client.post(path, json=body)
        assert (answer.status_code, answer.json()["code"]) == (422, "stopped"), path


@pytest.mark.parametrize(
    ("wrong", "pointer", "code"),
    [
        ({"remedy": " "}, "#/remedy", "remedy-missing"),
        ({"cause": "bad luck"}, "#/cause", "not-one-of"),
        ({"cause": "other"}, "#/cause_text", "cause-missing"),
        ({"by": ""}, "#/by", "initials-missing"),
    ],
)
def test_its_end_is_rejected_at_the_field(
    client: TestClient, stopped: str, wrong: dict[str, str], pointer: str, code: str
) -> None:
    answer = client.post(f"{stopped}/stops/ended", json={"key": key(), **ENDED, **wrong})
    assert answer.status_code == 422
    assert [(one["pointer"], one["code"]) for one in answer.json()["errors"]] == [(pointer, code)]


def test_ended_and_started_again_it_is_in_the_story(client: TestClient, stopped: str) -> None:
    sent = {"key": key(), **ENDED}
    first, again = (client.post(f"{stopped}/stops/ended", json=sent) for _ in range(2))
    assert first.status_code == 201
    assert first.json() == again.json()
    assert [one["number"] for one in first.json()["stops"]] == [30]
    state = client.get(stopped).json()["engine_state"]
    assert (state["open_stops"], state["stands_code"]) == ([], "engine-stopped")
    refused = client.post(f"{stopped}/started", json={"key": key(), "ticks": state["start_items"][1:], "by": "KM"})
    assert refused.json()["code"] == "check-before-start"
    started = client.post(f"{stopped}/started", json={"key": key(), "ticks": state["start_items"], "by": "KM"})
    assert started.status_code == 201
    assert (started.json()["stands_code"], started.json()["start_items"]) == (None, [])
    story = client.get(f"{stopped}/story").json()
    assert [one["what"] for one in story["engine_events"]] == ["stopped", "started"]
    assert [one["remedy"] for one in story["stop_ends"]] == ["Pump changed"]
    items = client.get(f"{stopped}/phases/heat-soaked-recheck").json()["items"]
    pressure = next(one for one in items if one["item"] == "oil-pressure-hot")
    assert (pressure["missing"], pressure["again"]) == (True, True)


def test_a_stop_that_was_recorded_voids_the_open_round(client: TestClient, shop: Database) -> None:
    here = f"/api/visits/{heat_soaked(shop, FOUR)}"
    path = f"{here}/phases/heat-soaked-recheck/readings"
    reading = {"round": 2, "bore": 1, "kind": "turn", "value": 6.5, "by": "KM"}
    assert client.post(path, json={"key": key(), **reading}).status_code == 201
    assert client.post(f"{here}/stopped", json={"key": key(), "by": "KM"}).status_code == 201
    assert client.post(f"{here}/stopped", json={"key": key(), "by": "KM"}).json()["code"] == "engine-stopped-already"
    assert client.post(path, json={"key": key(), **reading, "bore": 2}).json()["code"] == "engine-stands"
    assert client.get(f"{here}/rounds").json()[-1]["ran_out"] is True
