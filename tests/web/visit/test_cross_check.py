"""The cross-check page: one next test, what still stands, findings kept, and nothing said that must not be."""

import re

import pytest
from starlette.testclient import TestClient

from app.shop.commands import visits
from app.shop.cross_check.units import weighed
from app.shop.procedure.phases import HEAT_SOAKED
from app.shop.store.database import Database
from app.sync.diagnosis.measurements import FindingKind
from app.web.application import create_app
from tests.shop.yard import AT, V8, heat_soaked, key, read_round, ready_to_sign

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
        assert "Next: Exhaust heat" in page.text  # a leak burns lean and cool, a valve does not
        assert "Bore 3: air behind the plate" in page.text
        page = to.post(why, data={"test": "adapter", "unit": "1", "bore-3": "1.01", "by": "KM", "key": key()})
        smoke = {f"bore-{bore}": "none" for bore in range(1, 9)} | {"bore-3": "seen"}
        page = to.post(why, data={**smoke, "test": "smoke", "by": "KM", "key": key()})
        assert "Found: Bore 3: air behind the plate." in page.text
        assert re.search(r"For it: [^.]*Smoke", page.text)
        assert "Plates set air only." in page.text
        assert "Cross-check: Water mist" in to.get("/audit").text


def test_a_test_that_cannot_be_made_here_is_not_asked_for_again(shop: Database, why: str) -> None:
    with client(shop) as to:
        asked = re.findall(r'name="test" value="(\w+)"', to.get(why).text)[0]
        page = to.post(why, data={"test": asked, "cannot": "1", "by": "KM", "key": key()}).text
        assert re.findall(r'name="test" value="(\w+)"', page)[0] != asked
        assert f'<option value="{asked}"' not in page


def test_a_plate_leads_back_to_the_readings_once_its_meter_is_checked(shop: Database, why: str) -> None:
    """It is never told by how much a plate is to be turned, and never called off by a meter that nothing checked."""
    shown = {"air": ("kg/h", "6.5", "8.6"), "vacuum": ("kPa", "38", "25")}
    with client(shop) as to:
        for kind, (unit, usual, there) in (*shown.items(), *shown.items()):
            sent = {f"bore-{bore}": usual for bore in range(1, 9)} | {"bore-3": there}
            to.post(why, data={**sent, "test": kind, "unit": unit, "by": "KM", "key": key()})
        to.post(why, data={"test": "feel", "bore-3": "free", "by": "KM", "key": key()})
        page = to.post(why, data={"test": "reset", "unit": "1", "bore-3": "1", "by": "KM", "key": key()}).text
        assert "Next: Second meter at bore 3" in page
        assert "Bore 3 reads off, by a meter that nothing has checked yet." in page
        assert "plate is off" not in page
        page = to.post(why, data={"test": "adapter", "unit": "1", "bore-3": "1", "by": "KM", "key": key()}).text
        assert "Found: Bore 3: plate not even." in page
        assert "plate is off: go back to the readings and follow their advice." in page
        assert f'href="{why.replace("/why", "/heat-soaked-recheck/readings")}"' in page
        assert not re.search(r"\d/\d+ turn|turn in|turn out|thou\b", page)


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


def found_leak(to: TestClient, why: str) -> str:
    """The page after a leak at bore 3 was found."""
    for _ in range(2):
        to.post(why, data={"test": "vacuum", "unit": "kPa", "by": "KM", **LEAK, "key": key()})
    lean = {f"bore-{bore}": "0.97" for bore in range(1, 9)} | {"bore-3": "1.14"}
    to.post(why, data={**lean, "test": "mixture", "unit": "lambda", "by": "KM", "key": key()})
    to.post(why, data={"test": "spray", "bore-3": "moved", "by": "KM", "key": key()})
    to.post(why, data={"test": "adapter", "unit": "1", "bore-3": "1.01", "by": "KM", "key": key()})
    smoke = {f"bore-{bore}": "none" for bore in range(1, 9)} | {"bore-3": "seen"}
    return to.post(why, data={**smoke, "test": "smoke", "by": "KM", "key": key()}).text


