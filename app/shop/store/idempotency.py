"""Every write carries a key made by the writer: the same one twice is stored once, with the same answer."""

import hashlib
import json
import uuid
from typing import TypeVar

from sqlmodel import Session

from app.shop.errors import ConflictError, RejectedError
from app.shop.reasons import because
from app.shop.rejections import Rejection
from app.shop.store.both.records import Statement
from app.shop.store.database import raw_connection
from app.shop.store.tables import Row

T = TypeVar("T", bound=Row)


def new_key() -> str:
    """A key for a form that was made on the server."""
    return str(uuid.uuid4())


def part_key(key: str, part: str) -> str:
    """The key of one row among several that are written under ``key``."""
    return str(uuid.uuid5(uuid.UUID(key), part))


def checked(key: str) -> str:
    """``key`` in its usual spelling. Raises RejectedError when it is not a UUID."""
    try:
        return str(uuid.UUID(key))
    except ValueError:
        raise RejectedError({"key": because(Rejection.STALE_FORM)}) from None


def fingerprint(**sent: object) -> str:
    """A hash of what was sent, to tell a repeat from another write under the same key."""
    return hashlib.sha256(_ENCODER.encode(sent).encode()).hexdigest()


_ENCODER = json.JSONEncoder(sort_keys=True, default=str)


def asked_under(table: type[Row], key: str) -> Statement:
    """What ``earlier`` asks of the records."""
    return Statement(f'SELECT id FROM "{table.__tablename__}" WHERE key = ?', (key,))


def earlier(session: Session, table: type[T], key: str, payload: str) -> T | None:
    """The row stored under ``key`` before, if any. Raises ConflictError when it was stored for something else."""
    found = (
        raw_connection(session).execute(*asked_under(table, key)).fetchone()
    )  # nearly always none: no need for the ORM
    row = None if found is None else session.get(table, found[0])
    if row is not None and row.payload != payload:
        raise ConflictError({"key": because(Rejection.KEY_REUSED)})
    return row
