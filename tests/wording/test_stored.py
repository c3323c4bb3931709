"""Texts of rows in words: codes by their enum, a person's words and the phrases of old rows as they were stored."""

from collections.abc import Iterator

import pytest
from starlette.testclient import TestClient

from app.shop.assessment.assessment import assess
from app.shop.commands import engines, meters, readings
from app.shop.commands.meters import NewMeter
from app.shop.commands.readings import NewReading
from app.shop.procedure.codes import SetAside, SkipReason
from app.shop.procedure.phases import HEAT_SOAKED
from app.shop.procedure.requirements import ChangedPart, Requirement
from app.shop.queries import activity
from app.shop.reasons import because
from app.shop.record import meter_studies
from app.shop.record.fittings import FittingReason
from app.shop.record.measures import RECORDED
from app.shop.record.meter_studies import RepeatabilitySource
from app.shop.record.stored_reasons import stored
from app.shop.store.database import Database
from app.web.application import create_app
from app.web.presenters.paper.file_page import file_page
from app.wording.message import say
from app.wording.office.activity import done
from app.wording.office.engines import hardware_reason
from app.wording.office.meters import SOURCES, known_from
from app.wording.stored import CODES, Column, as_stored, code_of, codes_of
from app.wording.work.reading_page import SET_ASIDE, SKIP_REASONS
from app.wording.work.requirements import part_name
from tests.shop.yard import AT, FOUR, engine, heat_soaked, key, read, visit_record

ORIGIN = "http://127.0.0.1"
HOT = f"/visits/1/{HEAT_SOAKED.slug}"
OLD_PHRASES: tuple[tuple[Column, str], ...] = (
    ("reading.why", "Cannot be reached"),
    ("reading.why", "Set aside: another value of this bore counts"),
    ("fitting.why", "as registered"),
    ("meter.repeatability_from", "given by its maker"),
    ("override.missing", "Every coupler tight, A complete round"),
)
NOT_SAFE = say(SKIP_REASONS[SkipReason.NOT_SAFE])


@pytest.fixture
def client(shop: Database) -> Iterator[TestClient]:
    with TestClient(create_app(shop), base_url=ORIGIN, headers={"Origin": ORIGIN}, follow_redirects=False) as opened:
        yield opened


def skip(bore: int, why: str = "", code: SkipReason | None = None) -> NewReading:
    return NewReading(HEAT_SOAKED.slug, 2, bore, "skip", None, "KM", why, why_code=code)


def skips(shop: Database) -> list[str]:
    """What is stored of the skipped bores, by bore."""
    return [row.why for _, row in sorted(visit_record(shop, 1).rounds[-1].skipped.items())]


@pytest.mark.parametrize("column", [column for column, enums in CODES.items() if enums != (Requirement,)])
def test_every_code_of_a_column_is_said_in_words(column: Column) -> None:
    for enum in CODES[column]:
        for code in enum:
            text = stored([because(code)])
            assert code_of(text) == code
            words = as_stored(text, column)
            assert words
            assert "codes:" not in words
            assert words != code


def test_codes_with_values_are_said_one_after_the_other() -> None:
    lacks = (because(Requirement.HEAT_TIME, count=1), because(Requirement.HEAT_UNREAD, what="oil"))
    text = stored([because(Requirement.PULLS, count=2), because(Requirement.HEAT_SOAK, lacks=lacks)])
    words = "2 short pulls made; Heat-soaked: 1 more minute of running, oil temperature read"
    assert as_stored(text, "override.missing") == words
    assert codes_of(text) == ("pulls", "heat-soak")


@pytest.mark.parametrize(("column", "phrase"), OLD_PHRASES)
def test_words_are_said_as_they_were_stored(column: Column, phrase: str) -> None:
    assert as_stored(phrase, column) == phrase
    assert codes_of(phrase) == ()
    assert code_of(phrase) is None


