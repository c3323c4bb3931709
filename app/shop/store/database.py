"""The one way to a shop's records: who may open them, how a transaction begins and ends, and what can go wrong.

A shop is one folder with one SQLite file. One process has it open at a time (a lock file sees to it), and one write
goes on at a time inside that process. A write begins with BEGIN IMMEDIATE, so what it read cannot have changed by the
time it writes; it is on the disk before ``writing`` is left.
"""

import sqlite3
import sys
import threading
from collections.abc import Iterator
from contextlib import closing, contextmanager
from functools import cached_property
from pathlib import Path
from typing import IO, Any

from sqlalchemy import URL, Connection, Engine, StaticPool, create_engine, event
from sqlalchemy.exc import DBAPIError
from sqlmodel import Session

from app.shop.store.lru import LruCache

BUSY_SECONDS = 5.0
"""How long a statement waits for another program that holds the file, such as a copying tool."""

TURN_SECONDS = 10.0
"""How long a write waits for the writes before it. One takes milliseconds, so a longer wait means that one is stuck."""

PRAGMAS = (
    "journal_mode=WAL",
    "synchronous=FULL",  # NORMAL may lose an acknowledged write when the power goes
    "foreign_keys=ON",
    f"busy_timeout={BUSY_SECONDS * 1000:.0f}",
    "recursive_triggers=ON",  # without it INSERT OR REPLACE goes past the triggers that keep evidence
    "trusted_schema=ON",  # SQLite 3.40 lets no trigger keep a full-text index otherwise; the schema is our own
    "secure_delete=ON",  # a customer who was taken out is overwritten, not only let go of
)


class ShopUnavailableError(Exception):
    """The records cannot be read or written just now. The message says why and what to do, in plain words."""


class ShopTakenError(ShopUnavailableError):
    """Another process has this shop open."""


WORDS = {
    sqlite3.SQLITE_BUSY: "Another program is holding the shop's records. Close it, then try again.",
    sqlite3.SQLITE_LOCKED: "Another program is holding the shop's records. Close it, then try again.",
    sqlite3.SQLITE_FULL: "The disk is full. Free some space, then try again.",
    sqlite3.SQLITE_READONLY: "The shop's folder may not be written to. Ask whoever looks after this computer.",
    sqlite3.SQLITE_CANTOPEN: "The shop's records cannot be opened. Is the disk still there?",
    sqlite3.SQLITE_IOERR: "The disk did not answer as it should. Check it, then start the program again.",
    sqlite3.SQLITE_CORRUPT: "The shop's records are damaged. Stop, and start the program again to see what to do.",
    sqlite3.SQLITE_NOTADB: "The shop's records are damaged. Stop, and start the program again to see what to do.",
}


@contextmanager
def plain_words() -> Iterator[None]:
    """Turn what SQLite says about a file it cannot use into ShopUnavailableError; let every other error through."""
    try:
        yield
    except (sqlite3.Error, DBAPIError) as error:
        cause = error.orig if isinstance(error, DBAPIError) else error
        code = getattr(cause, "sqlite_errorcode", 0) & 0xFF  # the low byte is the family, the rest the detail
        if code not in WORDS:
            raise
        raise ShopUnavailableError(WORDS[code] + " Nothing was stored.") from error


def _lock(file: Path) -> IO[bytes]:
    """Hold ``file`` until the handle is closed or the process ends, however it ends."""
    try:
        handle = file.open("ab")
    except OSError as error:
        raise ShopUnavailableError(f"The folder {file.parent} may not be written to ({error.strerror}).") from error
    try:
        if sys.platform == "win32":
            import msvcrt

            msvcrt.locking(handle.fileno(), msvcrt.LK_NBLCK, 1)
        else:
            import fcntl

            fcntl.flock(handle, fcntl.LOCK_EX | fcntl.LOCK_NB)
    except OSError as error:
        handle.close()
        raise ShopTakenError(
            f"The shop in {file.parent} is already open in another Evenbore. "
            "Close that one first, or choose another folder with --data."
        ) from error
    return handle


