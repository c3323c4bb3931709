"""The one way to a shop's records in a file: who may open them, how a transaction begins and ends, what can go wrong.

A shop is one folder with one SQLite file. One process has it open at a time (a lock file sees to it), and one write
goes on at a time inside that process. A write begins with BEGIN IMMEDIATE, so what it read cannot have changed by the
time it writes; it is on the disk before ``writing`` is left.
"""

import sqlite3
from collections.abc import Iterator, Mapping
from contextlib import closing, contextmanager, suppress
from functools import cached_property
from pathlib import Path
from typing import Any

from filelock import BaseFileLock, FileLock, Timeout
from sqlalchemy import URL, Connection, Engine, NullPool, StaticPool, create_engine, event
from sqlalchemy.exc import DBAPIError
from sqlmodel import Session

from app.shop.reasons import Reason, because
from app.shop.store.both.records import TURN_SECONDS, Statement, Wire
from app.shop.store.both.records import Database as Database
from app.shop.store.codes import Noticed, Unavailable
from app.shop.store.folder.forgetting import TAKEN_OUT
from app.shop.store.folder.presence import Presence
from app.shop.store.lru import LruCache

BUSY_SECONDS = 5.0
"""How long a statement waits for another program that holds the file, such as a copying tool."""

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
    """The records cannot be read or written now. ``reason`` says why; ``str`` of it is for the log."""

    def __init__(self, reason: Reason) -> None:
        super().__init__(str(reason))
        self.reason = reason

    def __reduce__(self) -> tuple[Any, ...]:
        return type(self), (self.reason,)


class ShopTakenError(ShopUnavailableError):
    """Another process has this shop open."""


CAUSES: Mapping[int, Unavailable] = {
    sqlite3.SQLITE_BUSY: Unavailable.FILE_IN_USE,
    sqlite3.SQLITE_LOCKED: Unavailable.FILE_IN_USE,
    sqlite3.SQLITE_FULL: Unavailable.DISK_FULL,
    sqlite3.SQLITE_READONLY: Unavailable.READ_ONLY,
    sqlite3.SQLITE_CANTOPEN: Unavailable.FILE_MISSING,
    sqlite3.SQLITE_IOERR: Unavailable.DISK_ERROR,
    sqlite3.SQLITE_CORRUPT: Unavailable.DAMAGED_WHILE_OPEN,
    sqlite3.SQLITE_NOTADB: Unavailable.DAMAGED_WHILE_OPEN,
}
"""The reason for each family of SQLite's errors about a file that it cannot use. Nothing was stored then."""


@contextmanager
def file_errors() -> Iterator[None]:
    """Turn SQLite's errors about a file that it cannot use into ShopUnavailableError; let every other error through."""
    try:
        yield
    except (sqlite3.Error, DBAPIError) as error:
        cause = error.orig if isinstance(error, DBAPIError) else error
        code = getattr(cause, "sqlite_errorcode", 0) & 0xFF  # the low byte is the family, the rest the detail
        if code not in CAUSES:
            raise
        raise ShopUnavailableError(because(CAUSES[code])) from error


def _lock(file: Path) -> BaseFileLock:
    """Hold ``file`` until the lock is released or the process ends, however it ends."""
    # Only the system's own lock ends with the process; a marker file would outlive a crash.
    lock = FileLock(file, blocking=False, thread_local=False, fallback_to_soft=False, mode=0o600)
    try:
        lock.acquire()
    except Timeout as error:
        raise ShopTakenError(because(Unavailable.OPEN_ELSEWHERE, folder=file.parent)) from error
    except OSError as error:
        why = error.strerror or str(error)
        raise ShopUnavailableError(because(Unavailable.FOLDER_READ_ONLY, folder=file.parent, why=why)) from error
    return lock


