"""The cross-check page: one next test, what still stands, findings kept, and nothing said that must not be."""

import re

import pytest
from starlette.testclient import TestClient

from app.shop.cross_check.units import weighed
from app.shop.procedure.phases import HEAT_SOAKED
from app.shop.store.database import Database
from app.sync.diagnosis.measurements import Measure
from app.web.application import create_app
from tests.shop.yard import V8, heat_soaked, key, read_round

LEAK = {f"bore-{bore}": "38" for bore in range(1, 9)} | {"bore-3": "29"}


def client(shop: Database) -> TestClient:
    home = "http://127.0.0.1"
    return TestClient(create_app(shop), base_url=home, headers={"Origin": home}, client=("127.0.0.1", 9))


@pytest.fixture
def why(shop: Database) -> str:
    """The page of a visit whose heat-soaked round is read."""
    visit_id = heat_soaked(shop, V8)
    read_round(shop, visit_id, HEAT_SOAKED)
    return f"/visits/{visit_id}/why"


def test_low_vacuum_and_a_moved_mist_name_air_behind_the_plate(shop: Database, why: str) -> None:
    with client(shop) as to:
        assert "Next: " in to.get(why).text
        vacuum = {"test": "vacuum", "unit": "kPa", "by": "KM"}
        again = {**vacuum, "bore-3": "29.5"}
        for sent in ({**vacuum, **LEAK}, again):
            assert to.post(why, data={**sent, "key": key()}).status_code == 200
        lean = {f"bore-{bore}": "0.97" for bore in range(1, 9)} | {"bore-3": "1.14"}
        to.post(why, data={**lean, "test": "mixture", "unit": "lambda", "by": "KM", "key": key()})
        page = to.post(why, data={"test": "spray", "bore-3": "moved", "by": "KM", "key": key()})
        assert "Next: Second meter at bore 3" in page.text
        assert "Bore 3: air behind the plate" in page.text
        page = to.post(why, data={"test": "adapter", "unit": "1", "bore-3": "1.01", "by": "KM", "key": key()})
        smoke = {f"bore-{bore}": "none" for bore in range(1, 9)} | {"bore-3": "seen"}
        page = to.post(why, data={**smoke, "test": "smoke", "by": "KM", "key": key()})
        assert "Found: Bore 3: air behind the plate." in page.text
        assert "Plates set air only." in page.text
        assert "Cross-check: Water mist" in to.get("/audit").text


def test_a_test_that_cannot_be_made_here_is_not_asked_for_again(shop: Database, why: str) -> None:
    with client(shop) as to:
        asked = re.findall(r'name="test" value="(\w+)"', to.get(why).text)[0]
        page = to.post(why, data={"test": asked, "cannot": "1", "by": "KM", "key": key()}).text
        assert re.findall(r'name="test" value="(\w+)"', page)[0] != asked
        assert f'<option value="{asked}"' not in page


@pytest.mark.parametrize(
    "wrong",
    [
        {"test": "vacuum", "unit": "kPa", "bore-3": "x"},
        {"test": "vacuum", "unit": "lambda", "bore-3": "38"},
        {"test": "vacuum", "unit": "kPa"},
        {"test": "vacuum", "unit": "kPa", "bore-99": "38"},
        {"test": "spray", "bore-3": "38"},
        {"test": "balance", "bore-3": "1"},
    ],
)
def test_what_cannot_be_is_refused_and_leaves_no_row(shop: Database, why: str, wrong: dict[str, str]) -> None:
    with client(shop) as to:
        before = to.get(why).text.count("why-mark")
        assert to.post(why, data={**wrong, "by": "KM", "key": key()}).status_code == 422
        assert to.get(why).text.count("why-mark") == before
        assert "Cross-check: " not in to.get("/audit").text


LOG = "time_s,speed_rpm,egt_1_C,egt_2_C,egt_3_C,egt_4_C\n" + "".join(
    f"{second},{850 + second % 3},{420 + second % 2},421,{150 + second % 2},419\n" for second in range(30)
)


def test_a_loggers_file_is_kept_bore_by_bore(shop: Database, why: str) -> None:
    with client(shop) as to:
        page = to.post(f"{why}/file", data={"file": LOG, "by": "KM", "key": key()})
        assert page.status_code == 200
        assert "Exhaust heat" in page.text


@pytest.mark.parametrize(
    "wrong",
    [
        "",
        "time_s,egt_1_C\n",
        LOG.replace("egt_4", "egt_44"),
        LOG.replace("egt_4_C", "egt_4_K"),
        LOG.replace("egt_4_C", "egt_3_C"),
        LOG.replace("\n7,", "\n3,"),
        LOG.replace("7,851,", "7,fast,"),
        LOG + "31,850\n",
        LOG.replace("time_s", "seconds"),
        LOG.replace("28,851,", "28,1851,"),
    ],
)
def test_a_file_that_cannot_be_read_leaves_no_row(shop: Database, why: str, wrong: str) -> None:
    with client(shop) as to:
        assert to.post(f"{why}/file", data={"file": wrong, "by": "KM", "key": key()}).status_code == 422
        assert "Cross-check: " not in to.get("/audit").text


def test_programs_say_what_a_test_showed_and_are_told_what_stands(shop: Database, why: str) -> None:
    path = why.replace("/visits", "/api/visits")
    shown = [{"bore": bore, "value": 420.0 - 300 * (bore == 5)} for bore in range(1, 9)]
    with client(shop) as to:
        before = to.get(path).json()
        assert before["verdict"] == "going"
        sent = {"key": key(), "test": "heat", "unit": "°C", "shown": shown, "by": "KM"}
        told = to.post(path.replace("/why", "/findings"), json=sent).json()
        assert told["standing"][0]["bore"] == 5
        assert "heat" in told["looked_at"]
        assert told == to.get(path).json()
        wrong = {**sent, "key": key(), "unit": "kPa"}
        assert to.post(path.replace("/why", "/findings"), json=wrong).status_code == 422


def test_fahrenheit_and_celsius_come_to_the_same() -> None:
    for celsius in (420.0, -40.0):
        assert weighed(Measure.HEAT, celsius * 9 / 5 + 32, "°F") == pytest.approx(celsius, abs=1e-9)
    assert weighed(Measure.COMPRESSION, 100.0, "psi") == pytest.approx(689.4757293168, rel=1e-9)  # by definition