class Database:
    """One shop's records, held open by this process until ``close``.

    Parameters: ``folder``, which must exist. Raises ShopTakenError when another process has the shop open. The file
    inside is neither checked nor brought up to date here: ``app.shop.store.upgrade.open_shop`` does that first.
    """

    def __init__(self, folder: Path) -> None:
        self.folder = folder
        self.file = folder / "shop.db"
        self._held = _lock(folder / "shop.lock")
        self._turn = threading.Lock()
        self._memory = LruCache()
        # The server's threads are the limit of the readers; the one used last still has its pages at hand.
        self._reads = _engine(self.file, max_overflow=-1, pool_use_lifo=True)
        event.listen(self._reads, "connect", _prepare_to_read)
        event.listen(self._reads, "begin", _begin)
        # One connection for all writes: what it knows of the file is never out of date, and nothing has to be asked.
        self._writes = _engine(self.file, poolclass=StaticPool)
        event.listen(self._writes, "connect", _prepare)
        event.listen(self._writes, "begin", _begun)

    @contextmanager
    def reading(self) -> Iterator[Session]:
        """A session that sees one moment of the records. Writing in it raises; nothing is committed."""
        with plain_words(), self._session(self._reads) as session:
            yield session
            self._keep(session)

    @contextmanager
    def writing(self) -> Iterator[Session]:
        """A session whose changes are on the disk, all of them, once the block is left; none if anything raises.

        Raises ShopUnavailableError when the file is held by another program, full or read-only, or when the write
        before this one is stuck.
        """
        if not self._turn.acquire(timeout=TURN_SECONDS):
            raise ShopUnavailableError("The write before this one is stuck. Start the program again.")
        try:
            with plain_words(), self._transaction() as connection, self._scribing(connection) as session:
                yield session
                _require_transaction(connection)
                if session.in_transaction():
                    session.commit()
                if connection.in_transaction:  # the ORM took no part in it
                    connection.commit()
                self._keep(session)
        finally:
            self._turn.release()

    @contextmanager
    def _transaction(self) -> Iterator[sqlite3.Connection]:
        """The connection for writes, in a transaction that is taken back unless it is committed inside."""
        connection = self._pen
        try:
            connection.execute("BEGIN IMMEDIATE")
            yield connection
        finally:
            if connection.in_transaction:
                connection.rollback()

    @cached_property
    def _pen(self) -> sqlite3.Connection:
        """The one connection of the engine for writes, under the ORM."""
        with closing(self._writes.raw_connection()) as held:
            connection = held.driver_connection
        assert isinstance(connection, sqlite3.Connection)
        return connection

    @contextmanager
    def _scribing(self, connection: sqlite3.Connection) -> Iterator[Session]:
        """The one session of all writes, as if it were new: making one takes longer than many a write."""
        session = self._scribe
        session.info.update(wire=connection, fresh={})
        try:
            yield session
        finally:
            if session.in_transaction() or session.identity_map:
                session.close()

    @cached_property
    def _scribe(self) -> Session:
        return self._session(self._writes)

    def _session(self, engine: Engine) -> Session:
        """``info`` has what was read before, and what this session read or stored: see ``loader.load``."""
        return Session(engine, expire_on_commit=False, info={"memory": self._memory, "fresh": {}})

    def _keep(self, session: Session) -> None:
        for key, value in session.info["fresh"].items():
            self._memory.put(key, value)

    def close(self) -> None:
        """Let the write under way finish, fold the journal into the file, and let the next process in.

        The one file is the whole shop then. No write begins after this. Closing again does nothing.
        """
        if self._held.closed:
            return
        self._turn.acquire(timeout=TURN_SECONDS)
        self._reads.dispose()
        self._writes.dispose()
        with closing(sqlite3.connect(self.file, timeout=BUSY_SECONDS)) as connection:
            connection.execute("PRAGMA wal_checkpoint(TRUNCATE)")
        self.release()

    def release(self) -> None:
        """Let the next process in without touching the file."""
        self._held.close()


def raw_connection(session: Session) -> sqlite3.Connection:
    """SQLite's own connection under a session, in its transaction, for the few statements that have to be fast."""
    connection = session.info.get("wire") or session.connection().connection.driver_connection
    assert isinstance(connection, sqlite3.Connection)
    return connection


def _engine(file: Path, **pool: Any) -> Engine:
    return create_engine(
        URL.create("sqlite", database=str(file)),
        connect_args={"check_same_thread": False, "timeout": BUSY_SECONDS},
        hide_parameters=True,  # an error goes to the log, and whose engine it was about does not
        **pool,
    )


def _prepare(connection: sqlite3.Connection, _record: object) -> None:
    connection.isolation_level = None  # the driver must not begin for us; set before the pragmas
    for pragma in PRAGMAS:
        connection.execute(f"PRAGMA {pragma}")


def _prepare_to_read(connection: sqlite3.Connection, record: object) -> None:
    _prepare(connection, record)
    connection.execute("PRAGMA query_only=ON")


def _begin(connection: Connection) -> None:
    connection.exec_driver_sql("BEGIN")


def _begun(connection: Connection) -> None:
    driver = connection.connection.driver_connection
    assert isinstance(driver, sqlite3.Connection)
    _require_transaction(driver)


def _require_transaction(connection: sqlite3.Connection) -> None:
    """Outside the one transaction of a write, statements would be stored one by one, or are gone already."""
    if not connection.in_transaction:
        raise RuntimeError("this write was ended before it was left")
