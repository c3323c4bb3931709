"""The engine speed of an opening: asked for by the keypad before the first bore, a stop above the rev limit, told to
programs, over the telephone, and on paper."""

import csv
import re
from typing import Any

import pytest
from starlette.testclient import TestClient

from app.shop.assessment.assessment import assess
from app.shop.commands import checks, moves, readings
from app.shop.commands.moves import NewMove
from app.shop.commands.readings import NewReading
from app.shop.procedure.phases import BANK_BALANCE, COLD_PRESET, FIRST_FIRE, HEAT_SOAKED, LOCK_DOWN
from app.shop.procedure.read_order import next_reading
from app.shop.rejections import Rejection
from app.shop.store.database import Database
from app.shop.training import training, training_start
from app.shop.training.training_start import NewPractice
from app.web.presenters.paper.file_page import file_page
from app.wording.office.training import record_texts
from tests.shop.bank_balance import at_the_banks
from tests.shop.rejections import on_page
from tests.shop.yard import AT, V8, check_all, engine, key, read, read_round, run, visit, visit_record

API = f"/api/visits/1/phases/{BANK_BALANCE.slug}"


@pytest.fixture
def client(client: TestClient) -> TestClient:
    """Goes on to the page that an answer names."""
    client.follow_redirects = True
    return client


def path(visit_id: int, rest: str = "readings") -> str:
    return f"/visits/{visit_id}/{BANK_BALANCE.slug}/{rest}"


def sent(value: str, **more: str) -> dict[str, str]:
    return {"key": key(), "by": "KM", "round": "3", "value": value} | more


def entry(html: str) -> str:
    """What the keypad enters."""
    served = re.sub(r"<template.*?</template>", "", html, flags=re.DOTALL)
    (found,) = re.findall(r'id="entry-heading">([^<]*)<', served)
    return str(found)


def card(html: str) -> str:
    """The next step."""
    return html.split('<section class="card move')[1].split("</section>")[0]


def speeds(shop: Database, visit_id: int) -> list[int | None]:
    record = visit_record(shop, visit_id)
    kept = [record.speed_in(one) for one in record.rounds if one.row.opening]
    return [round(60 * one.speed) if one is not None else None for one in kept]


def test_it_is_asked_for_before_the_first_bore_and_begins_the_round_as_it_is_approached(
    client: TestClient, shop: Database
) -> None:
    visit_id = at_the_banks(shop)
    page = client.get(path(visit_id)).text
    assert entry(page) == "Engine speed"
    assert f'action="{path(visit_id, "speed")}"' in page
    assert 'name="from_above" value="0" form="keypad" checked' in page
    page = client.post(path(visit_id, "speed"), data=sent("1010", from_above="1")).text
    assert entry(page) == "Bore 1"
    assert speeds(shop, visit_id) == [1010]
    assert visit_record(shop, visit_id).rounds[-1].row.from_above == 1
    assert '<input type="hidden" name="from_above" value="1">' in page


@pytest.mark.parametrize(
    ("typed", "says"),
    [
        ("12000", on_page(Rejection.OUT_OF_RANGE, low=300.0, high=9000.0, unit="rpm")),
        ("", on_page(Rejection.NUMBER_MISSING)),
    ],
)
def test_what_cannot_be_is_said_beside_it(client: TestClient, shop: Database, typed: str, says: str) -> None:
    visit_id = at_the_banks(shop)
    answer = client.post(path(visit_id, "speed"), data=sent(typed))
    assert answer.status_code == 422
    assert entry(answer.text) == "Engine speed"
    assert says in answer.text.split('id="entry-message"')[1].split("</p>")[0]
    assert speeds(shop, visit_id) == []


def test_where_there_is_no_tachometer_the_bores_are_read_and_it_stays_missing(
    client: TestClient, shop: Database
) -> None:
    visit_id = at_the_banks(shop)
    without = f'href="{path(visit_id)}?bore=1"'
    assert without in client.get(path(visit_id)).text
    assert entry(client.get(path(visit_id) + "?bore=1").text) == "Bore 1"
    bore = {"key": key(), "round": "3", "bore": "1", "kind": "turn", "value": "8", "by": "KM", "from_above": "0"}
    page = client.post(path(visit_id), data=bore).text
    assert entry(page) == "Bore 2"
    assert f'href="{path(visit_id)}?entry=speed"' in page
    assert entry(client.get(path(visit_id) + "?entry=speed").text) == "Engine speed"
    client.post(path(visit_id, "speed"), data=sent("1010"))
    assert speeds(shop, visit_id) == [1010]


