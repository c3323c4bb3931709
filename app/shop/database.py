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
from pathlib import Path
from typing import IO

from sqlalchemy import URL, Connection, Engine, create_engine, event
from sqlalchemy.exc import DBAPIError
from sqlmodel import Session

from app.shop.kept import Memory

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
    inside is neither checked nor brought up to date here: ``app.shop.upgrade.open_shop`` does that first.
    """

    def __init__(self, folder: Path) -> None:
        self.folder = folder
        self.file = folder / "shop.db"
        self._held = _lock(folder / "shop.lock")
        self._turn = threading.Lock()
        self._memory = Memory()
        self._reads = create_engine(
            URL.create("sqlite", database=str(self.file)),
            connect_args={"check_same_thread": False, "timeout": BUSY_SECONDS},
            max_overflow=-1,  # the server's threads are the limit
            hide_parameters=True,  # an error goes to the log, and whose engine it was about does not
        )
        self._writes = self._reads.execution_options(writes=True)
        event.listen(self._reads, "connect", _prepare)
        event.listen(self._reads, "begin", _begin)

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
            with plain_words(), self._session(self._writes) as session:
                yield session
                session.commit()
                self._keep(session)
        finally:
            self._turn.release()

    def _session(self, engine: Engine) -> Session:
        """``info`` has what was read before, and what this session read or stored: see ``visits.load``."""
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
        with closing(sqlite3.connect(self.file, timeout=BUSY_SECONDS)) as connection:
            connection.execute("PRAGMA wal_checkpoint(TRUNCATE)")
        self.release()

    def release(self) -> None:
        """Let the next process in without touching the file."""
        self._held.close()


def _prepare(connection: sqlite3.Connection, _record: object) -> None:
    connection.isolation_level = None  # the driver must not begin for us; set before the pragmas
    for pragma in PRAGMAS:
        connection.execute(f"PRAGMA {pragma}")


def _begin(connection: Connection) -> None:
    writes = bool(connection.get_execution_options().get("writes"))
    connection.exec_driver_sql(f"PRAGMA query_only={'OFF' if writes else 'ON'}")
    connection.exec_driver_sql("BEGIN IMMEDIATE" if writes else "BEGIN")
