"""Engines as files: readings to write into one, and the text of one."""

from app.shop.exchange.exports import engine_file, written
from app.shop.store.database import Database
from tests.shop.yard import AT

EVEN = [6.5] * 8
SLIPPED = [6.5, 6.5, 7.75, 7.75, 6.5, 6.5, 6.5, 6.5]


def out(shop: Database, engine_id: int = 1) -> str:
    """The file of an engine."""
    with shop.reading() as session:
        return written(engine_file(session, engine_id, AT))
