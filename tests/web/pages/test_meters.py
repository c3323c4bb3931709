"""The meters' pages: one registered, a study guided reading by reading, a check that is due said where it matters."""

import re

import pytest
from starlette.testclient import TestClient

from app.shop.rejections import Rejection
from app.shop.store.database import Database
from tests.shop.rejections import on_page
from tests.shop.yard import FOUR, engine, key


def register(client: TestClient, **changes: str) -> str:
    sent = {"key": key(), "name": "Tall column", "unit": "mmHg", "step": "2", "low": "0", "high": "760", **changes}
    return client.post("/meters", data=sent).headers["location"]


def test_a_meter_is_registered_and_offered_when_a_visit_opens(client: TestClient, shop: Database) -> None:
    register(client)
    assert "Vacuum, 0 to 760 mmHg, steps of 2" in client.get("/meters").text
    assert "Tall column, mmHg" in client.get(f"/engines/{engine(shop, FOUR)}/visits/new").text


def test_an_absolute_column_is_registered_and_told_apart(client: TestClient) -> None:
    there = register(client, name="Sealed column", unit="cmHg", high="80", reference="absolute")
    assert "Absolute pressure, 0 to 80 cmHg abs., steps of 2" in client.get(there).text
    told = client.get("/api/meters").json()
    assert [(one["quantity"], one["unit"], one["reference"]) for one in told] == [
        ("flow", "kg/h", None),
        ("vacuum", "cmHg", "absolute"),
    ]
    register(client, name="Open column", unit="mbar", high="900")
    assert client.get("/api/meters").json()[-1]["reference"] == "gauge"


@pytest.mark.parametrize(
    ("field", "typed", "said"),
    [
        ("step", "fine", on_page(Rejection.NOT_A_NUMBER, typed="fine")),
        ("step", "", on_page(Rejection.NUMBER_MISSING)),
        ("name", "", on_page(Rejection.NAME_MISSING)),
        ("high", "0", on_page(Rejection.METER_RANGE, most=100_000)),
    ],
)
def test_bad_input_stays_beside_its_field(client: TestClient, field: str, typed: str, said: str) -> None:
    sent = {"key": key(), "name": "Odd", "unit": "mmHg", "step": "2", "low": "0", "high": "760", field: typed}
    answer = client.post("/meters", data=sent)
    assert answer.status_code == 422
    message = re.search(rf'id="{field}-message">([^<]*)<', answer.text)
    assert message is not None
    assert said in message[1]
    assert f'name="{field}" value="{typed}"' in answer.text


def test_a_study_is_guided_to_its_end(client: TestClient) -> None:
    begun = client.post("/meters/1/studies", data={"key": key(), "study_by": "KM", "where": "31-0217, bore 3"})
    there = begun.headers["location"]
    for number, value in enumerate(("6,5", "6.25", "6.5", "6.75", "6.5", "6.25", "6.5", "6.5", "6.75", "6.5"), 1):
        assert f"Reading {number} of 10" in client.get(there).text
        assert client.post(there, data={"key": key(), "value": value}).status_code == 303
    page = client.get(there).text
    assert "Study complete" in page
    assert "repeatability is <b>4.1\u00a0%</b>" in page  # sqrt(0.25 / 3.325 - 0.25^2 / 12) / 6.5
    known = "From 10 readings: standard deviation 2.6\u00a0%, with the step taken out at most 4.1\u00a0%"
    assert known in client.get("/meters/1").text
    same = "At 6.50 kg/h, two readings of one bore differ from 1.00 kg/h on, 4 steps of this meter."
    assert same in client.get("/meters/1").text  # 2.77 sqrt((0.041 x 6.5)^2 + 0.25^2 / 12) = 0.76
    assert client.post(there, data={"key": key(), "value": "6.5"}).status_code == 409


def test_the_second_half_of_a_study_is_handed_over(client: TestClient) -> None:
    sent = {"study_by": "KM", "where": "bore 3", "second_by": "RD", "second_where": "bore 6"}
    there = client.post("/meters/1/studies", data={"key": key(), **sent}).headers["location"]
    for value in ("6.5", "6.25", "6.5", "6.75", "6.5"):
        assert "Second half" not in client.get(there).text
        assert client.post(there, data={"key": key(), "value": value}).status_code == 303
    assert "Second half: read by RD, at bore 6." in client.get(there).text


def test_a_value_that_cannot_be_is_kept_in_its_box(client: TestClient) -> None:
    begun = client.post("/meters/1/studies", data={"key": key(), "study_by": "KM", "where": ""})
    answer = client.post(begun.headers["location"], data={"key": key(), "value": "65"})
    assert answer.status_code == 422
    assert on_page(Rejection.OUT_OF_RANGE, low=0.25, high=40, unit="kg/h") in answer.text
    assert 'value="65"' in answer.text


def test_a_study_without_initials_is_not_begun(client: TestClient) -> None:
    answer = client.post("/meters/1/studies", data={"key": key(), "study_by": "", "where": "bore 3"})
    assert answer.status_code == 422
    assert 'id="study_by-message"' in answer.text
    assert 'value="bore 3"' in answer.text


def test_a_check_that_is_overdue_is_said_when_a_visit_opens(client: TestClient, shop: Database) -> None:
    engine_id = engine(shop, FOUR)
    assert "check was due" not in client.get(f"/engines/{engine_id}/visits/new").text
    sent = {"key": key(), "due": "2020-01-31", "due_why": "Sent away", "due_by": "KM"}
    assert client.post("/meters/1/due", data=sent).status_code == 303
    assert "check was due 31 Jan 2020" in client.get(f"/engines/{engine_id}/visits/new").text
    assert "Check was due 31 Jan 2020" in client.get("/meters").text


def test_pages_that_are_not_there_say_so(client: TestClient) -> None:
    for path in ("/meters/99", "/studies/99"):
        assert client.get(path).status_code == 404
