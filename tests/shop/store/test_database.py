"""One process, one write at a time, on the disk before it is answered."""

import multiprocessing
import multiprocessing.pool
import sqlite3
import threading
from collections.abc import Callable, Iterator
from concurrent.futures import ThreadPoolExecutor
from contextlib import closing
from pathlib import Path

import pytest
from sqlalchemy import text
from sqlmodel import Session

from app.shop.reasons import because
from app.shop.store import database
from app.shop.store.codes import Unavailable
from app.shop.store.database import FileDatabase, ShopTakenError, ShopUnavailableError, raw_connection


def run(session: Session, statement: str) -> None:
    session.connection().exec_driver_sql(statement)


def number(session: Session, query: str) -> int:
    return int(session.connection().exec_driver_sql(query).scalar_one())


@pytest.fixture
def counter(shop: FileDatabase) -> FileDatabase:
    """A shop with a table of one number in it."""
    with shop.writing() as session:
        run(session, "CREATE TABLE counter (n INTEGER NOT NULL) STRICT")
        run(session, "INSERT INTO counter VALUES (0)")
    return shop


@pytest.mark.parametrize(
    ("pragma", "value"),
    [
        ("journal_mode", "wal"),
        ("synchronous", 2),  # FULL, in SQLite's own numbering
        ("foreign_keys", 1),
        ("busy_timeout", 5000),
        ("recursive_triggers", 1),
        ("trusted_schema", 1),
    ],
)
def test_every_connection_has_the_settings(shop: FileDatabase, pragma: str, value: object) -> None:
    for enter in (shop.reading, shop.writing):
        with enter() as session:
            assert session.connection().exec_driver_sql(f"PRAGMA {pragma}").scalar_one() == value


def test_no_update_is_lost_among_threads(counter: FileDatabase) -> None:
    """Each reads the number and writes it back one higher: with the driver's own BEGIN, most of them get lost."""

    def add_one(_: int) -> None:
        with counter.writing() as session:
            seen = number(session, "SELECT n FROM counter")
            run(session, f"UPDATE counter SET n = {seen + 1}")

    with ThreadPoolExecutor(8) as threads:
        list(threads.map(add_one, range(200)))
    with counter.reading() as session:
        assert number(session, "SELECT n FROM counter") == 200


def test_a_write_holds_other_programs_off_from_its_first_read(counter: FileDatabase) -> None:
    with counter.writing() as session, closing(sqlite3.connect(counter.file, timeout=0)) as other:
        assert number(session, "SELECT n FROM counter") == 0
        with pytest.raises(sqlite3.OperationalError, match="locked"):
            other.execute("UPDATE counter SET n = 7")


def test_a_reader_sees_one_moment(counter: FileDatabase) -> None:
    with counter.reading() as reader:
        before = number(reader, "SELECT n FROM counter")
        with counter.writing() as session:
            run(session, "UPDATE counter SET n = 5")
        assert number(reader, "SELECT n FROM counter") == before
    with counter.reading() as reader:
        assert number(reader, "SELECT n FROM counter") == 5


def test_a_write_is_on_the_disk_when_it_is_left(counter: FileDatabase) -> None:
    with counter.writing() as session:
        run(session, "UPDATE counter SET n = 5")
    with closing(sqlite3.connect(counter.file)) as other:
        assert other.execute("SELECT n FROM counter").fetchone() == (5,)


def test_an_exception_takes_all_of_a_write_back(counter: FileDatabase) -> None:
    def half() -> None:
        with counter.writing() as session:
            run(session, "UPDATE counter SET n = 5")
            raise KeyError("half-way")

    with pytest.raises(KeyError):
        half()
    with counter.writing() as session:  # and the next write gets its turn
        assert number(session, "SELECT n FROM counter") == 0


def test_a_write_past_the_orm_is_kept_and_taken_back_like_any_other(counter: FileDatabase) -> None:
    def half() -> None:
        with counter.writing() as session:
            raw_connection(session).execute("UPDATE counter SET n = 6")
            raise KeyError("half-way")

    with counter.writing() as session:
        raw_connection(session).execute("UPDATE counter SET n = 5")
    with closing(sqlite3.connect(counter.file)) as other:
        assert other.execute("SELECT n FROM counter").fetchone() == (5,)
    with pytest.raises(KeyError):
        half()
    with counter.writing() as session:
        raw_connection(session).execute("UPDATE counter SET n = n + 1")
        run(session, "UPDATE counter SET n = n + 1")
    with counter.reading() as session:
        assert raw_connection(session).execute("SELECT n FROM counter").fetchone() == (7,)
        assert number(session, "SELECT n FROM counter") == 7


@pytest.mark.parametrize("end", [Session.rollback, Session.commit])
def test_a_write_that_was_ended_inside_goes_no_further(counter: FileDatabase, end: Callable[[Session], None]) -> None:
    def goes_on() -> None:
        with counter.writing() as session:
            number(session, "SELECT n FROM counter")
            end(session)
            run(session, "UPDATE counter SET n = 5")

    def keeps_silent() -> None:
        with counter.writing() as session:
            run(session, "UPDATE counter SET n = 5")
            counter._pen.rollback()  # as SQLite itself does when the disk is full

    for ended in (goes_on, keeps_silent):
        with pytest.raises(RuntimeError, match="ended before"):
            ended()
    with counter.reading() as session:
        assert number(session, "SELECT n FROM counter") == 0