def test_a_repair_ends_what_was_seen_at_its_bore_and_stands_on_the_sheet(shop: Database, why: str) -> None:
    sheet = why.replace("/why", "/sheet")
    with client(shop) as to:
        assert "Found: Bore 3: air behind the plate." in found_leak(to, why)
        assert "Cylinder 3: air behind the plate. Found, not repaired. See the shop." in to.get(sheet).text
        sent = {"cause": "leak", "place": "bore-3", "by": "KM", "key": key()}
        page = to.post(f"{why}/repaired", data=sent).text
        assert "Bore 3: air behind the plate, repaired." in page
        assert "Read every bore again before a plate is turned." in page
        assert "Found: " not in page
        printed = to.get(sheet).text
        assert "Cylinder 3: air behind the plate. Found and repaired." in printed
        assert "not repaired" not in printed
        assert "Water mist, bore 3: Moved. KM" in printed


def test_a_round_read_before_a_repair_says_nothing_of_it(shop: Database, why: str) -> None:
    with client(shop) as to:
        told = to.get(why.replace("/visits", "/api/visits")).json()
        assert "air" in told["looked_at"]
        to.post(f"{why}/repaired", data={"cause": "leak", "place": "bore-3", "by": "KM", "key": key()})
        assert "air" not in to.get(why.replace("/visits", "/api/visits")).json()["looked_at"]


def test_an_entry_taken_back_counts_as_if_it_were_not_there(shop: Database, why: str) -> None:
    path = why.replace("/visits", "/api/visits")
    with client(shop) as to:
        before = to.get(path).json()
        page = to.post(why, data={"test": "spray", "bore-3": "moved", "by": "KM", "key": key()}).text
        assert to.get(path).json() != before
        entry = re.findall(r'name="finding" value="(\d+)"', page)[0]
        sent = {"finding": entry, "by": "KM", "key": key()}
        assert "Water mist, bore 3" not in to.post(f"{why}/taken-back", data=sent).text
        assert to.get(path).json() == before
        assert to.post(f"{why}/taken-back", data={**sent, "key": key()}).status_code == 409


def test_a_visit_that_was_signed_off_asks_for_no_further_test(shop: Database) -> None:
    visit_id = ready_to_sign(shop)
    with client(shop) as to:
        assert "Not told yet. Make the next test." in to.get(f"/visits/{visit_id}/why").text
        visits.sign_off(shop, visit_id, key(), "Foreman of the yard", AT)
        page = to.get(f"/visits/{visit_id}/why").text
    assert "No cause was told in this visit." in page
    assert "Next: " not in page


@pytest.mark.parametrize("wrong", [{"cause": "none"}, {"cause": "gasket"}, {"place": "bore-99"}, {"place": "bank-Z"}])
def test_a_repair_that_cannot_be_is_refused(shop: Database, why: str, wrong: dict[str, str]) -> None:
    sent = {"cause": "leak", "place": "bore-3", "by": "KM", "key": key()}
    with client(shop) as to:
        assert to.post(f"{why}/repaired", data={**sent, **wrong}).status_code == 422
        assert "Cross-check: " not in to.get("/audit").text


OTHERS = LOG.replace("time_s", "Time").replace("speed_rpm", "RPM").replace("egt_3_C", "Probe C")


def test_columns_of_any_name_are_shown_before_they_are_kept(shop: Database, why: str) -> None:
    with client(shop) as to:
        page = to.post(why.replace("visits", "cross-check").replace("why", "columns"), data={"file": OTHERS}).text
        assert "Nothing is saved yet." in page
        assert "Probe C" in page
        assert '<option value="egt_C" selected>' in page
        assert "Cross-check: " not in to.get("/audit").text
        roles = {"role-0": "time_s", "role-1": "speed_rpm", "role-4": "egt_C", "bore-4": "3"}
        roles |= {f"role-{place}": "egt_C" for place in (2, 3, 5)} | {"bore-2": "1", "bore-3": "2", "bore-5": ""}
        kept = {"file": OTHERS, "by": "KM", "key": key(), **roles}
        refused = to.post(f"{why}/file", data=kept)
        assert refused.status_code == 422
        assert "What does each column hold?" in refused.text
        page = to.post(f"{why}/file", data={**kept, "role-5": ""}).text
        assert "Exhaust heat, bore 3: 151\u00a0°C" in page.replace("&nbsp;", "\u00a0")
        assert "Exhaust heat, bore 4" not in page


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
        assert weighed(FindingKind.HEAT, celsius * 9 / 5 + 32, "°F") == pytest.approx(celsius, abs=1e-9)
    assert weighed(FindingKind.COMPRESSION, 100.0, "psi") == pytest.approx(689.4757293168, rel=1e-9)  # by definition
