"""A reading decided on what is in mind goes to the server in one message; where that is outdated it is decided anew."""

import re
from collections.abc import Callable, Iterator
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path
from random import Random
from typing import Any

import psycopg
import pytest
from sqlmodel import Session

from app.shop.at_site import ASKING, Asker
from app.shop.commands import readings
from app.shop.commands.readings import NewReading
from app.shop.errors import ElsewhereError, RejectedError
from app.shop.procedure.phases import COLD_PRESET, FIRST_FIRE
from app.shop.record import revision
from app.shop.rejections import Rejection
from app.shop.store import row_hashes
from app.shop.store.both.records import Statement, SupposedWrongError
from app.shop.store.database import ShopUnavailableError, raw_connection
from app.shop.store.idempotency import asked_under
from app.shop.store.postgres import server
from app.shop.store.postgres.codes import ServerProblem
from app.shop.store.postgres.server import ServerDatabase
from app.shop.store.postgres.undisturbed import NEWEST_CHANGE, Undisturbed
from app.shop.store.tables import ReadingRow
from tests.shop.rejections import rejects
from tests.shop.yard import AT, FOUR, check_all, engine, key, read, visit, visit_record

VISIT = 1


@pytest.fixture
def begun(server_shop: ServerDatabase) -> ServerDatabase:
    """A shop with a visit in whose round one bore was read."""
    visit(server_shop, engine(server_shop, FOUR))
    check_all(server_shop, VISIT, COLD_PRESET)
    check_all(server_shop, VISIT, FIRST_FIRE)
    read(server_shop, VISIT, FIRST_FIRE)
    return server_shop


@pytest.fixture
def other(begun: ServerDatabase, tmp_path: Path) -> Iterator[ServerDatabase]:
    """The same shop, as another program has it open."""
    opened = ServerDatabase(begun.address, tmp_path)
    yield opened
    opened.close()


@pytest.fixture
def sent(monkeypatch: pytest.MonkeyPatch) -> list[str]:
    """How each write from now on went: in ``one`` message, or in a ``turn`` of its own."""
    went: list[str] = []

    def noting(name: str, real: Callable[..., Any]) -> Callable[..., Any]:
        def noted(*told: Any) -> Any:
            went.append(name)
            return real(*told)

        return noted

    monkeypatch.setattr(server, "_in_one_message", noting("one", server._in_one_message))
    monkeypatch.setattr(server, "_begun_with", noting("turn", server._begun_with))
    return went


@pytest.fixture
def asked(monkeypatch: pytest.MonkeyPatch) -> list[str]:
    """What each message from now on asks before it stores its row: how far the ``visit`` goes, or the newest ``change``
    of all."""
    went: list[str] = []
    real = server._in_one_message

    def noted(connection: psycopg.Connection[Any], sql: str, values: Any) -> Any:
        assert ("FROM visit" in sql) != ("FROM change" in sql)
        went.append("visit" if "FROM visit" in sql else "change")
        return real(connection, sql, values)

    monkeypatch.setattr(server, "_in_one_message", noted)
    return went


def add(shop: ServerDatabase, bore: int, value: float = 6.5, under: str | None = None, kind: str = "turn") -> int:
    return readings.add(shop, VISIT, under or key(), NewReading(FIRST_FIRE.slug, 1, bore, kind, value, "KM"), AT)


def stored(shop: ServerDatabase) -> list[tuple[int, float]]:
    """Bore and value of every reading, whose hashes hold, by id."""
    with shop.reading() as session:
        wire = raw_connection(session)
        assert row_hashes.check(wire).broken == ()
        return [tuple(row) for row in wire.execute("SELECT bore, value FROM reading ORDER BY id")]


def test_a_reading_goes_in_one_message_and_the_next_one_after_it(begun: ServerDatabase, sent: list[str]) -> None:
    idents = [add(begun, bore, 6.5 + bore / 4) for bore in (2, 3)]
    assert sent == ["one", "one"]
    assert idents == [2, 3]
    assert stored(begun) == [(1, 6.5), (2, 7.0), (3, 7.25)]
    assert {bore: one.value for bore, one in visit_record(begun, VISIT).rounds[-1].latest.items()} == {
        1: 6.5, 2: 7.0, 3: 7.25
    }  # fmt: skip


def test_where_nothing_was_added_by_others_no_visit_is_asked_for(
    begun: ServerDatabase, other: ServerDatabase, asked: list[str]
) -> None:
    """Of each visit that was written to since; what is stored in another visit by this very program is no other's."""
    fresh = visit(begun, engine(begun, FOUR, "40-2"))
    check_all(begun, fresh, COLD_PRESET)
    check_all(begun, fresh, FIRST_FIRE)
    read(begun, fresh, FIRST_FIRE)  # begins its round, in a turn of its own
    add(begun, 2)
    read(begun, fresh, FIRST_FIRE, bore=2)
    add(begun, 3)
    read(begun, fresh, FIRST_FIRE, bore=3)
    assert asked == ["visit", "visit", "change", "change"]
    read(other, fresh, FIRST_FIRE, bore=4)
    del asked[:]
    add(begun, 4)
    add(begun, 4, kind="again")
    assert asked == ["change", "visit", "change"]
    assert [bore for bore, _ in stored(begun)] == [1, 1, 2, 2, 3, 3, 4, 4, 4]


