"""Examines whether a file is a sound shop, closed, open or a backup of one, without changing anything."""

import os
import shutil
import sqlite3
from collections import Counter
from contextlib import closing
from dataclasses import dataclass, field
from datetime import UTC, datetime
from pathlib import Path
from tempfile import TemporaryDirectory

from app.shop.reasons import Reason, because
from app.shop.store import row_hashes
from app.shop.store.codes import Damage, HealthProblem
from app.shop.store.proof import proving
from app.shop.store.proof.proving import Proof

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
    proof: Proof = field(default_factory=Proof, repr=False, compare=False)


def examine(file: Path, *, since: bool = False) -> Findings:
    """Read all of ``file`` and return whether it is a sound shop; with ``since`` only rows that were never proved have
    their hash made again.

    Raises OSError when it is missing or unreadable, and sqlite3.OperationalError when the disk or another program is
    the cause, not the file.
    """
    if file.stat().st_size == 0:  # SQLite takes it for a new database and throws its journal away
        return Findings(because(Damage.EMPTY_FILE))
    try:
        with closing(read_only(file)) as connection:
            return _findings(connection, since=since)
    except sqlite3.OperationalError:
        raise
    except sqlite3.DatabaseError as error:
        return Findings(because(Damage.DATABASE_CHECK, found=str(error)))


def read_only(file: Path) -> sqlite3.Connection:
    """A connection that cannot change ``file``; the caller closes it.

    Beside a journal SQLite needs a file of its own. On a medium that takes none, the records are read as they lie, or
    as a copy in memory where some of them are still in the journal.
    """
    where = file.absolute().as_uri()
    if os.access(file.parent, os.W_OK):
        return sqlite3.connect(f"{where}?mode=ro", uri=True)
    journal = file.with_name(f"{file.name}-wal")
    if not journal.exists() or journal.stat().st_size == 0:
        return sqlite3.connect(f"{where}?immutable=1", uri=True)
    read = sqlite3.connect(":memory:")
    with TemporaryDirectory() as folder:
        copied = Path(shutil.copyfile(file, Path(folder) / file.name))
        shutil.copyfile(journal, copied.with_name(journal.name))
        with closing(sqlite3.connect(copied)) as source:
            source.backup(read)
    read.execute("PRAGMA query_only=ON")
    return read


def integrity(connection: sqlite3.Connection) -> str:
    """``ok``, or what SQLite finds wrong with the file. Raises sqlite3.DatabaseError when it cannot even be read."""
    return "; ".join(str(row[0]) for row in connection.execute("PRAGMA integrity_check"))


def newest_entry(connection: sqlite3.Connection) -> datetime | None:
    """When the newest entry was stored, in UTC; None in a shop without any."""
    newest = [
        connection.execute(f'SELECT at FROM "{table}" ORDER BY id DESC LIMIT 1').fetchone()
        for table in row_hashes.tables_with(connection, "at")
    ]
    return max((datetime.fromisoformat(row[0]).astimezone(UTC) for row in newest if row), default=None)


def keys_not_in(connection: sqlite3.Connection, other: Path) -> int:
    """How many rows of evidence ``connection`` holds that the shop in ``other`` does not."""
    with closing(read_only(other)) as there:
        known = row_hashes.tables_with(there, "seal")
        missing = 0
        for table in row_hashes.tables_with(connection, "seal"):
            query = f'SELECT key FROM "{table}"'
            have = {key for (key,) in there.execute(query)} if table in known else set[str]()
            missing += sum(key not in have for (key,) in connection.execute(query))
    return missing


def orphan_rows(connection: sqlite3.Connection) -> dict[str, int]:
    """How many rows of each table refer to a row that does not exist, by name of the table."""
    return dict(sorted(Counter(str(row[0]) for row in connection.execute("PRAGMA foreign_key_check")).items()))


def _findings(connection: sqlite3.Connection, *, since: bool) -> Findings:
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
    proof = proving.prove(connection, since=since)
    return Findings(damage_of(proof), str(row[0]), proof.sound, proof.unsealed, proof)


def damage_of(proof: Proof) -> Reason | None:
    """What is wrong by a proof of the row hashes: rows that were changed, or rows that are gone."""
    broken = proof.broken
    if proof.gone and not broken:
        gone = sorted(proof.gone.items())
        counted = tuple(because(HealthProblem.ROWS_OF_TABLE, count=n, table=table) for table, n in gone)
        return because(Damage.ROWS_GONE, rows=counted)
    rows = tuple(because(Damage.ROW, table=table, id=ident) for table, ident in broken[:MOST_NAMED])
    if len(broken) > MOST_NAMED:
        return because(Damage.MORE_ROWS_CHANGED, rows=rows, more=len(broken) - MOST_NAMED)
    return because(Damage.ROWS_CHANGED, rows=rows) if rows else None