def test_an_opening_read_without_it_is_told_afterwards(client: TestClient, shop: Database) -> None:
    visit_id = at_the_banks(shop)
    for opening, number in ((8.0, 3), (15.0, 4)):
        for kind, bore in (*(("turn", bore) for bore in V8.bores), ("closing", 1)):
            new = NewReading(BANK_BALANCE.slug, number, bore, kind, opening, "KM")
            readings.add(shop, visit_id, key(), new, AT)
    page = client.get(path(visit_id)).text
    assert f'href="{path(visit_id)}?entry=speed"' in card(page)
    for number, thou in ((3, "0.010"), (4, "0.030")):
        page = client.get(path(visit_id) + "?entry=speed").text.replace("\u00a0", " ")
        assert (entry(page), f"Lever on the {thou} in feeler, round {number}" in page) == ("Engine speed", True)
        assert f"Put the {thou} in feeler under the central lever" in card(page)
        page = client.post(path(visit_id, "speed"), data=sent("1310", round=str(number))).text
    assert speeds(shop, visit_id) == [1310, 1310]
    assert "entry=speed" not in page


def test_above_the_rev_limit_the_page_stops_and_takes_a_new_speed_only(client: TestClient, shop: Database) -> None:
    visit_id = at_the_banks(shop)
    checks.record(shop, visit_id, key(), BANK_BALANCE.slug, {"rev-limit": 2500.0}, "KM", AT)
    page = client.post(path(visit_id, "speed"), data=sent("2600")).text
    assert "Close the lever and stop the engine now. It ran at 2600 rpm, the rev limit is 2500 rpm." in page
    assert entry(page) == "Nothing to read yet"
    assert "Close the lever and stop the engine now." in client.get(path(visit_id, "")[:-1]).text
    assert f'href="{path(visit_id)}?entry=speed"' in card(page)
    assert entry(client.get(path(visit_id) + "?entry=speed").text) == "Engine speed"
    assert entry(client.post(path(visit_id, "speed"), data=sent("1200")).text) == "Bore 1"


def test_before_the_rev_limit_is_recorded_nothing_is_entered(client: TestClient, shop: Database) -> None:
    visit_id = at_the_banks(shop)
    checks.take_back(shop, visit_id, key(), BANK_BALANCE.slug, "rev-limit", "KM", AT)
    page = client.get(path(visit_id) + "?entry=speed").text
    assert entry(page) == "Nothing to read yet"
    assert "Low rev limit set, or own limiter proven" in page


def test_over_the_telephone_it_is_asked_in_lay_words(client: TestClient, shop: Database) -> None:
    visit_id = visit(shop, engine(shop), "telephone")
    for phase in (COLD_PRESET, FIRST_FIRE, HEAT_SOAKED, BANK_BALANCE):
        check_all(shop, visit_id, phase)
        if phase not in (COLD_PRESET, BANK_BALANCE):
            read_round(shop, visit_id, phase)
    page = client.get(path(visit_id)).text.replace("\u00a0", " ")
    assert "put the 0.010 inch (0.254 mm) feeler alone under it" in page
    assert "How fast does the engine run now, in rpm?" in page
    above = client.get(path(visit_id) + "?above=true").text
    assert "let it come back onto the feeler. How fast does the engine run now" in above
    run(shop, visit_id, BANK_BALANCE)
    assert "Hold the meter on intake 1" in client.get(path(visit_id)).text


def test_a_training_engine_is_looked_at_for_it(client: TestClient, shop: Database) -> None:
    new = NewPractice("8-two", "sound", "hot", "KM")
    visit_id = training_start.start(shop, key(), new, record_texts(), AT)
    why = {"key": key(), "why": "To the banks", "override_by": "KM"}
    client.post(f"/visits/{visit_id}/{HEAT_SOAKED.slug}/overrides", data=why)
    check_all(shop, visit_id, BANK_BALANCE)
    assert entry(client.get(path(visit_id)).text) == "Engine speed"
    number = str(assess(visit_record(shop, visit_id)).of(BANK_BALANCE).due.round_number)
    client.post(path(visit_id, "speed"), data=sent("", round=number, practice="1"))
    (kept,) = speeds(shop, visit_id)
    with shop.reading() as session:
        idles_at = 60 * training.truth(session, visit_id).speed
    assert kept is not None
    assert kept > idles_at + 25


def told(client: TestClient, rest: str) -> Any:
    answer = client.get(rest)
    assert answer.status_code == 200, answer.text
    return answer.json()


