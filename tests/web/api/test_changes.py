"""What changed, asked for and told: everything once at least, in the order of the commits, and nobody's name."""

import random
import threading
from datetime import UTC, datetime
from itertools import islice
from typing import Any, get_args

import httpx2
import pytest
from starlette.testclient import TestClient

from app.shop.commands import engines, people
from app.shop.commands.access.programs import let_one_in
from app.shop.commands.access.scopes import AccessScope
from app.shop.commands.live import filling
from app.shop.cross_check import findings
from app.shop.cross_check.findings import NewFindings, ShownAt
from app.shop.procedure.phases import HEAT_SOAKED
from app.shop.queries.changes import newest_change
from app.shop.store.database import Database, FileDatabase, raw_connection
from app.shop.store.tables import EVIDENCE, MeterDue
from app.web.api.shop import changes
from app.web.api.shop.changes import Kind
from app.web.application import create_app
from app.web.pages.shop import programs
from tests.serving import serving
from tests.shop.yard import AT, FACTS, FOUR, engine, heat_soaked, key, read_round, ready_to_sign, visit
from tests.web.api.reader import told


def every(client: TestClient, most: int) -> list[dict[str, Any]]:
    """Every change, page by page."""
    found: list[dict[str, Any]] = []
    while True:
        page = client.get("/api/changes", params={"after": found[-1]["seq"] if found else 0, "most": most}).json()
        found += page["changes"]
        if not page["more"]:
            assert not found or found[-1]["seq"] == page["newest"]
            return found


def test_pages_of_changes_join_without_a_gap_in_the_order_of_the_commits(shop: Database, client: TestClient) -> None:
    ready_to_sign(shop)
    whole = every(client, 500)
    assert [change["seq"] for change in whole] == list(range(1, len(whole) + 1))
    assert every(client, 7) == whole
    assert {change["kind"] for change in whole} >= {"engine", "fitting", "visit", "meter", "check", "reading", "round"}


def test_each_change_says_which_engine_and_visit_it_belongs_to(shop: Database, client: TestClient) -> None:
    first, second = engine(shop), engine(shop, FOUR, serial="22-0098")
    before = every(client, 500)[-1]["seq"]
    opened = visit(shop, second)
    engines.change(shop, first, 1, FACTS)
    found = client.get("/api/changes", params={"after": before}).json()["changes"]
    assert [(one["kind"], one["id"], one["engine_id"], one["visit_id"]) for one in found[:1]] == [
        ("visit", opened, second, opened)
    ]
    assert [(one["kind"], one["id"], one["visit_id"]) for one in found[1:]] in ([], [("engine", first, None)])


def test_what_the_cross_check_and_the_instruments_record_is_told_with_its_visit(
    shop: Database, client: TestClient
) -> None:
    opened = visit(shop, engine(shop))
    before = every(client, 500)[-1]["seq"]
    shown = NewFindings("heat", (ShownAt(bore=1, value=420.0), ShownAt(bore=2, value=431.0)), "°C", "KM")
    findings.add(shop, opened, key(), shown, AT)
    filling.say(shop, opened, key(), "KM", AT, active=True)
    told_of = client.get("/api/changes", params={"after": before}).json()["changes"]
    assert [(one["kind"], one["visit_id"]) for one in told_of] == [*[("finding", opened)] * 2, ("filling", opened)]


def test_people_pins_tablets_and_tokens_are_not_told_of(shop: Database, client: TestClient) -> None:
    before = every(client, 500)
    people.add(shop, key(), "Kim", "2580", "2580", AT)
    assert client.post("/programs", data={"key": key(), "name": "Bench 2", "days": "9", "read": "1"}).status_code == 200
    assert every(client, 500) == before


def test_a_write_that_was_taken_back_is_no_change(shop: Database, client: TestClient) -> None:
    before = every(client, 500)

    def fail() -> None:
        with shop.writing() as session:
            raw_connection(session).execute("INSERT INTO change (row_table, row_id) VALUES ('meter', 1)")
            raise LookupError

    with pytest.raises(LookupError):
        fail()
    assert every(client, 500) == before


ACCESS = {"person", "pin_try", "tablet", "feed", "program", "program_write", "site", "room"}
"""Who has access and from where, and what was written through whom: no program is told of these."""


def test_all_evidence_is_told_of_but_who_has_access_and_every_table_that_is_has_a_kind(shop: FileDatabase) -> None:
    with shop.reading() as session:
        found = raw_connection(session).execute("SELECT tbl_name FROM sqlite_schema WHERE name LIKE '%told_insert'")
        tables = {table for (table,) in found}
    assert tables == {"engine", *EVIDENCE} - ACCESS
    assert {"settings" if table == "setup" else table.replace("_", "-") for table in tables} == set(get_args(Kind))


