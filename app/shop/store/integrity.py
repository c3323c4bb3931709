"""Is this file a whole shop? Looks without changing anything, at a shop that is closed, open, or a copy of one."""

import sqlite3
from collections import Counter
from contextlib import closing
from dataclasses import dataclass
from pathlib import Path

from app.shop.store import row_hashes

APPLICATION_ID = 0x45764272
"""Written into the head of every file of ours ("EvBr"), so that no other program's file is taken for a shop."""


@dataclass(frozen=True, slots=True)
class Findings:
    """What a look at a shop's file found. ``wrong`` is empty for a whole shop."""

    wrong: str
    revision: str = ""
    sealed: int = 0
    unsealed: int = 0


def examine(file: Path) -> Findings:
    """Read all of ``file`` and say whether it is a whole shop.

    Raises OSError when it is not there or unreadable, and sqlite3.OperationalError when the disk or another program,
    not the file, is the matter.
    """
    if file.stat().st_size == 0:  # SQLite takes it for a new database and throws its journal away
        return Findings("the file is empty")
    try:
        with closing(read_only(file)) as connection:
            return _findings(connection)
    except sqlite3.OperationalError:
        raise
    except sqlite3.DatabaseError as error:
        return Findings(str(error))


def read_only(file: Path) -> sqlite3.Connection:
    """A connection that cannot change ``file``; the caller closes it."""
    return sqlite3.connect(f"{file.absolute().as_uri()}?mode=ro", uri=True)


def integrity(connection: sqlite3.Connection) -> str:
    """``ok``, or what SQLite finds wrong with the file. Raises sqlite3.DatabaseError when it cannot even be read."""
    return "; ".join(str(row[0]) for row in connection.execute("PRAGMA integrity_check"))


def orphans(connection: sqlite3.Connection) -> dict[str, int]:
    """How many rows of each table point at a row that is not there."""
    return dict(Counter(str(row[0]) for row in connection.execute("PRAGMA foreign_key_check")))


def _findings(connection: sqlite3.Connection) -> Findings:
    connection.execute("BEGIN")  # one moment, whatever is written meanwhile
    found = integrity(connection)
    if found != "ok":
        return Findings(found)
    if connection.execute("PRAGMA application_id").fetchone()[0] != APPLICATION_ID:
        return Findings("it belongs to another program")
    versioned = "SELECT count(*) FROM sqlite_schema WHERE name = 'alembic_version'"
    row = None
    if connection.execute(versioned).fetchone()[0]:
        row = connection.execute("SELECT version_num FROM alembic_version").fetchone()
    if row is None:
        return Findings("it does not say which version of the records it holds")
    kept = row_hashes.check(connection)
    changed = ", ".join(f"{table} {ident}" for table, ident in kept.broken[:5])
    more = f" and {len(kept.broken) - 5} more" if len(kept.broken) > 5 else ""
    wrong = f"not as it was stored: {changed}{more}" if kept.broken else ""
    return Findings(wrong, str(row[0]), kept.sound, kept.unsealed)
