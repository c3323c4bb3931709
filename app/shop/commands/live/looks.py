"""What a live value was worked out from, stored with the reading that takes it."""

import sqlite3
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from dataclasses import dataclass

from sqlmodel import Session

from app.shop.store.database import Database
from app.shop.store.idempotency import fingerprint, part_key
from app.shop.store.live import traces
from app.shop.store.row_hashes import store
from app.shop.store.tables import LookRow


@dataclass(frozen=True, slots=True)
class Seen:
    """The window [s] that a live value stands for, samples a second, engine speed [rev/s] where one was known, the
    SHA-256 of how its channels were declared, its samples as ``traces.pack`` makes them, and whether a channel that
    stays at its bore was among them."""

    window: float
    rate: float
    speed: float | None
    channels: str
    packed: bytes
    fixed: bool = False


def store_look(session: Session, visit_id: int, key: str, seen: Seen, at: str) -> int:
    """Store the look of a write under ``key`` and return its id."""
    trace = traces.hash_of(seen.packed)
    said = {
        "key": part_key(key, "look"),
        "payload": fingerprint(visit=visit_id, trace=trace),
        "visit_id": visit_id,
        "window": seen.window,
        "rate": seen.rate,
        "speed": seen.speed,
        "channels": seen.channels,
        "trace": trace,
        "at": at,
    }
    return store(session, LookRow, said)


@contextmanager
def writing(shop: Database, seen: Seen) -> Iterator[Session]:
    """A session as ``Database.writing`` gives, after which the trace is kept. Where that fails the reading stands
    without it."""
    with shop.writing() as session:
        yield session
    with suppress(sqlite3.Error, OSError):
        traces.keep(shop.folder, seen.packed)
