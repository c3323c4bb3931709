"""What belongs to the shop, by a program: meters with their studies, and settings, as a page would record them."""

from typing import Any

import pytest
from starlette.testclient import TestClient

from app.shop.record import meter_studies, stored_settings
from app.shop.record.meter_studies import READINGS
from app.shop.record.settings import DEFAULTS
from app.shop.store.database import Database
from app.sync.engine.units import THOU, ZERO_CELSIUS
from tests.shop.yard import key

METER = {"name": "Second meter", "unit": "kg/h", "step": 0.1, "low": 1, "high": 30}


def sent(client: TestClient, path: str, **body: Any) -> Any:
    """What a write is answered with, the same when it is sent again."""
    whole = {"key": key(), **body}
    first, again = client.post(path, json=whole), client.post(path, json=whole)
    assert first.status_code == 201, first.text
    assert (again.status_code, again.json()) == (201, first.json())
    if "location" in first.headers:
        assert client.get(first.headers["location"]).json() == first.json()
    return first.json()


def refused(client: TestClient, path: str, **body: Any) -> dict[str, str]:
    """The code of each pointer that a refused write names."""
    answer = client.post(path, json={"key": key(), **body})
    assert answer.status_code == 422, answer.text
    return {one["pointer"]: one["code"] for one in answer.json()["errors"]}


def test_a_meter_is_registered_and_found_at_its_address(client: TestClient, shop: Database) -> None:
    told = sent(client, "/api/meters", **METER)
    assert {name: told[name] for name in METER} == METER
    with shop.reading() as session:
        assert meter_studies.get(session, told["id"]).name == "Second meter"
    assert refused(client, "/api/meters", **METER) == {"#/name": "name-taken"}
    assert refused(client, "/api/meters", **{**METER, "name": "Third", "step": 20}) == {"#/step": "meter-step"}


def test_a_study_is_read_to_its_end_and_says_what_the_meter_repeats(client: TestClient) -> None:
    study = sent(client, "/api/meters/1/studies", where="31-0217, bore 2", second_by="RS", by="KM")
    address = f"/api/studies/{study['id']}/readings"
    seen = []
    while not study["finished"]:
        seen.append((study["next_place"], study["by"]))
        study = sent(client, address, value=6.4 + 0.05 * (study["next_place"] % 3))
    half = READINGS // 2
    assert seen == [(n + 1, "KM" if n < half else "RS") for n in range(READINGS)]
    assert (study["next_place"], study["next_meter_id"]) == (None, None)
    wrong = study["readings"][0]["id"]
    right = sent(client, address, value=6.5, supersedes=wrong, by="KM")
    assert (right["readings"][0]["value"], len(right["readings"])) == (6.5, READINGS)
    (kept,) = client.get("/api/meters/1").json()["studies"]
    assert kept == right
    late = client.post(address, json={"key": key(), "value": 6.4, "by": "KM"})
    assert (late.status_code, late.json()["code"]) == (409, "study-complete")


def test_two_meters_are_compared_by_turns(client: TestClient) -> None:
    other = sent(client, "/api/meters", **METER)["id"]
    study = sent(client, "/api/meters/1/studies", other_id=other, by="KM")
    turns = []
    for _ in range(3):
        turns.append((study["next_meter_id"], study["next_place"]))
        study = sent(client, f"/api/studies/{study['id']}/readings", value=6.4)
    assert turns == [(1, 1), (other, 1), (1, 2)]


def test_what_is_wrong_with_a_study_or_a_day_is_named_by_its_field(client: TestClient) -> None:
    assert refused(client, "/api/meters/1/studies", other_id=1, by="") == {
        "#/other_id": "not-listed",
        "#/by": "initials-missing",
    }
    assert refused(client, "/api/meters/1/due", due="soon", by="") == {"#/due": "not-a-day", "#/by": "initials-missing"}
    assert client.get("/api/studies/9").json()["code"] == "no-such-study"
    assert client.get("/api/meters/9").json()["code"] == "no-such-meter"


def test_the_day_of_the_next_check_is_said(client: TestClient) -> None:
    sent(client, "/api/meters/1/due", due="2027-05-01", by="KM")
    told = sent(client, "/api/meters/1/due", due="2027-06-01", why="Certificate", by="KM")
    assert (told["due"]["due"], told["due"]["why"]) == ("2027-06-01", "Certificate")


def test_settings_change_only_where_they_are_named(client: TestClient, shop: Database) -> None:
    before = client.get("/api/settings").json()
    assert before["version"] == 0
    told = sent(
        client,
        "/api/settings",
        version=0,
        figures={"fine-window": 6, "coolant-least": 75, "least-time": 20},
        blades_thou=[3, 4.5],
        people=[{"initials": "KM", "name": "Kim Moor"}],
        by="KM",
    )
    with shop.reading() as session:
        _, held = stored_settings.now(session)
    assert held.fine_window == pytest.approx(0.06)
    assert held.heat.coolant == pytest.approx(75 + ZERO_CELSIUS)
    assert held.heat.least_time == pytest.approx(1200)
    assert held.blades == pytest.approx((3 * THOU, 4.5 * THOU))
    assert (held.people, held.coarse_window) == ((("KM", "Kim Moor"),), DEFAULTS.coarse_window)
    assert told["figures"]["fine-window"] == {**before["figures"]["fine-window"], "value": 6}
    assert client.get("/api/settings").json() == told
    assert client.get("/api/blades").json()["leaves_thou"] == [3, 4.5]


def test_a_change_of_settings_that_crossed_another_or_is_wrong_is_refused(client: TestClient) -> None:
    sent(client, "/api/settings", version=0, figures={"pulls": 4}, by="KM")
    crossed = client.post("/api/settings", json={"key": key(), "version": 0, "figures": {"pulls": 5}, "by": "KM"})
    assert (crossed.status_code, crossed.json()["code"]) == (409, "changed-by-another-tablet")
    version = client.get("/api/settings").json()["version"]
    wrong = {"fine-window": 80, "no/such": 1.0}
    assert refused(client, "/api/settings", version=version, figures=wrong, by="KM") == {
        "#/figures/no~1such": "not-one-of"
    }
    assert refused(
        client, "/api/settings", version=version, figures={"fine-window": 80}, openings_thou=[10], by=""
    ) == {
        "#/figures/fine-window": "out-of-range",
        "#/openings_thou": "opening-feelers",
        "#/by": "initials-missing",
    }