@pytest.mark.parametrize(
    "text",
    [
        "codes: see the drawing",
        "codes:",
        "codes:7",
        'codes:["not-safe"]',
        'codes:[["not-safe"]]',
        "codes:" + "[" * 3000,
        'codes:[["from-a-later-program",{}]]',
        'codes:[["pulls",{"count":2}]]',
    ],
)
def test_what_is_no_code_of_the_column_is_said_as_stored(text: str) -> None:
    assert as_stored(text, "reading.why") == text


@pytest.mark.parametrize("text", ['codes:[["pulls",{}]]', 'codes:[["item",{"phase":"x","item":"gone"}]]'])
def test_a_code_whose_values_are_not_known_does_not_stop_a_page(text: str) -> None:
    assert as_stored(text, "override.missing")


def test_a_changed_part_is_said_in_words_and_an_unknown_one_as_stored() -> None:
    assert [part_name(part.value) for part in (ChangedPart.THROTTLE_SENSOR, ChangedPart.EXHAUST)] == [
        "throttle position sensor",
        "exhaust",
    ]
    assert part_name("flywheel") == "flywheel"


def test_a_skipped_bore_stores_the_code_of_its_reason(shop: Database) -> None:
    heat_soaked(shop, FOUR)
    sent = key()
    first = readings.add(shop, 1, sent, skip(1, code=SkipReason.NOT_SAFE), AT)
    assert readings.add(shop, 1, sent, skip(1, code=SkipReason.NOT_SAFE), AT) == first
    readings.add(shop, 1, key(), skip(2, "No adapter fits"), AT)
    assert skips(shop) == ['codes:[["not-safe",{}]]', "No adapter fits"]
    remarks = file_page(assess(visit_record(shop, 1))).remarks
    assert remarks == (f"Round 2, bore 1: skipped, {NOT_SAFE} (KM).", "Round 2, bore 2: skipped, No adapter fits (KM).")


def test_a_reading_that_was_sent_before_codes_is_still_the_same_write() -> None:
    """Its contents are hashed as they were then: a tablet may hold it, or send it once more."""
    assert "why_code" not in repr(skip(1, "Cannot be reached"))
    assert "why_code" not in repr(skip(1, code=SkipReason.LATER))


def test_the_value_that_does_not_count_is_set_aside_by_a_code(shop: Database) -> None:
    heat_soaked(shop, FOUR)
    older, newer = (read(shop, 1, HEAT_SOAKED, value, bore=1) for value in (6.5, 7.5))
    readings.settle(shop, 1, key(), HEAT_SOAKED.slug, (older, newer), "newer", "KM", AT)
    row = visit_record(shop, 1).rounds[-1].entered[-1]
    assert row.why == stored([because(SetAside.OTHER_VALUE_COUNTS)])
    words = say(SET_ASIDE[SetAside.OTHER_VALUE_COUNTS])
    assert file_page(assess(visit_record(shop, 1))).remarks[-1] == f"Round 2, bore 1: skipped, {words} (KM)."


def test_first_hardware_and_a_new_meter_store_codes(shop: Database) -> None:
    engine_id = engine(shop, FOUR)
    meter_id = meters.register(shop, key(), NewMeter("Column", "mmHg", 2, 0, 760))
    with shop.reading() as session:
        why = engines.fitting_now(session, engine_id).why
        new, first = meter_studies.known(session, meter_id), meter_studies.known(session, 1)
    assert why == stored([because(FittingReason.AS_REGISTERED)])
    assert new.row.repeatability_from == stored([because(RepeatabilitySource.ESTIMATE)])
    assert hardware_reason(why) == "Recorded with the engine"
    assert hardware_reason("as registered") == "As registered"
    assert known_from(new) == known_from(first)
    assert known_from(new).casefold() == say(SOURCES[RepeatabilitySource.ESTIMATE])


def test_the_page_offers_codes_and_words_every_one(client: TestClient, shop: Database) -> None:
    heat_soaked(shop, FOUR)
    for page in (client.get(f"{HOT}/readings").text, client.get(f"{HOT}/readings?bore=1&skip=true").text):
        for code, message in SKIP_REASONS.items():
            assert f'name="why_code" value="{code}"' in page
            assert say(message) in page


