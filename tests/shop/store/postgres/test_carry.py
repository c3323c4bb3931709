"""A whole shop goes to a server and back: the same rows, the same ids, every hash proved."""

import sqlite3
from contextlib import closing
from pathlib import Path

import psycopg
import pytest

from app.shop.commands.access import sites, tablets
from app.shop.demo.demo_shop import fill
from app.shop.queries import search
from app.shop.reasons import because
from app.shop.store import row_hashes
from app.shop.store.database import Database, FileDatabase, ShopUnavailableError, raw_connection
from app.shop.store.integrity import examine
from app.shop.store.postgres.carry import carry
from app.shop.store.postgres.codes import ServerProblem
from app.shop.store.postgres.server import ServerDatabase
from app.shop.store.tables import EVIDENCE, Visit
from app.shop.store.upgrade import open_shop
from tests.shop.yard import AT, FOUR, engine, heat_soaked, key, visit


def said(file: Path) -> list[str]:
    """Every row of every table of a file, and how the tables are kept; the index of words is made from them."""
    with closing(sqlite3.connect(file)) as connection:
        return sorted(line for line in connection.iterdump() if "search_" not in line)


@pytest.mark.slow
def test_a_shop_comes_back_from_a_server_as_it_went(
    shop: FileDatabase, server_shop: ServerDatabase, tmp_path: Path
) -> None:
    fill(shop)
    went = carry(shop, server_shop)
    assert went.proved > 1000
    back = open_shop(tmp_path / "back")
    assert carry(server_shop, back) == went
    for typed in ("coupe", "31", "racer hil", "xzy"):
        with shop.reading() as mine, server_shop.reading() as theirs, back.reading() as again:
            assert search.find(mine, typed) == search.find(theirs, typed) == search.find(again, typed)
    shop.close()
    back.close()
    assert said(shop.file) == said(back.file)
    assert examine(back.file).damage is None
    assert examine(back.file).sealed == went.proved


def test_work_goes_on_where_a_shop_was_carried_to(shop: FileDatabase, server_shop: ServerDatabase) -> None:
    visit_id = heat_soaked(shop)
    carry(shop, server_shop)
    with server_shop.writing() as session:
        wire = raw_connection(session)
        (newest,) = wire.execute("SELECT max(seq) FROM change").fetchone()
    assert visit(server_shop, engine(server_shop, FOUR, serial="22-0098")) == visit_id + 1
    with server_shop.reading() as session:
        wire = raw_connection(session)
        assert row_hashes.check(wire).broken == ()
        (first,) = wire.execute("SELECT min(seq) FROM change WHERE seq > ?", (newest,)).fetchone()
        assert first == newest + 1
    with psycopg.connect(server_shop.address, autocommit=True) as connection:
        for table in EVIDENCE:
            with pytest.raises(psycopg.errors.IntegrityConstraintViolation):
                connection.execute(f'DELETE FROM "{table}"'.encode())


def refused(source: Database, target: Database) -> object:
    """Why nothing is carried."""
    with pytest.raises(ShopUnavailableError) as caught:
        carry(source, target)
    return caught.value.reason


def test_the_server_knows_how_much_it_was_given_when_a_shop_was_carried(
    shop: FileDatabase, server_shop: ServerDatabase
) -> None:
    """Or it searches as in an empty shop. The server of the tests does not count by itself."""
    for number in range(3):
        engine(shop, FOUR, f"31-{number:04}")
    carry(shop, server_shop)
    with server_shop.reading() as session:
        query = "SELECT relname, reltuples FROM pg_class WHERE relname IN (?, ?)"
        counted = dict(raw_connection(session).execute(query, ("engine", "search_text")).fetchall())
    assert counted == {"engine": 3, "search_text": 3}


def test_a_shop_with_rows_in_it_is_not_written_over(shop: FileDatabase, server_shop: ServerDatabase) -> None:
    heat_soaked(shop)
    heat_soaked(server_shop)
    for source, target in ((shop, server_shop), (server_shop, shop)):
        reason = refused(source, target)
        assert getattr(reason, "code", None) is ServerProblem.NOT_EMPTY


def test_a_row_that_was_changed_is_not_carried(shop: FileDatabase, server_shop: ServerDatabase) -> None:
    heat_soaked(shop)
    with closing(sqlite3.connect(shop.file)) as connection:
        connection.execute("DROP TRIGGER reading_no_update")
        connection.execute("UPDATE reading SET value = value + 0.25 WHERE id = 2")
        connection.commit()
    assert refused(shop, server_shop) == because(ServerProblem.NOT_CARRIED, why="reading 2")
    with server_shop.reading() as session:
        assert raw_connection(session).execute("SELECT count(*) FROM engine").fetchone() == (0,)
        assert raw_connection(session).execute("SELECT count(*) FROM meter").fetchone() == (1,)


def test_sites_rooms_and_what_belongs_to_them_are_carried_there_and_back(
    shop: FileDatabase, server_shop: ServerDatabase, tmp_path: Path
) -> None:
    north = sites.add(shop, key(), "North", "KM", AT)
    room = sites.add_room(shop, key(), north, "Bench", "KM", AT)
    tablets.move(shop, key(), tablets.pair(shop, key(), "Setter", "token", AT), room, AT)
    visit_id = visit(shop, engine(shop, FOUR))
    carry(shop, server_shop)
    back = open_shop(tmp_path / "back")
    carry(server_shop, back)
    for store in (server_shop, back):
        with store.reading() as session:
            (site,) = sites.sites_of(session).all
            assert (site.ident, site.name, site.rooms[0].ident) == (north, "North", room)
            assert [one.room_id for one in tablets.let_in(session)] == [room]
            held = session.get(Visit, visit_id)
            assert held is not None
            assert held.site_id == north
    shop.close()
    back.close()
    assert said(shop.file) == said(back.file)
