"""A shop's records in a database on a PostgreSQL server.

Every write of every program begins with one lock, so what it read cannot have changed by the time it writes, and ids
keep the order of the commits: BEGIN IMMEDIATE by another name. It is READ COMMITTED, because under REPEATABLE READ the
statement that waits for the lock has seen the records as they were before it waited.
"""

import threading
import time
from collections.abc import Iterator, Sequence
from contextlib import closing, contextmanager, suppress
from pathlib import Path
from typing import Any

import psycopg
from psycopg import Pipeline
from psycopg.pq import TransactionStatus
from sqlalchemy import Connection, Engine, NullPool, Pool, StaticPool, create_engine, event
from sqlalchemy.exc import DBAPIError
from sqlmodel import Session

from app.shop.reasons import because
from app.shop.store.both.records import ANSWERED, TURN_SECONDS, Answers, Database, Statement, SupposedWrongError, Wire
from app.shop.store.both.unasked import UNASKED, ask_now, with_unasked
from app.shop.store.codes import Unavailable
from app.shop.store.database import ShopUnavailableError
from app.shop.store.folder.forgetting import TAKEN_OUT
from app.shop.store.lru import LruCache
from app.shop.store.postgres.codes import ServerProblem
from app.shop.store.postgres.dialect import NAME
from app.shop.store.postgres.failures import CommitStage, server_errors
from app.shop.store.postgres.one_row import OneRowWire
from app.shop.store.postgres.undisturbed import NEWEST_CHANGE, Undisturbed
from app.shop.store.postgres.wire import Answer, ServerWire

OPEN, WRITE, PROVE = 0x45764272, 0x45764273, 0x45764274
"""Locks of a database that every program of ours knows: of those that have it open, of the one that writes, and of the
one that proves its rows."""

CONNECT_SECONDS = 5
LOCK_SECONDS, IDLE_SECONDS = 10, 15
"""How long a write waits for another program's, and how long one that was begun may stand still: ours to judge, many
times what a write takes. A program that froze in a write is then let go of by the server."""

WRITTEN_SECONDS = 0.1
"""For how long the answer holds whether anything was written, so that many streams ask no more than one does."""

BEGIN_TO_READ = "BEGIN ISOLATION LEVEL REPEATABLE READ READ ONLY"
BEGIN_TO_WRITE = "BEGIN ISOLATION LEVEL READ COMMITTED"
WAIT_TO_WRITE = f"SELECT pg_advisory_xact_lock({WRITE})"
SETTINGS = "; ".join(
    (
        f"SET lock_timeout = '{LOCK_SECONDS}s'",
        f"SET idle_in_transaction_session_timeout = '{IDLE_SECONDS}s'",
        "SET synchronous_commit = on",
        "SET default_transaction_isolation = 'read committed'",  # of what one message stores
        "SET client_min_messages = warning",
    )
)


def connected(address: str) -> psycopg.Connection[Any]:
    """A connection that begins no transaction by itself. Raises psycopg.OperationalError."""
    return psycopg.connect(
        address,
        autocommit=True,
        cursor_factory=Answer,
        connect_timeout=CONNECT_SECONDS,
        application_name="evenbore",
        client_encoding="utf8",
    )