@pytest.mark.parametrize(
    ("field", "value", "held"),
    [("why_code", "later", 'codes:[["later",{}]]'), ("why", "Cannot be reached", "Cannot be reached")],
)
def test_a_form_sends_the_code_and_one_of_an_old_page_its_phrase(
    client: TestClient, shop: Database, field: str, value: str, held: str
) -> None:
    heat_soaked(shop, FOUR)
    sent = {"key": key(), "round": "2", "bore": "1", "kind": "turn", "value": "", "by": "KM", "skip": "1"}
    for _ in range(2):
        assert client.post(f"{HOT}/readings", data={**sent, field: value}).status_code == 303
    assert skips(shop) == [held]


def test_a_code_that_is_none_is_refused(client: TestClient, shop: Database) -> None:
    heat_soaked(shop, FOUR)
    sent = {"key": key(), "round": "2", "bore": "1", "kind": "turn", "value": "", "by": "KM", "why_code": "bored"}
    assert client.post(f"{HOT}/readings", data=sent).status_code == 422
    assert [one.row.number for one in visit_record(shop, 1).rounds] == [1]


def test_words_are_on_the_sheet_the_table_and_the_log(client: TestClient, shop: Database) -> None:
    heat_soaked(shop, FOUR)
    readings.add(shop, 1, key(), skip(1, code=SkipReason.NOT_SAFE), AT)
    readings.add(shop, 1, key(), skip(2, "Cannot be reached"), AT)
    for path in ("/visits/1/sheet", "/engines/1/readings.csv", "/audit", "/engines/1", "/meters"):
        page = client.get(path).text
        assert "codes:" not in page, path
    for path in ("/visits/1/sheet", "/engines/1/readings.csv", "/audit"):
        page = client.get(path).text
        assert NOT_SAFE in page, path
        assert "Cannot be reached" in page, path
    with shop.reading() as session:
        log = [done(line.what, RECORDED) for line in activity.lines(session, 100)]
    assert [line.partition(", round")[0] for line in log if "skipped" in line] == [
        "Bore 2 skipped: Cannot be reached",
        f"Bore 1 skipped: {NOT_SAFE}",
    ]


def test_programs_are_told_words_and_code_and_may_send_either(client: TestClient, shop: Database) -> None:
    heat_soaked(shop, FOUR)
    skipped = {"kind": "skip", "round": 2, "by": "KM"}
    there = f"/api{HOT.replace('/visits/1/', '/visits/1/phases/')}/readings"
    for bore, sent, told in (
        (1, {"why_code": "not-safe"}, (NOT_SAFE, "not-safe")),
        (2, {"why": "No adapter fits"}, ("No adapter fits", None)),
        (3, {"why": NOT_SAFE, "why_code": "not-safe"}, (NOT_SAFE, "not-safe")),
        (4, {"why": "Cannot be reached"}, ("Cannot be reached", None)),
    ):
        answer = client.post(there, json={**skipped, **sent, "bore": bore, "key": key()})
        assert answer.status_code == 201, answer.text
        assert (answer.json()["why"], answer.json()["why_code"]) == told
    assert skips(shop)[2] == skips(shop)[0] == 'codes:[["not-safe",{}]]'
    told_again = [(one["why"], one["why_code"]) for one in client.get("/api/visits/1/rounds").json()[-1]["readings"]]
    assert told_again[:2] == [(NOT_SAFE, "not-safe"), ("No adapter fits", None)]
    for wrong in ({}, {"why": ""}, {"why_code": "bored"}, {"why_code": "other-value-counts"}):
        assert client.post(there, json={**skipped, **wrong, "bore": 1, "key": key()}).status_code == 422
    fitting = client.get("/api/engines/1").json()["fitting"]
    assert (fitting["why"], fitting["why_code"]) == ("recorded with the engine", "as-registered")