def test_a_visit_in_mind_as_it_was_before_is_asked_for(begun: ServerDatabase, asked: list[str]) -> None:
    """One who read it before the newest reading was stored may put it in mind after that."""
    before = begun.in_mind(VISIT)
    add(begun, 2, 7.0)
    begun._memory.put(VISIT, before)
    add(begun, 2, 7.5)
    assert asked == ["visit", "visit"]
    (pair,) = visit_record(begun, VISIT).rounds[-1].in_question
    assert [one.value for one in pair] == [7.0, 7.5]


def test_the_number_that_a_row_says_is_that_of_its_change(
    begun: ServerDatabase, monkeypatch: pytest.MonkeyPatch
) -> None:
    said: list[tuple[int, int]] = []
    real = server._in_one_message

    def noted(*told: Any) -> Any:
        said.append(real(*told))
        return said[-1]

    monkeypatch.setattr(server, "_in_one_message", noted)
    for bore in (2, 3):
        add(begun, bore)
    told = "SELECT row_id, seq FROM change WHERE row_table = 'reading' ORDER BY seq"
    with begun.reading() as session:
        found = [tuple(row) for row in raw_connection(session).execute(told)]
    assert found[1:] == said == [(2, said[0][1]), (3, said[0][1] + 1)]


def test_whatever_a_visit_depends_on_is_told(begun: ServerDatabase) -> None:
    """So that nothing of it is another while the newest change is the same."""
    asked_for = {name.strip('"') for name in re.findall(r'(?:FROM|JOIN) ("?[a-z_]+"?)', revision.QUERY)}
    assert {"visit", "engine", "reading", "study_reading"} <= asked_for
    triggers = """SELECT event_object_table, event_manipulation FROM information_schema.triggers
    WHERE trigger_name LIKE '%_told' AND trigger_schema = current_schema()"""
    with begun.reading() as session:
        told = {tuple(row) for row in raw_connection(session).execute(triggers)}
    assert {(table, "INSERT") for table in asked_for} | {("engine", "UPDATE")} <= told


def test_what_is_asked_instead_is_enough_whoever_writes() -> None:
    """Against a shop of two visits in which this program and others write at random: as often as the newest change is
    the one that is asked for, what was supposed is so."""
    luck = Random(1)
    enough = 0
    for _ in range(200):
        undisturbed, newest = Undisturbed(), luck.randrange(3)
        true = dict.fromkeys((1, 2), 0)
        in_mind = [dict(true)]
        for _ in range(30):
            one = luck.choice((1, 2))
            asks, known = Statement("visit", (one,)), luck.choice(in_mind)[one]
            newest += 1
            if luck.random() < 0.2:  # another program, or this one in a turn of its own
                true[one] = newest
                in_mind.append(dict(true))
                continue
            instead = undisturbed.instead({asks: (known,)})
            if instead is not None and instead == {NEWEST_CHANGE: (newest - 1,)}:
                assert known == true[one]
                enough += 1
            elif known != true[one]:
                newest -= 1
                continue
            true[one] = newest
            in_mind.append(dict(true))
            undisturbed.stored(newest, {asks: (newest,)})
    assert enough > 300


def test_what_another_program_added_meanwhile_is_looked_at_first(
    begun: ServerDatabase, other: ServerDatabase, sent: list[str]
) -> None:
    read(other, VISIT, FIRST_FIRE, 7.0, bore=2)
    sent.clear()
    add(begun, 2, 7.5)
    assert sent == ["one", "turn"]
    assert stored(begun) == [(1, 6.5), (2, 7.0), (2, 7.5)]
    (pair,) = visit_record(begun, VISIT).rounds[-1].in_question
    assert [one.value for one in pair] == [7.0, 7.5]


def test_what_is_added_while_it_waits_for_its_turn_is_looked_at_too(
    begun: ServerDatabase, other: ServerDatabase, sent: list[str]
) -> None:
    """The message is at the server before the other write is through, and is not to go by what it found there then."""
    waits = Statement("SELECT count(*) FROM pg_locks WHERE locktype = 'advisory' AND NOT granted")
    with ThreadPoolExecutor(1) as thread:
        with other.writing() as session:
            wire = raw_connection(session)
            waiting = thread.submit(add, begun, 2, 7.5)
            while wire.execute(*waits).fetchone() == (0,):
                pass
            row = wire.execute('SELECT * FROM "reading" ORDER BY id').fetchone()
            said = dict(zip((c[0] for c in wire.execute('SELECT * FROM "reading"').description), row, strict=True))
            row_hashes.store(session, ReadingRow, {**said, "key": key(), "bore": 2, "value": 7.0})
        assert waiting.result(30) == 3
    assert sent == ["turn", "one", "turn"]
    (pair,) = visit_record(begun, VISIT).rounds[-1].in_question
    assert [one.value for one in pair] == [7.0, 7.5]