def test_a_commit_that_fails_is_not_answered_as_stored(counter: FileDatabase, monkeypatch: pytest.MonkeyPatch) -> None:
    def fails(_: Session) -> None:
        raise RuntimeError("the commit did not happen")

    def write() -> str:
        with counter.writing() as session:
            run(session, "UPDATE counter SET n = 5")
        return "stored"

    with monkeypatch.context() as patch:
        patch.setattr(Session, "commit", fails)
        with pytest.raises(RuntimeError, match="did not happen"):
            write()
    with counter.reading() as session:
        assert number(session, "SELECT n FROM counter") == 0


def test_a_reading_session_cannot_write(counter: FileDatabase) -> None:
    with counter.reading() as session, pytest.raises(Exception, match="readonly"):
        run(session, "UPDATE counter SET n = 5")


def test_a_mistake_in_a_statement_is_not_dressed_up(counter: FileDatabase) -> None:
    with pytest.raises(Exception, match="no such table") as caught, counter.reading() as session:
        session.connection().execute(text("SELECT * FROM nowhere"))
    assert not isinstance(caught.value, ShopUnavailableError)


def write_five(counter: FileDatabase) -> None:
    with counter.writing() as session:
        run(session, "UPDATE counter SET n = 5")


def test_another_program_that_holds_the_file_is_named_as_the_trouble(counter: FileDatabase) -> None:
    counter._pen.execute("PRAGMA busy_timeout=50")
    with closing(sqlite3.connect(counter.file, isolation_level=None)) as other:
        other.execute("BEGIN IMMEDIATE")
        with pytest.raises(ShopUnavailableError) as caught:
            write_five(counter)
    assert caught.value.reason == because(Unavailable.FILE_IN_USE)
    write_five(counter)


def test_a_full_disk_is_said_and_harms_nothing(counter: FileDatabase) -> None:
    """``max_page_count`` makes SQLite meet the very error that a full disk gives (SQLITE_FULL)."""

    def write_too_much() -> None:
        with counter.writing() as session:
            pages = number(session, "PRAGMA page_count")
            run(session, f"PRAGMA max_page_count = {pages + 2}")
            run(session, "UPDATE counter SET n = 5")
            run(session, "CREATE TABLE big (b BLOB)")
            run(session, "INSERT INTO big VALUES (zeroblob(1000000))")

    with pytest.raises(ShopUnavailableError) as caught:
        write_too_much()
    assert caught.value.reason == because(Unavailable.DISK_FULL)
    with counter.reading() as session:
        assert number(session, "SELECT n FROM counter") == 0
        assert session.connection().exec_driver_sql("PRAGMA integrity_check").scalar_one() == "ok"
        run(session, "PRAGMA max_page_count = 1000000")  # space is there again
    write_five(counter)


def test_a_stuck_write_does_not_hold_the_others_for_ever(
    counter: FileDatabase, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(database, "TURN_SECONDS", 0.05)
    inside, leave = threading.Event(), threading.Event()

    def stuck() -> None:
        with counter.writing():
            inside.set()
            leave.wait(10)

    thread = threading.Thread(target=stuck)
    thread.start()
    inside.wait(10)
    with pytest.raises(ShopUnavailableError) as caught:
        write_five(counter)
    assert caught.value.reason == because(Unavailable.WRITE_STUCK)
    leave.set()
    thread.join()
    write_five(counter)


def test_a_shop_is_open_once(shop: FileDatabase) -> None:
    with pytest.raises(ShopTakenError) as caught:
        FileDatabase(shop.folder)
    assert caught.value.reason == because(Unavailable.OPEN_ELSEWHERE, folder=shop.folder)


def try_to_open(folder: Path) -> str:
    try:
        FileDatabase(folder).close()
    except ShopTakenError as error:
        return error.reason.code
    return "opened"


@pytest.fixture
def elsewhere() -> Iterator[multiprocessing.pool.Pool]:
    with multiprocessing.get_context("spawn").Pool(1) as pool:
        yield pool


def test_another_process_is_kept_out_until_the_shop_is_closed(
    shop: FileDatabase, elsewhere: multiprocessing.pool.Pool
) -> None:
    assert elsewhere.apply(try_to_open, (shop.folder,)) is Unavailable.OPEN_ELSEWHERE
    shop.close()
    assert elsewhere.apply(try_to_open, (shop.folder,)) == "opened"


def test_a_closed_shop_is_one_file(counter: FileDatabase) -> None:
    write_five(counter)
    counter.close()
    assert sorted(file.name for file in counter.folder.iterdir()) == ["shop.db", "shop.lock"]


def test_closing_waits_for_the_write_under_way(counter: FileDatabase) -> None:
    inside = threading.Event()
    leave = threading.Event()

    def slow() -> None:
        with counter.writing() as session:
            run(session, "UPDATE counter SET n = 9")
            inside.set()
            leave.wait(10)

    thread = threading.Thread(target=slow)
    thread.start()
    inside.wait(10)
    threading.Timer(0.2, leave.set).start()
    counter.close()
    thread.join()
    with closing(sqlite3.connect(counter.file)) as after:
        assert after.execute("SELECT n FROM counter").fetchone() == (9,)