def test_a_stream_tells_what_was_written_before_and_during_it(shop: Database) -> None:
    opened = heat_soaked(shop)
    with (
        serving(shop) as address,
        httpx2.Client(base_url=address, timeout=60) as client,
        client.stream("GET", "/api/events", params={"after": 0}) as stream,
    ):
        assert stream.headers["content-type"].startswith("text/event-stream")
        coming = told(stream.iter_lines())
        seen = [next(coming)]
        while seen[-1]["kind"] != "visit":
            seen.append(next(coming))
        read_round(shop, opened, HEAT_SOAKED)
        while len([one for one in seen if one["kind"] == "reading"]) < 9:
            seen.append(next(coming))
    assert [one["seq"] for one in seen] == list(range(1, len(seen) + 1))


def test_a_thousand_changes_come_in_order_to_a_reader_that_is_cut_off_at_random(shop: Database) -> None:
    """Cut off wherever it may be, the reader says what it saw last, and misses none."""
    chance, seen, wanted = random.Random(7), [0], 1000
    engine(shop)
    with shop.reading() as session:
        before = newest_change(session)

    def write() -> None:
        for _ in range(wanted):
            with shop.writing() as session:
                one = key()
                session.add(MeterDue(key=one, payload=one, meter_id=1, due="2027-05-01", why="", by="KM", at=AT))

    with serving(shop) as address, httpx2.Client(base_url=address, timeout=60) as client:
        writer = threading.Thread(target=write)
        writer.start()
        cut = 0
        while seen[-1] < before + wanted:
            headers = {"Last-Event-ID": str(seen[-1])}
            with client.stream("GET", "/api/events", headers=headers) as stream:
                for change in islice(told(stream.iter_lines()), chance.randrange(1, 120)):
                    seen.append(change["seq"])
                    if seen[-1] == before + wanted:
                        break
            cut += 1
        writer.join()
    assert seen == list(range(before + wanted + 1))
    assert cut > 5


def test_a_token_without_the_scope_opens_no_stream(shop: Database) -> None:
    app = create_app(shop)
    for scope in AccessScope:
        token = let_one_in(shop, key(), f"Bench {scope}", {scope}, 30, datetime.now(UTC))
        with TestClient(app, base_url="http://127.0.0.1") as client:
            app.state.stopping = lambda: True
            app.state.programs = programs.known(shop)
            headers = {"Authorization": f"Bearer {token}"}
            answers = [client.get(path, headers=headers).status_code for path in ("/api/events", "/api/changes")]
        assert answers == [200 if scope is AccessScope.EVENTS else 403] * 2


def test_a_stream_ends_by_itself_and_is_taken_up_where_it_was(
    shop: Database, client: TestClient, monkeypatch: pytest.MonkeyPatch
) -> None:
    visit(shop, engine(shop))
    monkeypatch.setattr(changes, "STREAM_SECONDS", 0.1)
    whole = list(told(iter(client.get("/api/events", params={"after": 0}).text.splitlines())))
    assert whole == every(client, 500)
    rest = client.get("/api/events", params={"after": 0}, headers={"Last-Event-ID": str(whole[2]["seq"])}).text
    assert list(told(iter(rest.splitlines()))) == whole[3:]
    assert list(told(iter(client.get("/api/events").text.splitlines()))) == []


def test_a_stream_too_many_is_refused_and_one_that_ended_makes_room(
    shop: Database, client: TestClient, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(changes, "STREAM_SECONDS", 0.1)
    monkeypatch.setattr(changes, "MOST_STREAMS", 1)
    assert [client.get("/api/events").status_code for _ in range(2)] == [200, 200]
    client.app.state.streams = 1  # type: ignore[attr-defined]
    refused = client.get("/api/events")
    assert (refused.status_code, refused.json()["code"]) == (503, "too-many-streams")
    assert refused.headers["Retry-After"] == "5"


def ids_of(text: str) -> list[str]:
    """The ids of a stream in their order, those that come with no change too."""
    return [line.removeprefix("id: ") for line in text.splitlines() if line.startswith("id: ")]


def test_a_stream_that_had_nothing_to_tell_is_taken_up_without_a_gap(
    shop: Database, client: TestClient, monkeypatch: pytest.MonkeyPatch
) -> None:
    """A reader from now on knows where now was, though nothing came: what is written between two streams is told."""
    opened = visit(shop, engine(shop))
    monkeypatch.setattr(changes, "STREAM_SECONDS", 0.0)
    (now,) = ids_of(client.get("/api/events").text)
    filling.say(shop, opened, key(), "KM", AT, active=True)
    monkeypatch.setattr(changes, "STREAM_SECONDS", 0.1)
    again = client.get("/api/events", headers={"Last-Event-ID": now}).text
    assert [one["kind"] for one in told(iter(again.splitlines()))] == ["filling"]


def test_a_reader_that_saw_more_than_a_restored_backup_holds_is_told_everything_again(
    shop: Database, client: TestClient, monkeypatch: pytest.MonkeyPatch
) -> None:
    engine(shop)
    whole = every(client, 500)
    monkeypatch.setattr(changes, "STREAM_SECONDS", 0.1)
    text = client.get("/api/events", params={"after": whole[-1]["seq"] + 9}).text
    first, _, rest = text.partition("\n\n")
    assert first.splitlines() == ["id: 0", "event: restored", f'data: {{"newest":{whole[-1]["seq"]}}}']
    assert list(told(iter(rest.splitlines()))) == whole
