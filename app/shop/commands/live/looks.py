"""What a live value was worked out from, stored with the reading that takes it."""

import sqlite3
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from dataclasses import dataclass
from typing import Any

from sqlmodel import Session

from app.shop.commands.live.channel_checks import in_force
from app.shop.store.database import Database
from app.shop.store.idempotency import fingerprint, part_key
from app.shop.store.live import traces
from app.shop.store.live.tables import LookRow
from app.shop.store.row_hashes import store
from app.sync.engine.units import PRESSURE_UNITS


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
        "check_id": known.ident if seen.fixed and (known := in_force(session, seen.channels, at)) else None,
    }
    return store(session, LookRow, said)


def sensed(session: Session, seen: Seen, value: float | None, unit: str, at: str) -> dict[str, Any]:
    """What a reading in ``unit`` says of the sensor that read it: nothing for a probe that is carried; for one that
    stays at its bore, by what part of the ``value`` those differ, None where they were not compared."""
    if not seen.fixed:
        return {}
    known = in_force(session, seen.channels, at)
    told = known is not None and unit in PRESSURE_UNITS and value
    return {"fixed": True, "alike": known.spread / (value * PRESSURE_UNITS[unit]) if known and told and value else None}


@contextmanager
def keeping(shop: Database, seen: Seen) -> Iterator[None]:
    """Around a write: once it is stored, the trace of what was ``seen`` is kept. Where that fails the reading stands
    without it."""
    yield
    with suppress(sqlite3.Error, OSError):
        traces.keep(shop.folder, seen.packed)
