"""Changes rows of evidence: as only the owner of the tables can, and as nobody may."""

import psycopg
import pytest

from app.shop.store.postgres.server import ServerDatabase

WRONG = "UPDATE reading SET value = value + 0.25 WHERE id = 3"


def behind_its_back(shop: ServerDatabase, statement: str) -> None:
    """Change evidence as the owner of the tables could."""
    with psycopg.connect(shop.address) as connection:
        connection.execute("ALTER TABLE reading DISABLE TRIGGER ALL")
        connection.execute(statement.encode())
        connection.execute("ALTER TABLE reading ENABLE TRIGGER ALL")


CHANGES = ('UPDATE "{0}" SET payload = payload', 'DELETE FROM "{0}"', 'TRUNCATE "{0}" CASCADE')


def refused(connection: "psycopg.Connection[object]", table: str, why: type[psycopg.Error]) -> None:
    """Each way to change a table of evidence is refused, whether or not it has rows."""
    for statement in CHANGES:
        with pytest.raises(why):
            connection.execute(statement.format(table).encode())
