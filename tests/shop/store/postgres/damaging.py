"""Changes rows of evidence as only the owner of the tables can."""

import psycopg

from app.shop.store.postgres.server import ServerDatabase

WRONG = "UPDATE reading SET value = value + 0.25 WHERE id = 3"


def behind_its_back(shop: ServerDatabase, statement: str) -> None:
    """Change evidence as the owner of the tables could."""
    with psycopg.connect(shop.address) as connection:
        connection.execute("ALTER TABLE reading DISABLE TRIGGER ALL")
        connection.execute(statement.encode())
        connection.execute("ALTER TABLE reading ENABLE TRIGGER ALL")
