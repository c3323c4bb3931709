"""Several programs on one server: one write at a time, in the order of the commits, and nothing lost when it breaks."""

import threading
from collections.abc import Callable, Iterator
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path

import psycopg
import pytest
from sqlmodel import Session

from app.shop.reasons import because
from app.shop.store import row_hashes
from app.shop.store.both.records import Statement
from app.shop.store.database import Database, ShopUnavailableError, raw_connection
from app.shop.store.postgres import server
from app.shop.store.postgres.codes import ServerProblem
from app.shop.store.postgres.opening import open_server
from app.shop.store.postgres.server import WRITE, ServerDatabase
from tests.cluster import Cluster, cluster
from tests.shop.store.opening import ENGINE
from tests.waiting import until

LASTING = ("-c", "max_connections=40", "-c", "shared_buffers=32MB")
"""Settings of a server that keeps what it acknowledged."""


ENGINES = Statement("SELECT count(*) FROM engine")


def add(session: Session, key: str) -> None:
    """An engine of that key."""
    raw_connection(session).execute(ENGINE.format(key=key))


def add_by_the_orm(session: Session, key: str) -> None:
    """The same past the program's own way to the server."""
    session.connection().exec_driver_sql(ENGINE.format(key=key))


def keys(shop: Database) -> list[str]:
    """The keys of all engines by id."""
    with shop.reading() as session:
        return [key for (key,) in raw_connection(session).execute("SELECT key FROM engine ORDER BY id")]


@pytest.fixture
def other(server_shop: ServerDatabase, tmp_path: Path) -> Iterator[ServerDatabase]:
    """The same shop, as another program has it open."""
    opened = ServerDatabase(server_shop.address, tmp_path)
    yield opened
    opened.close()


def unavailable(do: Callable[[], object]) -> ServerProblem:
    """Why it cannot be done."""
    with pytest.raises(ShopUnavailableError) as caught:
        do()
    assert isinstance(caught.value.reason.code, ServerProblem)
    return caught.value.reason.code


def test_ids_keep_the_order_of_commits(server_shop: ServerDatabase, other: ServerDatabase) -> None:
    """Who would have the later id and be done first waits until the one before is done."""
    begun = threading.Event()

    def later() -> None:
        with other.writing() as session:
            add(session, "later")

    with ThreadPoolExecutor(1) as thread:
        with server_shop.writing() as session:
            add(session, "first")
            waiting = thread.submit(later)
            until(lambda: waits_for_the_lock(server_shop))
            assert not waiting.done()
            begun.set()
        waiting.result(30)
    assert keys(server_shop) == keys(other) == ["first", "later"]


def waits_for_the_lock(shop: ServerDatabase) -> bool:
    """Whether a write waits for another."""
    query = "SELECT count(*) FROM pg_locks WHERE locktype = 'advisory' AND objid = %s AND NOT granted"
    with psycopg.connect(shop.address) as connection:
        return connection.execute(query, (WRITE,)).fetchone() != (0,)


def test_no_update_is_lost_among_programs(server_shop: ServerDatabase, other: ServerDatabase) -> None:
    with server_shop.writing() as session:
        add(session, "a")

    def add_one(number: int) -> None:
        with (server_shop, other)[number % 2].writing() as session:
            wire = raw_connection(session)
            (seen,) = wire.execute("SELECT version FROM engine WHERE id = 1").fetchone()
            wire.execute("UPDATE engine SET version = ? WHERE id = 1", (seen + 1,))

    with ThreadPoolExecutor(4) as threads:
        list(threads.map(add_one, range(40)))
    with server_shop.reading() as session:
        assert raw_connection(session).execute("SELECT version FROM engine").fetchone() == (41,)


def test_a_reader_sees_one_moment_and_writes_nothing(server_shop: ServerDatabase, other: ServerDatabase) -> None:
    with server_shop.reading() as session:
        wire = raw_connection(session)
        before = wire.execute("SELECT count(*) FROM engine").fetchone()
        with other.writing() as writer:
            add(writer, "a")
        assert wire.execute("SELECT count(*) FROM engine").fetchone() == before

    def write() -> None:
        with server_shop.reading() as session:
            add(session, "b")

    assert unavailable(write) is ServerProblem.READ_ONLY
    assert keys(server_shop) == ["a"]


def test_a_write_that_raises_leaves_nothing(server_shop: ServerDatabase) -> None:
    def half() -> None:
        with server_shop.writing() as session:
            add(session, "a")
            raise KeyError("half-way")

    with pytest.raises(KeyError):
        half()
    with server_shop.writing() as session:
        add(session, "b")
    assert keys(server_shop) == ["b"]


@pytest.mark.parametrize("end", [Session.rollback, Session.commit])
def test_a_write_that_was_ended_inside_goes_no_further(
    server_shop: ServerDatabase, end: Callable[[Session], None]
) -> None:
    def goes_on() -> None:
        with server_shop.writing() as session:
            session.connection().exec_driver_sql("SELECT 1")
            end(session)
            session.connection().exec_driver_sql(ENGINE.format(key="a"))

    with pytest.raises(RuntimeError, match="ended before"):
        goes_on()
    assert keys(server_shop) == []


