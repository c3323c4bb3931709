"""The time of a job as a program reads and corrects it."""

from collections.abc import Iterator

import pytest
from starlette.testclient import TestClient

from app.shop.commands import checks
from app.shop.procedure.phases import COLD_PRESET, FIRST_FIRE
from app.shop.store.database import Database
from app.web.application import create_app
from tests.shop.yard import FOUR, after, check_all, engine, key, visit

WHY = "Plates were set at the bench"


@pytest.fixture
def client(shop: Database) -> Iterator[TestClient]:
    with TestClient(create_app(shop), base_url="http://127.0.0.1") as opened:
        yield opened


@pytest.fixture
def here(shop: Database) -> str:
    """A job of 25 minutes in the cold preset, then dinner, then 4 minutes in the first fire."""
    visit_id = visit(shop, engine(shop, FOUR))
    checks.record(shop, visit_id, key(), COLD_PRESET.slug, {"wide-open": None}, "KM", after(10))
    check_all(shop, visit_id, COLD_PRESET, after(25))
    for minutes, item in ((100, "kill-switch"), (104, "throttle-returns")):
        checks.record(shop, visit_id, key(), FIRST_FIRE.slug, {item: None}, "KM", after(minutes))
    return f"/api/visits/{visit_id}/hours"


def test_a_job_is_told_phase_by_phase(client: TestClient, here: str) -> None:
    told = client.get(here).json()
    assert [(one["phase"], one["recorded_minutes"], one["minutes"]) for one in told["phases"]] == [
        ("cold-preset", 25, 25),
        ("first-fire", 4, 4),
    ]
    assert (told["total_minutes"], told["gap_minutes"]) == (29, 30)
    assert told["like"] == {"count": 0, "median_minutes": None, "least_minutes": None, "most_minutes": None}


def test_a_correction_counts_and_what_was_recorded_stays(client: TestClient, here: str) -> None:
    sent = {"key": key(), "phase": "cold-preset", "minutes": 75.5, "why": WHY, "by": "KM"}
    assert client.post(here, json=sent).status_code == 201
    told = client.get(here).json()
    assert told["total_minutes"] == 79.5
    cold = told["phases"][0]
    assert (cold["recorded_minutes"], cold["minutes"]) == (25, 75.5)
    assert (cold["corrected_why"], cold["corrected_by"]) == (WHY, "KM")


@pytest.mark.parametrize(
    ("change", "status"), [({"why": " "}, 422), ({"minutes": -1}, 422), ({"phase": "lunch"}, 422), ({"by": ""}, 422)]
)
def test_a_correction_that_cannot_be_is_refused(
    client: TestClient, here: str, change: dict[str, object], status: int
) -> None:
    sent = {"key": key(), "phase": "cold-preset", "minutes": 75, "why": WHY, "by": "KM", **change}
    assert client.post(here, json=sent).status_code == status
    assert client.get(here).json()["total_minutes"] == 29


def test_a_visit_that_is_not_there_has_no_time(client: TestClient) -> None:
    assert client.get("/api/visits/99/hours").status_code == 404
