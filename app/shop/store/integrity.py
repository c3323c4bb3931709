"""Examines whether a file is a sound shop, closed, open or a backup of one, without changing anything."""

import sqlite3
from collections import Counter
from collections.abc import Sequence
from contextlib import closing
from dataclasses import dataclass
from pathlib import Path

from app.shop.reasons import Reason, because
from app.shop.store import row_hashes
from app.shop.store.codes import Damage

MOST_NAMED = 5
"""Changed rows that are named; more are counted."""

APPLICATION_ID = 0x45764272
"""Written into the head of every file of ours ("EvBr"), so that no other program's file is taken for a shop."""


@dataclass(frozen=True, slots=True)
class Findings:
    """What an examination of a shop's file found. ``damage`` is None for a sound shop."""

    damage: Reason | None
    revision: str = ""
    sealed: int = 0
    unsealed: int = 0


def examine(file: Path) -> Findings:
    """Read all of ``file`` and return whether it is a sound shop.

    Raises OSError when it is missing or unreadable, and sqlite3.OperationalError when the disk or another program is
    the cause, not the file.
    """
    if file.stat().st_size == 0:  # SQLite takes it for a new database and throws its journal away
        return Findings(because(Damage.EMPTY_FILE))
    try:
        with closing(read_only(file)) as connection:
            return _findings(connection)
    except sqlite3.OperationalError:
        raise
    except sqlite3.DatabaseError as error:
        return Findings(because(Damage.DATABASE_CHECK, found=str(error)))


def read_only(file: Path) -> sqlite3.Connection:
    """A connection that cannot change ``file``; the caller closes it."""
    return sqlite3.connect(f"{file.absolute().as_uri()}?mode=ro", uri=True)


def integrity(connection: sqlite3.Connection) -> str:
    """``ok``, or what SQLite finds wrong with the file. Raises sqlite3.DatabaseError when it cannot even be read."""
    return "; ".join(str(row[0]) for row in connection.execute("PRAGMA integrity_check"))


def orphan_rows(connection: sqlite3.Connection) -> dict[str, int]:
    """How many rows of each table refer to a row that does not exist, by name of the table."""
    return dict(sorted(Counter(str(row[0]) for row in connection.execute("PRAGMA foreign_key_check")).items()))


def _findings(connection: sqlite3.Connection) -> Findings:
    connection.execute("BEGIN")  # one moment, whatever is written meanwhile
    found = integrity(connection)
    if found != "ok":
        return Findings(because(Damage.DATABASE_CHECK, found=found))
    if connection.execute("PRAGMA application_id").fetchone()[0] != APPLICATION_ID:
        return Findings(because(Damage.FOREIGN_FILE))
    versioned = "SELECT count(*) FROM sqlite_schema WHERE name = 'alembic_version'"
    row = None
    if connection.execute(versioned).fetchone()[0]:
        row = connection.execute("SELECT version_num FROM alembic_version").fetchone()
    if row is None:
        return Findings(because(Damage.NO_VERSION))
    hashed = row_hashes.check(connection)
    return Findings(_changed(hashed.broken), str(row[0]), hashed.sound, hashed.unsealed)


def _changed(broken: Sequence[tuple[str, int]]) -> Reason | None:
    rows = tuple(because(Damage.ROW, table=table, id=ident) for table, ident in broken[:MOST_NAMED])
    if len(broken) > MOST_NAMED:
        return because(Damage.MORE_ROWS_CHANGED, rows=rows, more=len(broken) - MOST_NAMED)
    return because(Damage.ROWS_CHANGED, rows=rows) if rows else None
