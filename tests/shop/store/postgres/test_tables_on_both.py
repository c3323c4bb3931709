"""The tables of a server are those of a file: columns, types, rules, and what keeps evidence."""

import re
import sqlite3
from collections.abc import Iterator
from contextlib import closing
from pathlib import Path
from typing import Any

import psycopg
import pytest
from sqlalchemy import REAL, Double, Engine, Inspector, Integer, create_engine, inspect
from sqlalchemy.exc import IntegrityError
from sqlmodel import Session

from app.shop.procedure.phases import COLD_PRESET, FIRST_FIRE
from app.shop.record.revision import OF_ONE
from app.shop.store import row_hashes
from app.shop.store.database import Database, FileDatabase, raw_connection
from app.shop.store.postgres.opening import RUNS, open_server
from app.shop.store.postgres.server import ServerDatabase, connected
from app.shop.store.postgres.wire import spelled
from app.shop.store.tables import EVIDENCE, MeterRow
from app.shop.store.tables import Engine as EngineRow
from tests.cluster import Cluster
from tests.shop.store import baseline
from tests.shop.store.opening import ENGINE
from tests.shop.store.postgres.damaging import refused
from tests.shop.yard import FOUR, check_all, engine, read, visit

OUTSIDE = ("search_", "alembic_version")


@pytest.fixture
def inspected(shop: FileDatabase, server_shop: ServerDatabase) -> Iterator[tuple[Inspector, Inspector]]:
    """Both engines' tables, the file's first."""
    there = server_shop.address
    server = create_engine("postgresql+psycopg://", creator=lambda: connected(there), use_native_hstore=False)
    file = create_engine(f"sqlite:///{shop.file}")
    yield inspect(file), inspect(server)
    for one in (file, server):
        assert isinstance(one, Engine)
        one.dispose()


def tables(of: Inspector) -> set[str]:
    """The tables that hold records, and what changed."""
    return {name for name in of.get_table_names() if not name.startswith(OUTSIDE)}


def test_the_baseline_is_what_the_migrations_make(shop: FileDatabase) -> None:
    """``python -m tests.shop.store.baseline`` writes it anew, for a revision that no server has yet."""
    shop.close()
    revision = re.fullmatch(r"tables-(\w+)\.sql", baseline.newest().name)
    with closing(sqlite3.connect(shop.file)) as connection:
        newest = connection.execute("SELECT version_num FROM alembic_version").fetchone()[0]
    assert revision is not None
    if revision[1] == newest:  # later ones are migrations of both engines, which the next tests look at
        assert baseline.newest().read_text() == baseline.written(shop.file)


def test_both_have_the_same_columns(inspected: tuple[Inspector, Inspector]) -> None:
    file, server = inspected
    assert tables(file) == tables(server)
    for table in tables(file):
        mine, theirs = file.get_columns(table), server.get_columns(table)
        assert [(c["name"], c["nullable"]) for c in mine] == [(c["name"], c["nullable"]) for c in theirs], table
        for one, other in zip(mine, theirs, strict=True):
            told = str(other["type"]).split(" COLLATE")[0]
            wide = {Integer: "BIGINT", REAL: "DOUBLE PRECISION"}
            assert told == next((name for t, name in wide.items() if isinstance(one["type"], t)), "TEXT"), (table, one)
            assert isinstance(other["type"], Double) == isinstance(one["type"], REAL)
            assert told != "TEXT" or getattr(other["type"], "collation", "") == "C", (table, one)


def test_both_have_the_same_rules(inspected: tuple[Inspector, Inspector]) -> None:
    file, server = inspected
    for table in tables(file):
        for of in ("get_unique_constraints", "get_foreign_keys", "get_indexes", "get_check_constraints"):
            mine, theirs = (rules(getattr(one, of)(table)) for one in inspected)
            assert mine == theirs, (table, of)
        assert (
            file.get_pk_constraint(table)["constrained_columns"]
            == (server.get_pk_constraint(table)["constrained_columns"])
        )


def rules(found: list[dict[str, object]]) -> list[object]:
    """Rules as far as both engines tell them: a check by its name alone, an index unless it is of a rule, and without
    the id at its end, which those of a file have unsaid."""
    told = []
    for one in found:
        options = {k: v for k, v in dict(one.get("options") or {}).items() if v}  # type: ignore[call-overload]
        columns = one.get("column_names") or one.get("constrained_columns")
        if "unique" in one and isinstance(columns, list) and len(columns) > 1 and columns[-1] == "id":
            columns = columns[:-1]
        if not one.get("duplicates_constraint") and not str(one["name"]).startswith("sqlite_autoindex"):
            told.append((one["name"], columns, one.get("referred_table"), one.get("referred_columns"), options))
    return sorted(told, key=repr)


def test_evidence_is_only_added_by_the_owner(server_shop: ServerDatabase) -> None:
    with psycopg.connect(server_shop.address, autocommit=True) as connection:
        for table in EVIDENCE:
            refused(connection, table, psycopg.errors.IntegrityConstraintViolation)