@pytest.mark.parametrize("first", [(), (ENGINES,)])
def test_a_connection_that_was_lost_is_made_anew(
    server_shop: ServerDatabase, other: ServerDatabase, first: tuple[Statement, ...]
) -> None:
    with server_shop.writing() as session:
        add(session, "a")
    assert keys(server_shop) == ["a"]
    ends(server_shop, "evenbore")
    with server_shop.writing(*first) as session:
        assert raw_connection(session).execute(*ENGINES).fetchone() == (1,)
        add(session, "b")
    assert keys(server_shop) == ["a", "b"]


def test_one_answer_is_had_again_after_the_server_was_restarted(server_shop: ServerDatabase) -> None:
    """Whichever of the connections is taken up, the one before it may be lost as well."""
    with server_shop.reading(), server_shop.reading() as session:
        raw_connection(session).execute(*ENGINES)
    assert server_shop.answer(ENGINES) == (0,)
    ends(server_shop, "evenbore")
    assert server_shop.answer(ENGINES) == (0,)


def test_one_answer_is_of_now_and_leaves_no_transaction_open(
    server_shop: ServerDatabase, other: ServerDatabase
) -> None:
    assert server_shop.answer(ENGINES) == (0,)
    with other.writing() as session:
        add(session, "a")
    assert server_shop.answer(ENGINES) == (1,)
    assert server_shop.answer(Statement("SELECT id FROM engine WHERE key = ?", ("b",))) is None
    open_ones = "SELECT count(*) FROM pg_stat_activity WHERE application_name = 'evenbore' AND state LIKE 'idle in%'"
    assert server_shop.answer(Statement(open_ones)) == (0,)


def test_what_a_write_asks_first_is_answered_once_it_has_its_turn(
    server_shop: ServerDatabase, other: ServerDatabase
) -> None:
    """It is sent with the beginning, before the write of the other program is done, and may not be answered by then."""

    def later() -> tuple[int]:
        with other.writing(ENGINES) as session:
            found: tuple[int] = raw_connection(session).execute(*ENGINES).fetchone()
            return found

    with ThreadPoolExecutor(1) as thread:
        with server_shop.writing() as session:
            waiting = thread.submit(later)
            until(lambda: waits_for_the_lock(server_shop))
            add(session, "a")
        assert waiting.result(30) == (1,)


@pytest.mark.parametrize("adds", [add, add_by_the_orm])
def test_what_a_write_asked_first_is_asked_anew_after_it_wrote(
    server_shop: ServerDatabase, adds: Callable[[Session, str], None]
) -> None:
    with server_shop.writing(ENGINES) as session:
        adds(session, "a")
        assert raw_connection(session).execute(*ENGINES).fetchone() == (1,)


