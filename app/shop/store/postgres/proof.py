"""Looks at all records on a server without changing any: the hash of each row is made again."""

from dataclasses import dataclass

from app.shop.store import row_hashes
from app.shop.store.database import Database, raw_connection
from app.shop.store.postgres.opening import server_name
from app.shop.store.postgres.server import ServerDatabase


@dataclass(frozen=True, slots=True)
class ServerHealth:
    """What was found: ``size`` in bytes, how many rows are ``sound``, and table and id of each that was changed."""

    server: str
    version: str
    size: int
    sound: int
    changed: tuple[tuple[str, int], ...]


def look(shop: Database) -> ServerHealth:
    """Check the records of one moment. Raises ShopUnavailableError."""
    assert isinstance(shop, ServerDatabase)
    with shop.reading() as session:
        wire = raw_connection(session)
        (size,) = wire.execute("SELECT pg_database_size(current_database())").fetchone()
        (version,) = wire.execute("SELECT current_setting('server_version')").fetchone()
        seals = row_hashes.check(wire)
    return ServerHealth(server_name(shop.address), str(version).split()[0], int(size), seals.sound, seals.broken)