def test_who_runs_it_may_add_and_no_more(cluster_of_tests: Cluster, address: str, tmp_path: Path) -> None:
    database = address.split("@/")[1].split("?")[0]
    with psycopg.connect(address, autocommit=True) as owner:
        owner.execute(f"CREATE ROLE {RUNS}".encode())
        owner.execute(f"CREATE ROLE bench LOGIN IN ROLE {RUNS}".encode())
    try:
        open_server(address, tmp_path).close()
        runs = open_server(cluster_of_tests.address(database, "bench"), tmp_path)
        with runs.writing() as session:
            session.connection().exec_driver_sql(ENGINE.format(key="a"))
        with runs.writing() as session:
            session.get_one(EngineRow, 1).customer = "Somebody"
        runs.close()
        with psycopg.connect(runs.address, autocommit=True) as connection:
            for table in EVIDENCE:
                refused(connection, table, psycopg.errors.InsufficientPrivilege)
            with pytest.raises(psycopg.errors.InsufficientPrivilege):
                connection.execute("ALTER TABLE meter DISABLE TRIGGER ALL")
            with pytest.raises(psycopg.errors.InsufficientPrivilege):
                connection.execute("DELETE FROM change")
    finally:
        with psycopg.connect(address, autocommit=True) as owner:
            owner.execute(f"DROP OWNED BY {RUNS}".encode())
            owner.execute(f"DROP ROLE bench, {RUNS}".encode())


SAID = {
    "key": "00000000-0000-4000-8000-00000000abcd",
    "payload": "",
    "name": "Fine",
    "quantity": "flow",
    "unit": "kg/h",
    "step": 0.12345678901234567,
    "low": -1.7976931348623157e308,
    "high": 5e-324,
    "repeatability": 0.1 + 0.2,
    "repeatability_from": "",
    "reference": None,
    "site_id": None,
}


def test_a_value_of_17_digits_and_a_great_id_come_back_as_they_were(server_shop: Database) -> None:
    great = 2**40
    with server_shop.writing() as session:
        row_hashes.store_prepared(session, MeterRow, [row_hashes.prepared(MeterRow, {**SAID, "id": great})])
        assert row_hashes.store(session, MeterRow, {**SAID, "key": "00000000-0000-4000-8000-00000000abce"}) == great + 1
    with server_shop.reading() as session:
        found = session.get_one(MeterRow, great)
        assert {name: getattr(found, name) for name in SAID} == SAID
        seals = row_hashes.check(raw_connection(session))
        assert (seals.broken, seals.sound) == ((), 3)


def test_rows_of_one_statement_follow_each_other(server_shop: Database) -> None:
    with server_shop.writing() as session:
        session.add_all([_engine(key) for key in "abc"])
        session.flush()
        session.add(_engine("d"))
    with server_shop.reading() as session:
        assert ids(session) == [1, 2, 3, 4]
        told = raw_connection(session).execute("SELECT seq, row_table, row_id FROM change ORDER BY seq").fetchall()
        assert told == [(1, "meter", 1), *((n + 1, "engine", n) for n in range(1, 5))]


def ids(session: Session) -> list[int]:
    """The ids of all engines."""
    return [one for (one,) in raw_connection(session).execute("SELECT id FROM engine ORDER BY id")]


def _engine(key: str) -> EngineRow:
    text: dict[str, Any] = dict.fromkeys(("payload", "description", "customer", "vehicle"), "")
    figures: dict[str, Any] = {
        "displacement": 0.005,
        "displacement_unit": "L",
        "idle_speed": 15.0,
        "registered_at": "2026",
    }
    return EngineRow(key=key, serial=key, serial_folded=key, **text, **figures)


def test_the_newest_row_of_a_visit_is_found_whatever_was_read_at_others(server_shop: ServerDatabase) -> None:
    """The server's own account of the query: rows that it looked at only to leave them out."""
    mine, other = (visit(server_shop, engine(server_shop, FOUR, serial)) for serial in ("40-1", "40-2"))
    for one in (mine, other):
        check_all(server_shop, one, COLD_PRESET)
        check_all(server_shop, one, FIRST_FIRE)
        read(server_shop, one, FIRST_FIRE)
    with psycopg.connect(server_shop.address, autocommit=True) as connection:
        connection.execute(
            "INSERT INTO reading (key, payload, round_id, bore, kind, unit, why, by, at) "
            "SELECT 'k' || n, '', (SELECT max(id) FROM round), 1, 'skip', 'kg/h', 'x', 'KM', '' "
            "FROM generate_series(1, 3000) n"
        )
        connection.execute("ANALYZE")
        query = spelled(OF_ONE).replace("%s", str(mine))
        plan = "\n".join(line for (line,) in connection.execute(f"EXPLAIN (ANALYZE, TIMING OFF) {query}".encode()))
    assert "Scan" in plan
    assert sum(map(int, re.findall(r"Rows Removed by Filter: (\d+)", plan))) < 100


def test_the_next_row_takes_the_id_after_the_newest_and_none_is_left_out(server_shop: ServerDatabase) -> None:
    """As SQLite gives them: what was refused has taken no id with it."""
    with server_shop.writing() as session:
        raw_connection(session).execute(ENGINE.format(key="a"))
    with pytest.raises(IntegrityError), server_shop.writing() as session:
        raw_connection(session).execute(ENGINE.format(key="a"))
    with server_shop.writing() as session:
        raw_connection(session).execute(ENGINE.format(key="c"))
        found = raw_connection(session).execute("SELECT id, key FROM engine ORDER BY id").fetchall()
        told = raw_connection(session).execute("SELECT seq FROM change ORDER BY seq").fetchall()
    assert [(ident, key[:1]) for ident, key in found] == [(1, "a"), (2, "c")]
    assert [seq for (seq,) in told] == list(range(1, len(told) + 1))
