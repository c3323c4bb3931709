"""The shop's records read from a process beside the program's."""

from functools import partial
from pathlib import Path

from app.shop.exchange.imports import Reading
from app.shop.store.database import reading_beside


def reading_of(records: Path | str) -> Reading:
    """What opens records to be read: those of a folder, or of a server by its address."""
    if isinstance(records, str):
        from app.shop.store.postgres.server import reading_server_beside

        return partial(reading_server_beside, records)
    return partial(reading_beside, records)
