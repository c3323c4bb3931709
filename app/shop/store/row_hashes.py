"""Seals: a hash of what a row of evidence says, stored with it, so that a change behind the program's back shows.

SQLite's own check looks at the shape of the file. A bit that flipped inside a stored value passes it, and so does a row
that was edited by hand; neither passes this one. It is no protection from a person who knows how a seal is made.
"""

import hashlib
import json
import sqlite3
from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass
from functools import cache, partial
from typing import Any

from sqlalchemy import REAL, Column, Integer, event
from sqlmodel import Session

from app.shop.store.both.records import Wire
from app.shop.store.database import raw_connection
from app.shop.store.tables import Evidence

NOT_SEALED = frozenset({"id", "seal"})
"""The id is given after the seal is made; the row's ``key`` stands for it."""


def seal(row: Mapping[str, object]) -> str:
    """The seal of a row, given its columns as SQLite keeps them.

    Columns without a value are left out, so that a later migration may add one that old rows have nothing for.
    """
    said = {name: value for name, value in row.items() if value is not None and name not in NOT_SEALED}
    return hashlib.sha256(_ENCODER.encode(said).encode()).hexdigest()


_ENCODER = json.JSONEncoder(sort_keys=True)


@dataclass(frozen=True, slots=True)
class Seals:
    """What the seals of a file say: how many rows are ``sound``, how many were never sealed, and which were changed."""

    sound: int
    unsealed: int
    broken: tuple[tuple[str, int], ...]
    """Table and id of each row that is not what was stored."""


@dataclass(frozen=True, slots=True)
class TableSeals:
    """The same of some rows of one table, the ids of those ``broken``, and the id of the ``last`` row, 0 for none."""

    sound: int
    unsealed: int
    broken: tuple[int, ...]
    last: int


def check(connection: Wire) -> Seals:
    """Make the seal of every row again and compare. Tables from before there were seals are left out."""
    found = {table: check_table(connection, table) for table in tables_with(connection, "seal")}
    broken = tuple((table, ident) for table, one in found.items() for ident in one.broken)
    return Seals(sum(one.sound for one in found.values()), sum(one.unsealed for one in found.values()), broken)


def check_table(connection: Wire, table: str, after: int = 0, most: int | None = None) -> TableSeals:
    """The same of the rows of one table whose id is above ``after``, at most so many."""
    sound, unsealed, last, broken = 0, 0, 0, []
    limit = f" LIMIT {most:d}" if most is not None else ""
    rows = connection.execute(f'SELECT * FROM "{table}" WHERE id > ? ORDER BY id{limit}', (after,))
    names = [column[0] for column in rows.description]
    for values in rows:
        row = dict(zip(names, values, strict=True))
        last = int(row["id"])
        if not row["seal"]:
            unsealed += 1
        elif row["seal"] == seal(row):
            sound += 1
        else:
            broken.append(last)
    return TableSeals(sound, unsealed, tuple(broken), last)


def tables_with(connection: Wire, column: str) -> list[str]:
    """The tables that have a column of that name."""
    query = (
        "SELECT s.name FROM sqlite_schema s, pragma_table_info(s.name) c WHERE s.type = 'table' AND c.name = ? "
        "ORDER BY s.name"
    )
    if not isinstance(connection, sqlite3.Connection):
        query = (
            "SELECT c.relname::text FROM pg_class c JOIN pg_attribute a ON a.attrelid = c.oid WHERE c.relkind = 'r' "
            "AND c.relnamespace = current_schema()::regnamespace AND a.attname = ? ORDER BY 1"
        )
    return [str(name) for (name,) in connection.execute(query, (column,))]


def store(session: Session, table: type[Evidence], said: Mapping[str, object]) -> int:
    """Insert a row past the ORM, which takes longer than the disk, and return its id.

    ``said`` has every column but ``id`` and ``seal``. Raises KeyError when one is missing.
    """
    values = _columns(table, said.__getitem__, NOT_SEALED)
    values["seal"] = seal(values)
    added = raw_connection(session).execute(_insert(table), values).lastrowid
    assert added is not None
    return added


def prepared(table: type[Evidence], said: Mapping[str, object]) -> dict[str, Any]:
    """A row as it is stored, with its seal. ``said`` has every column but that. Raises KeyError when one is missing."""
    values = _columns(table, said.__getitem__, frozenset({"seal"}))
    return {**values, "seal": seal(values)}


def store_prepared(session: Session, table: type[Evidence], rows: Sequence[Mapping[str, Any]]) -> None:
    """Insert rows that were ``prepared``, with the ids that they have."""
    raw_connection(session).executemany(_insert(table, with_id=True), rows)


@event.listens_for(Evidence, "before_insert", propagate=True)
def _set(_mapper: object, _connection: object, row: Evidence) -> None:
    row.seal = seal(_columns(type(row), partial(getattr, row)))


def _columns(
    table: type[Evidence], value_of: Callable[[str], Any], without: frozenset[str] = frozenset()
) -> dict[str, Any]:
    kept: dict[str, Any] = {}
    for name, key, number in _shape(table):
        if name not in without:
            value = value_of(key)
            kept[name] = value if value is None or number is None else number(value)
    return kept


@cache
def _shape(table: type[Evidence]) -> list[tuple[str, str, type[float] | type[int] | None]]:
    """Each column's name, the attribute that holds it, and what SQLite makes of a number in it."""
    columns: Iterable[Column[Any]] = table.__table__.columns  # type: ignore[attr-defined]
    return [
        (c.name, c.key, float if isinstance(c.type, REAL) else int if isinstance(c.type, Integer) else None)
        for c in columns
    ]


@cache
def _insert(table: type[Evidence], *, with_id: bool = False) -> str:
    names = [name for name, _, _ in _shape(table) if with_id or name != "id"]
    columns, values = ", ".join(f'"{name}"' for name in names), ", ".join(f":{name}" for name in names)
    return f'INSERT INTO "{table.__tablename__}" ({columns}) VALUES ({values})'
