"""A database of every version that a server ever had, with rows in every table, is opened by the newest program with
all rows and their hashes as they were; and what an older program cannot read, it refuses."""

import hashlib
import json
from collections.abc import Iterator, Mapping
from contextlib import contextmanager
from pathlib import Path

import psycopg
import pytest
from psycopg.rows import dict_row
from sqlalchemy import Double, Inspector, Integer, create_engine, inspect
from sqlalchemy.engine.interfaces import ReflectedColumn

from app.places import migrations
from app.shop.store import row_hashes
from app.shop.store.database import ShopUnavailableError, raw_connection
from app.shop.store.postgres.codes import ServerProblem
from app.shop.store.postgres.opening import open_server
from app.shop.store.postgres.server import connected
from app.shop.store.tables import EVIDENCE
from tests.shop.store import baseline

Row = dict[str, object]

FIRST = baseline.newest().stem.removeprefix("tables-")
OLDER = sorted(file.name[:4] for file in (migrations() / "versions").glob("0*.py") if file.name[:4] >= FIRST)[:-1]
"""The revisions that servers had before the newest one: the frozen tables, and each migration after them."""

ROWS = (1, 2, 3)
OUTSIDE = ("search_", "alembic_version", "change")
"""Made from the rows by the database itself, or counted there."""

SINCE = {"site", "room", "elsewhere"}
"""Tables of evidence that came with a migration."""

SAID: Mapping[str, Mapping[str, object]] = {
    "channel_check": {"kind": "ambient", "spread": 0.1},
    "engine_event": {"what": "started"},
    "finding": {"value": 1.5, "bank": ""},
    "reading": {"kind": "turn", "value": 0.1 + 0.2},
}
"""What the rules of a table ask for."""


@pytest.fixture(params=OLDER)
def earlier(request: pytest.FixtureRequest, scripts: Path) -> Path:
    """The migrations as the program had them when a revision was the newest."""
    for file in (scripts / "versions").glob("0*.py"):
        if file.name[:4] > request.param:
            file.unlink()
    return scripts


@contextmanager
def looked_into(address: str) -> Iterator[tuple["psycopg.Connection[Row]", Inspector]]:
    """A connection of the owner, and what the tables are."""
    engine = create_engine("postgresql+psycopg://", creator=lambda: connected(address), use_native_hstore=False)
    try:
        with psycopg.connect(address, autocommit=True, row_factory=dict_row) as connection:
            yield connection, inspect(engine)
    finally:
        engine.dispose()


def a_value(table: str, column: ReflectedColumn, number: int) -> object:
    """What a column holds that has to hold something: another in each row, in full precision."""
    if isinstance(column["type"], Integer):
        return number
    return number + 0.1 + 0.2 if isinstance(column["type"], Double) else f"{table} {number} \u00e4"


def a_row(of: Inspector, table: str, number: int) -> Row:
    """A row as a program stored it, with its hash where the table has one: of what it says as JSON, the id left out."""
    columns = of.get_columns(table)
    row: Row = {one["name"]: None if one["nullable"] else a_value(table, one, number) for one in columns}
    row |= SAID.get(table, {})
    if "seal" in row:
        told = {name: value for name, value in row.items() if value is not None and name not in ("id", "seal")}
        row["seal"] = hashlib.sha256(json.dumps(told, sort_keys=True).encode()).hexdigest()
    return row


def stored(connection: "psycopg.Connection[Row]", table: str, row: Row) -> Row:
    names, places = ", ".join(f'"{name}"' for name in row), ", ".join("%s" for _ in row)
    query = f'INSERT INTO "{table}" ({names}) VALUES ({places}) RETURNING *'
    found = connection.execute(query.encode(), list(row.values())).fetchone()
    assert found is not None
    return found


def filled(connection: "psycopg.Connection[Row]", of: Inspector) -> dict[str, list[Row]]:
    """Rows in every table, what is referred to first; a new shop begins with a meter."""
    tables = [str(table) for table, _ in of.get_sorted_table_and_fkc_names() if table]
    found: dict[str, list[Row]] = {}
    for table in tables:
        if not table.startswith(OUTSIDE):
            there = connection.execute(f'SELECT * FROM "{table}"'.encode()).fetchall()
            found[table] = there + [stored(connection, table, a_row(of, table, n)) for n in ROWS[len(there) :]]
    return found


def test_an_old_database_keeps_its_rows_and_their_hashes(address: str, earlier: Path, tmp_path: Path) -> None:
    open_server(address, tmp_path, earlier).close()
    with looked_into(address) as (connection, of):
        before = filled(connection, of)
        assert before.keys() >= {*EVIDENCE} - SINCE
        (changes,) = connection.execute("SELECT count(*) AS n FROM change").fetchall()
    shop = open_server(address, tmp_path)
    with shop.reading() as session:
        seals = row_hashes.check(raw_connection(session))
    shop.close()
    sealed = [row for rows in before.values() for row in rows if "seal" in row]
    assert (seals.broken, seals.sound, seals.unsealed) == ((), len(sealed), 0)
    with looked_into(address) as (connection, of):
        assert connection.execute("SELECT count(*) AS n FROM change").fetchall() == [changes]
        for table, rows in before.items():
            after = connection.execute(f'SELECT * FROM "{table}"'.encode()).fetchall()
            new = dict.fromkeys(after[0].keys() - rows[0].keys())
            assert sorted(after, key=repr) == sorted(({**row, **new} for row in rows), key=repr), table
            if table in ("engine", *EVIDENCE):
                added = {name: value for name, value in a_row(of, table, 4).items() if name != "id"}
                assert stored(connection, table, added)["id"] == 4, "numbered after the rows that were there"
            if table in EVIDENCE:
                with pytest.raises(psycopg.errors.IntegrityConstraintViolation):
                    connection.execute(f'UPDATE "{table}" SET payload = payload'.encode())


@pytest.mark.parametrize("earlier", OLDER[-1:], indirect=True)
def test_an_older_program_refuses_a_newer_database(address: str, earlier: Path, tmp_path: Path) -> None:
    open_server(address, tmp_path).close()
    with pytest.raises(ShopUnavailableError) as caught:
        open_server(address, tmp_path, earlier)
    assert caught.value.reason.code is ServerProblem.NEWER_PROGRAM