class ServerDatabase(Database):
    """One shop's records on a server. Several programs may have them open.

    Parameters: ``address`` as libpq takes it; ``folder``, which must exist, for what is no record. The tables are
    neither checked nor brought up to date here: ``opening.open_server`` does that first.
    """

    shared = True
    most_in_mind = 2000  # the visits of all sites

    def __init__(self, address: str, folder: Path) -> None:
        self.address = address
        super().__init__(folder, _engine(address, max_overflow=-1, pool_use_lifo=True), _engine(address, StaticPool))
        event.listen(self._reads, "begin", _begin)
        event.listen(self._writes, "connect", _prepare)
        event.listen(self._writes, "begin", self._joined)
        self._pen: psycopg.Connection[Any] | None = None
        self._wire: ServerWire | OneRowWire | None = None
        self._undisturbed = Undisturbed()
        self._closed = False
        self._asking = threading.Lock()
        self._written = (-WRITTEN_SECONDS, 0)

    @contextmanager
    def reading(self) -> Iterator[Session]:
        ask_now()
        with server_errors():
            session = self._session(self._reads)
            try:
                connection = session.connection()
            except DBAPIError as error:  # the server was restarted since; all that was sent is BEGIN
                session.close()
                if not error.connection_invalidated:
                    raise
                session = self._session(self._reads)
                connection = session.connection()
            with session:
                session.info.update({"wire": ServerWire(_driver(connection)), "writes": None})  # others write too
                yield session
                self._keep(session)
                with suppress(psycopg.OperationalError):  # what was asked is answered already
                    _driver(connection).commit()  # a rollback would have the driver forget what it has prepared

    @contextmanager
    def writing(self, *first: Statement) -> Iterator[Session]:
        ask_now()
        with (
            self._in_turn() as stage,
            self._transaction(first) as (connection, wire),
            self._scribing(wire) as session,
        ):
            with self.around_writes(session):
                yield session
            _require_transaction(connection)
            session.flush()
            stage.ending = True
            if session.in_transaction():
                session.commit()
            if connection.info.transaction_status is not TransactionStatus.IDLE:  # the ORM took no part in it
                connection.commit()
            self.writes += 1
            self._keep(session)

    @contextmanager
    def supposing(self, answers: Answers, of_one: Answers) -> Iterator[Session]:
        if not Pipeline.is_supported():
            raise SupposedWrongError
        with self._in_turn() as stage:
            self._taken_up()
            stage.ending = True
            answers = with_unasked(answers)
            whole, instead = {**answers, **of_one}, self._undisturbed.instead(of_one)
            self._wire = wire = OneRowWire(self._send, whole, None if instead is None else {**answers, **instead})
            with self._scribing(wire) as session:
                yield session
                session.flush()
                if wire.change is None:
                    raise SupposedWrongError
                self._undisturbed.stored(wire.change, session.info[ANSWERED])
                UNASKED.set(None)
                self.writes += 1
                self._keep(session)

    @contextmanager
    def _in_turn(self) -> Iterator[CommitStage]:
        """The turn of this program's writes, its errors in words. Raises ShopUnavailableError."""
        if not self._turn.acquire(timeout=TURN_SECONDS):
            raise ShopUnavailableError(because(Unavailable.WRITE_STUCK))
        try:
            with server_errors() as stage:
                yield stage
        finally:
            self._turn.release()

    def _send(self, sql: Any, values: Sequence[Any]) -> Any:
        """Store one row in the turn of all writes, by one message; on a new connection where the one before was lost.
        What was stored by then is not as supposed any more."""
        try:
            return _in_one_message(self._taken_up(), sql, values)
        except psycopg.OperationalError:
            if self._pen is not None and not (self._pen.closed or self._pen.broken):
                raise
        self._let_go()
        try:
            return _in_one_message(self._taken_up(), sql, values)
        except (psycopg.OperationalError, DBAPIError) as error:
            raise ShopUnavailableError(because(ServerProblem.UNKNOWN_IF_SAVED)) from error

    def answer(self, asked: Statement) -> Any:
        """One message there and back, where a transaction takes three."""
        ask_now()
        with server_errors():
            try:
                return self._answer(asked)
            except psycopg.OperationalError as error:
                if error.sqlstate is not None and not error.sqlstate.startswith("57"):
                    raise
                self._reads.dispose()  # the server was restarted since
                return self._answer(asked)

    def _answer(self, asked: Statement) -> Any:
        with closing(self._reads.raw_connection()) as held:
            connection = held.driver_connection
            assert isinstance(connection, psycopg.Connection)
            try:
                return ServerWire(connection).execute(*asked).fetchone()
            finally:
                if connection.closed or connection.broken:
                    held.invalidate()

    def written(self) -> int:
        """Asked of the records, for all who wait together. Raises ShopUnavailableError."""
        with self._asking:
            asked, newest = self._written
            if time.monotonic() - asked > WRITTEN_SECONDS:
                (newest,) = self.answer(NEWEST_CHANGE)
                self._written = (time.monotonic(), newest)
        return newest

    @contextmanager
    def alone(self, task: int) -> Iterator[bool]:
        """``task`` is a lock of the database, which ends with the connection that holds it."""
        with server_errors(), closing(connected(self.address)) as connection:
            row = connection.execute("SELECT pg_try_advisory_lock(%s)", (task,)).fetchone()
            yield row is not None and bool(row[0])

    @contextmanager
    def _transaction(self, first: Sequence[Statement]) -> Iterator[tuple[psycopg.Connection[Any], ServerWire]]:
        """The connection for writes, holding the lock of all writes until it is committed or left."""
        connection, wire = self._begun_to_write(first)
        self._wire = wire
        try:
            yield connection, wire
        finally:
            if connection.closed or connection.broken:
                self._let_go()
            elif connection.info.transaction_status is not TransactionStatus.IDLE:
                with suppress(psycopg.OperationalError):
                    connection.rollback()

    def _begun_to_write(self, first: Sequence[Statement]) -> tuple[psycopg.Connection[Any], ServerWire]:
        """Begin, on a new connection where the one before was lost meanwhile: nothing was written on it yet."""
        known = self._pen is not None
        connection = self._taken_up()
        try:
            return connection, _begun_with(connection, first)
        except psycopg.OperationalError:
            if not (connection.closed or connection.broken):
                connection.rollback()
                raise
            self._let_go()
            if not known:
                raise
            connection = self._taken_up()
            return connection, _begun_with(connection, first)

    def _joined(self, connection: Connection) -> None:
        """The ORM takes part in a write, past the wire."""
        if isinstance(self._wire, OneRowWire):
            self._wire.forget()
            raise SupposedWrongError
        _require_transaction(_driver(connection))
        if self._wire is not None:
            self._wire.forget()

    def _taken_up(self) -> psycopg.Connection[Any]:
        """The one connection of the engine for writes, under the ORM."""
        if self._pen is None:
            with closing(self._writes.raw_connection()) as held:
                connection = held.driver_connection
            assert isinstance(connection, psycopg.Connection)
            self._pen = connection
        return self._pen

    def _let_go(self) -> None:
        self._pen, self._undisturbed = None, Undisturbed()
        self._writes.dispose()

    @property
    def where(self) -> str:
        return self.address

    def still_there(self) -> bool:
        return True

    def close(self) -> bool:
        if not self._closed:
            self._closed = self._turn.acquire(timeout=TURN_SECONDS)
            self._reads.dispose()
            self._let_go()
        return True


