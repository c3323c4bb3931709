"""Seals: a hash of what a row of evidence says, stored with it, so that a change behind the program's back shows.

SQLite's own check looks at the shape of the file. A bit that flipped inside a stored value passes it, and so does a row
that was edited by hand; neither passes this one. It is no protection from somebody who knows how a seal is made.
"""

import hashlib
import json
import sqlite3
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

from sqlalchemy import REAL, Integer, event
from sqlmodel import Session

from app.shop.tables import Evidence

NOT_SEALED = frozenset({"id", "seal"})
"""The id is given after the seal is made; the row's ``key`` stands for it."""


def seal(row: Mapping[str, object]) -> str:
    """The seal of a row, given its columns as SQLite keeps them.

    Columns without a value are left out, so that a later migration may add one that old rows have nothing for.
    """
    said = {name: value for name, value in row.items() if value is not None and name not in NOT_SEALED}
    return hashlib.sha256(json.dumps(said, sort_keys=True).encode()).hexdigest()


@dataclass(frozen=True, slots=True)
class Seals:
    """What the seals of a file say: how many rows are ``sound``, how many were never sealed, and which were changed."""

    sound: int
    unsealed: int
    broken: tuple[tuple[str, int], ...]
    """Table and id of each row that is not what was stored."""


def check(connection: sqlite3.Connection) -> Seals:
    """Make the seal of every row again and compare. Tables from before there were seals are passed over."""
    sound, unsealed, broken = 0, 0, []
    for (table,) in connection.execute(
        "SELECT s.name FROM sqlite_schema s, pragma_table_info(s.name) c WHERE s.type = 'table' AND c.name = 'seal'"
    ).fetchall():
        rows = connection.execute(f'SELECT * FROM "{table}"')
        names = [column[0] for column in rows.description]
        for values in rows:
            row = dict(zip(names, values, strict=True))
            if not row["seal"]:
                unsealed += 1
            elif row["seal"] == seal(row):
                sound += 1
            else:
                broken.append((table, int(row["id"])))
    return Seals(sound, unsealed, tuple(broken))


def store(session: Session, row: Evidence) -> None:
    """Insert a row without the unit of work of the ORM, which takes longer than the disk. Sets its ``id``."""
    values = _columns(row)
    row.seal = values["seal"] = seal(values)
    names = [name for name in values if name != "id"]
    statement = (
        f'INSERT INTO "{row.__tablename__}" ({", ".join(chr(34) + name + chr(34) for name in names)}) '
        f"VALUES ({', '.join('?' * len(names))})"
    )
    row.id = session.connection().exec_driver_sql(statement, tuple(values[name] for name in names)).lastrowid


@event.listens_for(Evidence, "before_insert", propagate=True)
def _set(_mapper: object, _connection: object, row: Evidence) -> None:
    row.seal = seal(_columns(row))


def _columns(row: Evidence) -> dict[str, Any]:
    kept: dict[str, Any] = {}
    for column in row.__table__.columns:  # type: ignore[attr-defined]
        value = getattr(row, column.key)
        if value is not None and isinstance(column.type, REAL):
            value = float(value)
        elif value is not None and isinstance(column.type, Integer):
            value = int(value)
        kept[column.name] = value
    return kept