def test_the_same_key_at_two_programs_is_stored_once(begun: ServerDatabase, other: ServerDatabase) -> None:
    same = key()
    visit_record(other, VISIT)  # so that it has the visit in mind
    assert add(begun, 2, under=same) == add(other, 2, under=same) == add(begun, 2, under=same)
    assert stored(begun) == [(1, 6.5), (2, 6.5)]
    with rejects(Rejection.KEY_REUSED, kind=RejectedError):
        add(other, 2, 7.0, under=same)


def test_what_wants_more_than_a_row_and_what_is_refused_is_decided_in_its_turn(
    begun: ServerDatabase, sent: list[str]
) -> None:
    with rejects(Rejection.NO_SUCH_BORE, kind=RejectedError):
        add(begun, 9)
    assert sent == ["turn"]
    fresh = visit(begun, engine(begun, FOUR, "40-2"))
    check_all(begun, fresh, COLD_PRESET)
    check_all(begun, fresh, FIRST_FIRE)
    sent.clear()
    read(begun, fresh, FIRST_FIRE)  # begins its round
    read(begun, fresh, FIRST_FIRE)
    assert sent == ["turn", "one"]


def ends(shop: ServerDatabase) -> None:
    with psycopg.connect(shop.address, autocommit=True) as connection:
        connection.execute(
            "SELECT pg_terminate_backend(pid, 5000) FROM pg_stat_activity "
            "WHERE application_name = 'evenbore' AND datname = current_database()"
        )


def test_a_connection_that_was_lost_is_made_anew(begun: ServerDatabase, sent: list[str]) -> None:
    ends(begun)
    assert add(begun, 2) == 2
    assert sent == ["one", "one"]
    assert stored(begun) == [(1, 6.5), (2, 6.5)]


def test_a_row_whose_answer_was_lost_is_found_by_its_key(
    begun: ServerDatabase, monkeypatch: pytest.MonkeyPatch
) -> None:
    real = server._in_one_message

    def loses(connection: psycopg.Connection[Any], *told: Any) -> Any:
        monkeypatch.setattr(server, "_in_one_message", real)
        real(connection, *told)
        connection.close()
        raise psycopg.OperationalError

    monkeypatch.setattr(server, "_in_one_message", loses)
    assert add(begun, 2) == 2
    assert stored(begun) == [(1, 6.5), (2, 6.5)]


def test_where_no_answer_can_be_had_it_is_not_said_that_nothing_was_saved(
    begun: ServerDatabase, monkeypatch: pytest.MonkeyPatch
) -> None:
    def gone(*_: object) -> psycopg.Connection[Any]:
        raise psycopg.OperationalError("connection refused")

    ends(begun)
    monkeypatch.setattr(server, "connected", gone)
    with pytest.raises(ShopUnavailableError) as caught:
        add(begun, 2)
    assert caught.value.reason.code is ServerProblem.UNKNOWN_IF_SAVED
    monkeypatch.undo()
    assert stored(begun) == [(1, 6.5)]
    assert add(begun, 2) == 2


def test_a_tablet_of_another_site_is_refused(begun: ServerDatabase, sent: list[str]) -> None:
    """The visit is of no site, so every site records in it; and one of a site is kept to it."""
    before = ASKING.set(Asker(1))
    try:
        of_a_site = visit(begun, engine(begun, FOUR, "40-2"))
        check_all(begun, of_a_site, COLD_PRESET)
        check_all(begun, of_a_site, FIRST_FIRE)
        read(begun, of_a_site, FIRST_FIRE)
        sent.clear()
        read(begun, of_a_site, FIRST_FIRE)
        assert sent == ["one"]
        ASKING.set(Asker(2))
        with pytest.raises(ElsewhereError):
            read(begun, of_a_site, FIRST_FIRE)
        assert sent == ["one", "turn"]
    finally:
        ASKING.reset(before)


def test_nothing_but_the_row_is_asked_and_nothing_after_it(begun: ServerDatabase) -> None:
    new = key()
    supposed = {asked_under(ReadingRow, new): None}

    def asks(session: Session) -> None:
        raw_connection(session).execute("SELECT count(*) FROM reading")

    def by_the_orm(session: Session) -> None:
        session.get(ReadingRow, 1)

    for other_way in (asks, by_the_orm, lambda _: None):
        with pytest.raises(SupposedWrongError), begun.supposing(supposed, {}) as session:
            other_way(session)
    before = visit_record(begun, VISIT).rounds[-1].entered[-1]
    said = {name: getattr(before, name) for name in ("kind", "unit", "why", "by", "at", "value", "sd", "look_id")}
    said |= {name: getattr(before, name) for name in ("speed", "fixed", "alike")}
    row = {**said, "key": new, "payload": "", "round_id": before.round_id, "bore": 2, "supersedes_id": None}

    def asks_after_it(session: Session) -> None:
        assert row_hashes.store(session, ReadingRow, row) == 2
        asks(session)

    with pytest.raises(RuntimeError, match="asks more after it"), begun.supposing(supposed, {}) as session:
        asks_after_it(session)