class FileDatabase(Database):
    """One shop's records in a file, held open by this process until ``close``.

    Parameters: ``folder``, which must exist. Raises ShopTakenError when another process has the shop open. The file
    inside is neither checked nor brought up to date here: ``app.shop.store.upgrade.open_shop`` does that first.
    """

    def __init__(self, folder: Path) -> None:
        self.file = folder / "shop.db"
        # The server's threads are the limit of the readers; the one used last still has its pages at hand.
        reads = _engine(self.file, max_overflow=-1, pool_use_lifo=True)
        # One connection for all writes: what it knows of the file is never out of date, and nothing has to be asked.
        super().__init__(folder, reads, _engine(self.file, poolclass=StaticPool))
        self.lost = False
        self._presence = Presence(self.file)
        self._taken_out = False
        self._held = _lock(folder / "shop.lock")
        event.listen(self._reads, "connect", _prepare_to_read)
        event.listen(self._reads, "begin", _begin)
        event.listen(self._writes, "connect", _prepare)
        event.listen(self._writes, "begin", _begun)

    @contextmanager
    def reading(self) -> Iterator[Session]:
        """A session that sees one moment of the records. Writing in it raises; nothing is committed."""
        with file_errors(), self._session(self._reads) as session:
            if not self._presence.begun:
                self._know_the_files(session)
            yield session
            self._keep(session)

    @contextmanager
    def writing(self, *_first: Statement) -> Iterator[Session]:
        """A session whose changes are on the disk, all of them, once the block is left; none if anything raises.

        Raises ShopUnavailableError when the file is held by another program, full or read-only, when it is no longer
        the one that was opened, or when the write before this one is stuck.
        """
        if not self._turn.acquire(timeout=TURN_SECONDS):
            raise ShopUnavailableError(because(Unavailable.WRITE_STUCK))
        try:
            with file_errors(), self._transaction() as connection, self._scribing(connection) as session:
                self._require_the_files()
                with self.around_writes(session):
                    yield session
                _require_transaction(connection)
                if session.in_transaction():
                    session.commit()
                if connection.in_transaction:  # the ORM took no part in it
                    connection.commit()
                self.writes += 1
                self._require_the_files()
                self._keep(session)
                self._taken_out |= session.info[TAKEN_OUT]
            if self._taken_out:
                self._taken_out = not self._empty_journal()
        finally:
            self._turn.release()

    def answer(self, asked: Statement) -> Any:
        with self.reading() as session:
            return raw_connection(session).execute(*asked).fetchone()

    def _know_the_files(self, session: Session) -> None:
        """Note which files are open, with the connection that can still read them when they are gone."""
        if self._pen is not None:
            raw_connection(session).execute("SELECT 1 FROM sqlite_schema").fetchone()
            with suppress(OSError):
                self._presence.begin()

    def _require_the_files(self) -> None:
        """Raises ShopUnavailableError once what is written would not be found by the next start."""
        if not self._presence.begun:
            with suppress(OSError):
                self._presence.begin()
        elif self._presence.lost():
            self.lost = True
        if self.lost:
            raise ShopUnavailableError(because(Unavailable.FILE_REPLACED, folder=self.folder))

    @property
    def where(self) -> Path:
        return self.file

    def still_there(self) -> bool:
        """Whether the files are those that were opened. Once they were not, nothing is written any more."""
        self.lost = self.lost or (self._presence.begun and self._presence.lost())
        return not self.lost

    def copy_into(self, target: sqlite3.Connection) -> None:
        """Copy the records as this process has them open, even where their file is gone from its folder."""
        with self._turn:
            self._pen.backup(target)

    def _empty_journal(self) -> bool:
        """Write the journal into the file and leave nothing in it; False while another program reads the records."""
        with suppress(sqlite3.OperationalError):
            busy, _, _ = self._pen.execute("PRAGMA wal_checkpoint(TRUNCATE)").fetchone()
            if not busy:
                self.noticed = [one for one in self.noticed if one.code is not Noticed.FILE_HELD]
                return True
        if because(Noticed.FILE_HELD) not in self.noticed:
            self.noticed.append(because(Noticed.FILE_HELD))
        return False

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

    def close(self) -> bool:
        """Let the write under way finish, fold the journal into the file, and let the next process in.

        The one file is the whole shop then. False where another program holds it, so that its journal stays beside it.
        No write begins after this. Closing again does nothing.
        """
        if not self._held.is_locked:
            return True
        self._turn.acquire(timeout=TURN_SECONDS)
        here = self.still_there()
        self._reads.dispose()
        self._writes.dispose()
        folded = not here or fold_journal(self.file)
        self.release()
        return folded

    def release(self) -> None:
        """Let the next process in without touching the file."""
        self._held.release()


@contextmanager
def reading_beside(file: Path) -> Iterator[Session]:
    """A session that sees one moment of the records in ``file``, which another process has open; writing in it raises.

    For a child of that process alone: it takes no lock. Raises ShopUnavailableError.
    """
    engine = _engine(file, poolclass=NullPool)
    event.listen(engine, "connect", _prepare_to_read)
    event.listen(engine, "begin", _begin)
    info = {"memory": LruCache(), "fresh": {}, "now": None, "writes": None, TAKEN_OUT: False}
    with file_errors(), Session(engine, expire_on_commit=False, info=info) as session:
        yield session


def fold_journal(file: Path) -> bool:
    """Write the journal of a closed shop into its file; False where another program reads it, and the journal stays."""
    with closing(sqlite3.connect(file, timeout=BUSY_SECONDS)) as connection:
        busy, _, _ = connection.execute("PRAGMA wal_checkpoint(TRUNCATE)").fetchone()
    return not busy


def raw_connection(session: Session) -> Wire:
    """The driver's own connection under a session, in its transaction, for the few statements that have to be fast."""
    wire: Wire | None = session.info.get("wire") or session.connection().connection.driver_connection
    assert wire is not None
    return wire


def _engine(file: Path, **pool: Any) -> Engine:
    return create_engine(
        URL.create("sqlite", database=file.absolute().as_uri(), query={"mode": "rw", "uri": "true"}),  # makes no file
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