def test_what_a_write_asks_first_can_be_asked_without_a_pipeline(
    server_shop: ServerDatabase, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(psycopg.Pipeline, "is_supported", lambda: False)
    with server_shop.writing(ENGINES) as session:
        assert raw_connection(session).execute(*ENGINES).fetchone() == (0,)
        add(session, "a")
    assert keys(server_shop) == ["a"]


def ends(shop: ServerDatabase, name: str) -> None:
    """End every connection of that name to a shop, as a server that restarts does."""
    with psycopg.connect(shop.address, autocommit=True) as connection:
        ours = "FROM pg_stat_activity WHERE application_name = %s AND datname = current_database()"
        connection.execute(f"SELECT pg_terminate_backend(pid) {ours}".encode(), (name,))
        until(lambda: connection.execute(f"SELECT count(*) {ours}".encode(), (name,)).fetchone() == (0,))


def test_what_was_sent_before_the_connection_was_lost_is_not_sent_again(server_shop: ServerDatabase) -> None:
    def loses_it() -> None:
        with server_shop.writing() as session:
            add(session, "a")
            ends(server_shop, "evenbore")
            add(session, "b")

    assert unavailable(loses_it) is ServerProblem.LOST
    assert keys(server_shop) == []
    with server_shop.writing() as session:
        add(session, "c")
    assert keys(server_shop) == ["c"]


def test_when_the_answer_to_a_commit_is_lost_it_is_not_said_that_nothing_was_saved(server_shop: ServerDatabase) -> None:
    def loses_the_answer() -> None:
        with server_shop.writing() as session:
            add(session, "a")
            ends(server_shop, "evenbore")

    assert unavailable(loses_the_answer) is ServerProblem.UNKNOWN_IF_SAVED


@pytest.mark.parametrize("first", [(), (ENGINES,)])
def test_a_write_waits_its_time_for_one_that_is_stuck(
    server_shop: ServerDatabase, tmp_path: Path, monkeypatch: pytest.MonkeyPatch, first: tuple[Statement, ...]
) -> None:
    monkeypatch.setattr(server, "SETTINGS", server.SETTINGS.replace("'10s'", "'200ms'"))
    other = ServerDatabase(server_shop.address, tmp_path)

    def write() -> None:
        with other.writing(*first) as session:
            add(session, "b")

    with server_shop.writing() as session:
        add(session, "a")
        assert unavailable(write) is ServerProblem.STUCK
    write()
    other.close()
    assert keys(server_shop) == ["a", "b"]


def test_a_program_that_froze_in_a_write_is_let_go_of(
    server_shop: ServerDatabase, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(server, "SETTINGS", server.SETTINGS.replace("'15s'", "'200ms'"))
    frozen = ServerDatabase(server_shop.address, tmp_path)

    def freeze() -> None:
        with frozen.writing() as session:
            add(session, "a")
            with server_shop.writing() as another:  # waits until the server lets go of the frozen one
                add(another, "b")
            add(session, "c")

    assert unavailable(freeze) is ServerProblem.LOST
    frozen.close()
    assert keys(server_shop) == ["b"]


def test_a_number_that_no_table_holds_is_no_error_of_the_server(server_shop: ServerDatabase) -> None:
    def ask() -> None:
        with server_shop.reading() as session:
            raw_connection(session).execute("SELECT 1 FROM engine WHERE id = ?::bigint", (2**70,))

    with pytest.raises(OverflowError):
        ask()


def test_two_programs_make_one_empty_database_at_once(address: str, tmp_path: Path) -> None:
    with ThreadPoolExecutor(2) as threads:
        opened = list(threads.map(lambda _: open_server(address, tmp_path), range(2)))
    for number, shop in enumerate(opened):
        with shop.writing() as session:
            add(session, str(number))
    assert keys(opened[0]) == keys(opened[1]) == ["0", "1"]
    for shop in opened:
        shop.close()


def refused(address: str, folder: Path) -> ServerProblem:
    """Why a database cannot be opened."""
    return unavailable(lambda: open_server(address, folder))


def test_what_is_not_a_database_of_ours_is_refused_in_words(
    cluster_of_tests: Cluster, address: str, tmp_path: Path
) -> None:
    assert refused("postgresql://[host/x", tmp_path) is ServerProblem.ADDRESS
    assert refused(address.replace("@", ":secret@", 1), tmp_path) is ServerProblem.PASSWORD
    assert refused(cluster_of_tests.address("nowhere"), tmp_path) is ServerProblem.NOT_LET_IN
    with psycopg.connect(address, autocommit=True) as connection:
        connection.execute("CREATE TABLE theirs (n int)")
    assert refused(address, tmp_path) is ServerProblem.FOREIGN
    with psycopg.connect(cluster_of_tests.address(), autocommit=True) as connection:
        connection.execute("CREATE DATABASE latin ENCODING 'LATIN1' LOCALE 'C' TEMPLATE template0")
    assert refused(cluster_of_tests.address("latin"), tmp_path) is ServerProblem.ENCODING


def test_an_older_program_is_refused_and_a_migration_waits_for_nobody_else(
    address: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    shop = open_server(address, tmp_path)
    with shop.writing() as session:
        raw_connection(session).execute("UPDATE alembic_version SET version_num = 'later'")
    monkeypatch.setattr("app.shop.store.postgres.opening.MIGRATE_SECONDS", "0.2")
    assert refused(address, tmp_path) is ServerProblem.IN_USE
    shop.close()
    assert refused(address, tmp_path) is ServerProblem.NEWER_PROGRAM


@pytest.mark.slow
def test_nothing_acknowledged_is_lost_when_the_server_falls(tmp_path: Path) -> None:
    """Four writers on two programs, each value sent again under its key until it is acknowledged; the server is ended
    twice with no time to write anything out, and reads its log again."""
    with cluster(LASTING) as made:
        address = made.make("lasting")
        programs = [open_server(address, tmp_path) for _ in range(2)]
        said: list[str] = []
        stop = threading.Event()

        def write(writer: int) -> None:
            number = 0
            while not stop.is_set():
                key = f"{writer}-{number}"
                try:
                    with programs[number % 2].writing() as session:
                        known = raw_connection(session).execute("SELECT 1 FROM engine WHERE key = ?", (key,)).fetchone()
                        if known is None:
                            add(session, key)
                except ShopUnavailableError:
                    continue  # under the same key, until it is stored
                said.append(key)
                number += 1

        with ThreadPoolExecutor(4) as threads:
            writers = [threads.submit(write, writer) for writer in range(4)]
            for _ in range(2):
                before = len(said)
                until(lambda before=before: len(said) > before + 20)  # type: ignore[misc]
                made.control("stop", "-m", "immediate")
                made.control("start", "-l", str(made.folder / "log"))
            before = len(said)
            until(lambda: len(said) > before + 20)
            stop.set()
            for writing in writers:
                writing.result(60)
        assert sorted(keys(programs[0])) == sorted(said)
        assert len(set(said)) == len(said)
        with programs[1].reading() as session:
            assert row_hashes.check(raw_connection(session)).broken == ()
        for one in programs:
            one.close()


def test_the_words_of_a_lost_answer_promise_no_more_than_is_known() -> None:
    from app.wording.reasons import in_words

    told = in_words(because(ServerProblem.UNKNOWN_IF_SAVED))
    assert "not known whether" in told
    assert "Nothing was saved" not in told