def test_a_program_is_told_when_to_record_it_and_gets_it_back(client: TestClient, shop: Database) -> None:
    at_the_banks(shop)
    assert told(client, f"{API}/advice")["speed_round"] == 3
    body = {"key": key(), "speed_rpm": 1010, "by": "KM"}
    first, again = (client.post(f"{API}/rounds/3/speed", json=body) for _ in range(2))
    assert (first.status_code, first.json()["number"], first.json()["speed_rpm"]) == (201, 3, 1010)
    assert again.json() == first.json()
    assert told(client, f"{API}/advice")["speed_round"] is None
    assert [one["speed_rpm"] for one in told(client, "/api/visits/1/rounds")] == [None, None, 1010]
    refused = client.post(f"{API}/rounds/3/speed", json=body | {"key": key(), "speed_rpm": 12})
    assert (refused.status_code, refused.json()["errors"][0]["pointer"]) == (422, "#/speed_rpm")
    assert refused.json()["errors"][0]["code"] == "out-of-range"


def test_a_program_sees_the_stop_and_which_speed_ends_it(client: TestClient, shop: Database) -> None:
    at_the_banks(shop)
    checks.record(shop, 1, key(), BANK_BALANCE.slug, {"rev-limit": 2500.0}, "KM", AT)
    client.post(f"{API}/rounds/3/speed", json={"key": key(), "speed_rpm": 2600, "by": "KM"})
    advice = told(client, f"{API}/advice")
    assert (advice["kind"], advice["why"], advice["speed_round"]) == ("cannot", "stopped", 3)
    assert advice["waits_for_code"] == "over-rev-limit"
    assert told(client, API)["standing"]["stops"]


def test_it_is_on_paper_with_its_opening(client: TestClient, shop: Database) -> None:
    visit_id = at_the_banks(shop)
    read_round(shop, visit_id, BANK_BALANCE)
    read_round(shop, visit_id, BANK_BALANCE)
    titles = [
        line.round.title for line in file_page(assess(visit_record(shop, visit_id))).lines if line.round is not None
    ]
    assert [title.replace("\u00a0", " ").split(", ")[1:3] for title in titles[-2:]] == [
        ["0.010 in feeler", "1001 rpm"],
        ["0.030 in feeler", "1303 rpm"],
    ]
    check_all(shop, visit_id, LOCK_DOWN)
    sheet = client.get(f"/visits/{visit_id}/sheet").text.replace("\u00a0", " ")
    assert "at the 0.010 in feeler. Engine speed there: 1001 rpm." in sheet
    assert "at the 0.030 in feeler. Engine speed there: 1303 rpm." in sheet


def test_it_has_a_column_of_the_readings_as_a_table(client: TestClient, shop: Database) -> None:
    visit_id = at_the_banks(shop)
    read(shop, visit_id, BANK_BALANCE, 8.0)
    rows = list(csv.DictReader(client.get("/engines/1/readings.csv").text.splitlines()))
    assert [row["engine_rev_per_min"] for row in (rows[-1], rows[0])] == ["1001", ""]


def test_a_mistyped_speed_is_corrected_from_the_list_after_an_adjustment(client: TestClient, shop: Database) -> None:
    visit_id = at_the_banks(shop)
    client.post(path(visit_id, "speed"), data=sent("1910"))
    read(shop, visit_id, BANK_BALANCE, 9.0)
    turn = NewMove(BANK_BALANCE.slug, "stop", "A", None, None, 0.125, (), True, "KM")
    moves.make(shop, visit_id, key(), turn, AT)
    shown = client.get(path(visit_id, "recorded")).text
    assert 'aria-label="Correct the engine speed, 1910\u00a0rpm"' in shown
    shown = client.get(path(visit_id, "recorded?speed=3")).text
    assert "Engine speed in round 3: 1910\u00a0rpm" in shown
    assert client.post(path(visit_id, "speed/correct"), data=sent("12")).status_code == 422
    same = sent("1010")
    for _ in range(2):
        assert "Correct the engine speed, 1010" in client.post(path(visit_id, "speed/correct"), data=same).text
    (corrected,) = [one for one in visit_record(shop, visit_id).rounds if one.speeds]
    assert [round(60 * one.speed) for one in corrected.speeds] == [1910, 1010]
    assert corrected.speeds[1].after_move == corrected.speeds[0].after_move
    assert speeds(shop, visit_id) == [1010]


def test_while_a_speed_stops_the_engine_no_other_is_corrected(client: TestClient, shop: Database) -> None:
    visit_id = at_the_banks(shop)
    client.post(path(visit_id, "speed"), data=sent("1010"))
    while next_reading(visit_record(shop, visit_id), BANK_BALANCE).round_number == 3:
        read(shop, visit_id, BANK_BALANCE, 9.0)
    client.post(path(visit_id, "speed"), data=sent("5600", round="4"))
    assert client.post(path(visit_id, "speed/correct"), data=sent("1000")).status_code == 422
    assert client.post(path(visit_id, "speed/correct"), data=sent("1400", round="4")).status_code == 200
    assert speeds(shop, visit_id) == [1010, 1400]
