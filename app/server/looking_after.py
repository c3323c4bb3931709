"""What goes on beside the pages while a shop is open: copies, proofs, and the hand-over to another shop."""

from collections.abc import Callable, Iterator
from contextlib import contextmanager
from datetime import datetime
from functools import partial
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from app.shop.reasons import Reason
    from app.shop.store.database import Database


@contextmanager
def looking_after(shop: "Database", now: Callable[[], datetime], warn: Callable[["Reason"], None]) -> Iterator[None]:
    """Meanwhile the records are copied and proved, or on a server, where others make the copies, proved alone; and
    engines are handed over, where the shop's folder says where to. What the shop's answers count is worked out."""
    from app.server.handing_over import handing_over
    from app.shop.queries.statistics import remember
    from app.shop.store.backup import copying
    from app.shop.store.both.upkeep import meanwhile
    from app.shop.store.database import FileDatabase

    counting = meanwhile("answers", partial(remember, shop))
    if isinstance(shop, FileDatabase):
        with copying(shop, now, warn), handing_over(shop, now), counting:
            yield
        return
    from app.shop.store.postgres.proof import proving_nightly
    from app.shop.store.postgres.server import ServerDatabase

    assert isinstance(shop, ServerDatabase)
    with proving_nightly(shop, now, warn), handing_over(shop, now), counting:
        yield
