"""The records read by a second process, while the one that has them open goes on."""

from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

from sqlalchemy import NullPool, event
from sqlmodel import Session

from app.shop.store.database import begin, engine_over, file_errors, prepare_to_read
from app.shop.store.folder.forgetting import TAKEN_OUT
from app.shop.store.lru import LruCache


@contextmanager
def reading_beside(file: Path) -> Iterator[Session]:
    """A session that sees one moment of the records in ``file``, which another process holds; writing in it raises.

    Raises ShopUnavailableError. It takes no lock: the caller is a child of the process that holds the shop.
    """
    engine = engine_over(file, poolclass=NullPool)
    event.listen(engine, "connect", prepare_to_read)
    event.listen(engine, "begin", begin)
    info = {"memory": LruCache(), "fresh": {}, "now": None, "writes": None, TAKEN_OUT: False}
    try:
        with file_errors(), Session(engine, expire_on_commit=False, info=info) as session:
            yield session
    finally:
        engine.dispose()
