"""Moves a whole shop between a file and a server, either way: every row with its id, every row hash proved.

What is carried is read in one moment and written in one transaction. Rows are compared column by column by what both
sides tell of themselves, and every hash is made again on the other side, before that is committed.
"""

import hashlib
import json
import sqlite3
from collections.abc import Iterator, Sequence
from contextlib import closing
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from sqlalchemy import Table

from app.shop.reasons import because
from app.shop.store import row_hashes
from app.shop.store.both.records import Database, Wire
from app.shop.store.database import ShopUnavailableError, raw_connection
from app.shop.store.live import traces
from app.shop.store.postgres.codes import ServerProblem
from app.shop.store.postgres.opening import server_name
from app.shop.store.postgres.server import ServerDatabase, look_through
from app.shop.store.tables import metadata

AT_ONCE = 500
"""Rows that are sent together."""

TOLD = "change"
"""Written by triggers as rows come in, so that it is put in their place at the end."""

BESIDE = ("meter",)
"""What a shop that was just made has rows of already; they are in the shop that is carried too."""


@dataclass(frozen=True, slots=True)
class Carried:
    """How many rows were carried, of them how many with a hash that was proved on both sides."""

    rows: int
    proved: int


def carry(source: Database, target: Database) -> Carried:
    """Carry every row of ``source``, both opened by this program, into ``target``, which was just made.

    Raises ShopUnavailableError; the target is then as it was.
    """
    with source.reading() as reader, target.writing() as writer:
        here, there = raw_connection(reader), raw_connection(writer)
        _require_empty(there, place_name(target))
        proved = _proved(here)
        tables = [table for table in metadata.sorted_tables if table.name != TOLD]
        _make_room(there, target)
        for table in tables:
            for rows in _chunks(here, table):
                _store(there, table, rows)
        _carry_changes(here, there)
        counted = 0
        for table in metadata.sorted_tables:
            mine, theirs = _digest(here, table), _digest(there, table)
            if mine != theirs:
                raise _not_carried(table.name)
            counted += mine[0]
        if _proved(there) != proved:
            raise _not_carried("seal")
        if isinstance(target, ServerDatabase):
            look_through(there)
    _carry_traces(source.folder / traces.NAME, target.folder / traces.NAME)
    return Carried(counted, proved)


def _carry_traces(here: Path, there: Path) -> None:
    """The samples behind live values, which are a file of this computer in either case."""
    if here.exists() and not there.exists():
        there.touch(mode=0o600)
        with closing(sqlite3.connect(here)) as source, closing(sqlite3.connect(there)) as target:
            source.backup(target)


def place_name(shop: Database) -> str:
    """Where a shop is, as a person knows it."""
    return server_name(shop.address) if isinstance(shop, ServerDatabase) else str(shop.folder)


def _require_empty(wire: Wire, place: str) -> None:
    """Raises ShopUnavailableError where any row was added since the shop was made."""
    for table in metadata.sorted_tables:
        most = 1 if table.name in (*BESIDE, TOLD) else 0
        (rows,) = wire.execute(f'SELECT count(*) FROM "{table.name}"').fetchone()
        if rows > most:
            raise ShopUnavailableError(because(ServerProblem.NOT_EMPTY, place=place))


def _proved(wire: Wire) -> int:
    """How many rows have a hash that holds. Raises ShopUnavailableError where one does not."""
    seals = row_hashes.check(wire)
    if seals.broken:
        table, ident = seals.broken[0]
        raise _not_carried(f"{table} {ident}")
    return seals.sound


def _not_carried(why: str) -> ShopUnavailableError:
    return ShopUnavailableError(because(ServerProblem.NOT_CARRIED, why=why))


def _make_room(wire: Wire, target: Database) -> None:
    """Let go of what a new shop begins with, the one time that a row of evidence is taken away."""
    if isinstance(target, ServerDatabase):
        for name in BESIDE:
            wire.execute(f'ALTER TABLE "{name}" DISABLE TRIGGER "{name}_only_added"')
            wire.execute(f'DELETE FROM "{name}"')
            wire.execute(f'ALTER TABLE "{name}" ENABLE TRIGGER "{name}_only_added"')
        return
    for name in BESIDE:
        trigger = f"{name}_no_delete"
        (made,) = wire.execute("SELECT sql FROM sqlite_schema WHERE name = ?", (trigger,)).fetchone()
        wire.execute(f"DROP TRIGGER {trigger}")
        wire.execute(f'DELETE FROM "{name}"')
        wire.execute(made)


def _carry_changes(here: Wire, there: Wire) -> None:
    """What programs were told of, in its own order: what the rows that came in told of themselves is let go."""
    table = metadata.tables[TOLD]
    there.execute(f'DELETE FROM "{TOLD}"')
    for rows in _chunks(here, table):
        _store(there, table, rows)


def _names(table: Table) -> list[str]:
    return [column.name for column in table.columns]


def _rows(wire: Wire, table: Table) -> Iterator[Sequence[Any]]:
    """All rows by their id: one that supersedes another comes after it."""
    columns = ", ".join(f'"{name}"' for name in _names(table))
    (order,) = table.primary_key.columns
    last: Any = None
    while True:
        where = "" if last is None else f'WHERE "{order.name}" > ?'
        query = f'SELECT {columns} FROM "{table.name}" {where} ORDER BY "{order.name}" LIMIT {AT_ONCE}'
        found = wire.execute(query, () if last is None else (last,)).fetchall()
        if not found:
            return
        yield from found
        last = found[-1][_names(table).index(order.name)]


def _chunks(wire: Wire, table: Table) -> Iterator[Sequence[Sequence[Any]]]:
    rows: list[Sequence[Any]] = []
    for row in _rows(wire, table):
        rows.append(row)
        if len(rows) == AT_ONCE:
            yield rows
            rows = []
    if rows:
        yield rows


def _store(wire: Wire, table: Table, rows: Sequence[Sequence[Any]]) -> None:
    columns = ", ".join(f'"{name}"' for name in _names(table))
    marks = ", ".join("?" * len(_names(table)))
    wire.executemany(f'INSERT INTO "{table.name}" ({columns}) VALUES ({marks})', rows)


def _digest(wire: Wire, table: Table) -> tuple[int, str]:
    """How many rows a table has, and a hash of all they say."""
    said, count = hashlib.sha256(), 0
    for row in _rows(wire, table):
        said.update(json.dumps([*row]).encode())
        count += 1
    return count, said.hexdigest()