def look_through(wire: Wire) -> None:
    """Have the server count what its tables hold at once, not in a minute: till then it plans as for an empty shop,
    and a search takes four times as long."""
    wire.execute("ANALYZE")


@contextmanager
def reading_server_beside(address: str) -> Iterator[Session]:
    """A session that sees one moment of the records in a database, for a child of a process that has them open.

    Writing in it raises. Raises ShopUnavailableError.
    """
    engine = _engine(address, NullPool)
    event.listen(engine, "begin", _begin)
    info = {"memory": LruCache(), "fresh": {}, "now": None, "writes": None, TAKEN_OUT: False}
    with server_errors(), Session(engine, expire_on_commit=False, info=info) as session:
        session.info["wire"] = ServerWire(_driver(session.connection()))
        yield session


def _engine(address: str, pool: type[Pool] | None = None, **how: Any) -> Engine:
    return create_engine(
        f"{NAME}://",
        creator=lambda: connected(address),
        hide_parameters=True,  # an error goes to the log, and whose engine it was about does not
        use_native_hstore=False,
        poolclass=pool,
        **how,
    )


def _driver(connection: Connection) -> psycopg.Connection[Any]:
    driver = connection.connection.driver_connection
    assert isinstance(driver, psycopg.Connection)
    return driver


def _begin(connection: Connection) -> None:
    connection.exec_driver_sql(BEGIN_TO_READ)


def _prepare(connection: psycopg.Connection[Any], _record: object) -> None:
    connection.execute(f"{SETTINGS}; SELECT pg_advisory_lock_shared({OPEN})", prepare=False)


def _begun_with(connection: psycopg.Connection[Any], first: Sequence[Statement]) -> ServerWire:
    """Begin a write, and ask in one message what it asks first, each of what stands there once it has the lock.

    Raises psycopg.OperationalError.
    """
    if not first or not Pipeline.is_supported():  # libpq before 14
        connection.execute(f"{BEGIN_TO_WRITE}; {WAIT_TO_WRITE}", prepare=False)
        return ServerWire(connection)
    wire = ServerWire(connection)
    with connection.pipeline():
        connection.execute(BEGIN_TO_WRITE)
        connection.execute(WAIT_TO_WRITE)
        answered = {one: wire.execute(*one) for one in first}
    return ServerWire(connection, answered)


def _in_one_message(connection: psycopg.Connection[Any], sql: Any, values: Sequence[Any]) -> Any:
    """The row that a statement returns, which is committed when it is here. Raises psycopg.Error."""
    with connection.pipeline():
        connection.execute(WAIT_TO_WRITE)
        answer = connection.execute(sql, values)
    return answer.fetchone()


def _require_transaction(connection: psycopg.Connection[Any]) -> None:
    """Outside the one transaction of a write, statements would be stored one by one, or are gone already."""
    if connection.info.transaction_status is TransactionStatus.IDLE:
        raise RuntimeError("this write was ended before it was left")
