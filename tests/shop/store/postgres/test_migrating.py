"""A migration after the baseline makes the same tables on both engines, with rows there, or changes nothing."""

import sqlite3
from contextlib import closing
from pathlib import Path

import psycopg
import pytest
from sqlalchemy import create_engine, inspect

from app.shop.reasons import Reason
from app.shop.store.database import ShopUnavailableError, raw_connection
from app.shop.store.postgres.codes import ServerProblem
from app.shop.store.postgres.opening import open_server
from app.shop.store.postgres.server import connected
from app.shop.store.upgrade import open_shop
from tests.shop.store.opening import ENGINE, add_revision

BODY = """from app.shop.store.both import migrating as both
    both.evidence("note", both.whole("engine_id"), both.text("said"), both.fraction("size", missing=True),
        both.refers("note", "engine_id", "engine"), sa.CheckConstraint("size > 0", name=op.f("ck_note_size")))
    both.told("note")
    op.add_column("visit", both.text("tune", missing=True))
"""
NOTE = "INSERT INTO note (key, payload, engine_id, said, size) VALUES ('n', '', 1, 'x', 0.1)"


def test_a_migration_of_both_makes_the_same_tables(address: str, folder: Path, scripts: Path, head: str) -> None:
    shop = open_server(address, folder / "beside")
    with shop.writing() as session:
        raw_connection(session).execute(ENGINE.format(key="a"))
    shop.close()
    add_revision(scripts, "next", head, BODY)
    open_shop(folder, scripts).close()
    open_server(address, folder / "beside", scripts).close()
    server = create_engine("postgresql+psycopg://", creator=lambda: connected(address), use_native_hstore=False)
    mine, theirs = inspect(create_engine(f"sqlite:///{folder / 'shop.db'}")), inspect(server)
    for table in ("note", "visit"):
        assert [c["name"] for c in mine.get_columns(table)] == [c["name"] for c in theirs.get_columns(table)]
        for rule in ("get_foreign_keys", "get_unique_constraints", "get_check_constraints"):
            names = [sorted(str(one["name"]) for one in getattr(of, rule)(table)) for of in (mine, theirs)]
            assert names[0] == names[1], (table, rule)
    assert {str(c["type"]) for c in theirs.get_columns("note")} == {"BIGINT", 'TEXT COLLATE "C"', "DOUBLE PRECISION"}
    server.dispose()
    with psycopg.connect(address, autocommit=True) as connection, closing(sqlite3.connect(folder / "shop.db")) as file:
        for one in (connection, file):
            one.execute(NOTE)
            found = one.execute("SELECT id, size FROM note").fetchall()
            assert found == [(1, 0.1)]
            newest = "SELECT row_table, row_id FROM change ORDER BY seq DESC LIMIT 1"
            assert one.execute(newest).fetchone() == ("note", 1)
            with pytest.raises((sqlite3.IntegrityError, psycopg.IntegrityError), match="only ever added"):
                one.execute("UPDATE note SET said = 'y'")


def refusal(address: str, folder: Path, scripts: Path) -> Reason:
    """Why a shop cannot be opened."""
    with pytest.raises(ShopUnavailableError) as caught:
        open_server(address, folder, scripts)
    return caught.value.reason


@pytest.mark.parametrize(
    ("body", "why"),
    [
        ('op.execute("ALTER TABLE visit ADD COLUMN tune text"); op.execute("SELECT 1 / 0")', "division by zero"),
        ('op.execute("DELETE FROM engine")', "rows went missing from engine"),
        (
            'op.execute("ALTER TABLE meter DISABLE TRIGGER ALL"); op.execute("UPDATE meter SET step = 1")',
            "rows of meter do not match their row hashes",
        ),
    ],
)
def test_a_migration_that_fails_leaves_nothing(
    address: str, tmp_path: Path, scripts: Path, head: str, body: str, why: str
) -> None:
    shop = open_server(address, tmp_path)
    with shop.writing() as session:
        raw_connection(session).execute(ENGINE.format(key="a"))
    shop.close()
    add_revision(scripts, "next", head, body)
    reason = refusal(address, tmp_path, scripts)
    assert reason.code is ServerProblem.NOT_UPGRADED
    assert why in str(reason.values["why"])
    again = open_server(address, tmp_path)
    with again.reading() as session:
        wire = raw_connection(session)
        assert wire.execute("SELECT count(*) FROM engine").fetchone() == (1,)
        assert wire.execute("SELECT step FROM meter").fetchone() == (0.25,)
        query = "SELECT count(*) FROM pg_attribute WHERE attrelid = 'visit'::regclass AND attname = 'tune'"
        assert wire.execute(query).fetchone() == (0,)
    again.close()
