"""The paired tablets: named, listed, and removed."""

import hashlib
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta

from sqlmodel import Session, col, select

from app.shop.commands.access.standing import standing
from app.shop.commands.engines import LONGEST
from app.shop.errors import RejectedError
from app.shop.reasons import because
from app.shop.record.superseding import current
from app.shop.rejections import Rejection
from app.shop.store.database import Database
from app.shop.store.idempotency import checked, earlier, fingerprint
from app.shop.store.tables import Tablet

LASTS = timedelta(days=365)
"""How long a pairing lasts before the tablet has to be paired again."""


def hashed(token: str) -> str:
    """What is kept of a token."""
    return hashlib.sha256(token.encode()).hexdigest()


@dataclass(frozen=True, slots=True)
class Admission:
    """Which tokens have access: the time of pairing of each, by its hash."""

    paired: Mapping[str, datetime]

    @staticmethod
    def of(rows: Sequence[Tablet]) -> "Admission":
        """The tokens that these rows give access."""
        return Admission({row.token: datetime.fromisoformat(row.paired_at) for row in rows})

    def admits(self, token: str, now: datetime) -> bool:
        """Whether a tablet with that token has access. A clock put back takes no access away."""
        paired = self.paired.get(hashed(token))
        return paired is not None and now - paired < LASTS


def let_in(session: Session) -> list[Tablet]:
    """The tablets that have access, in the order in which they were paired."""
    return [row for row in current(session.exec(select(Tablet).order_by(col(Tablet.id))).all()) if row.active]


def pair(shop: Database, key: str, name: str, token: str, at: str) -> int:
    """Let a tablet in that has proved itself. Raises RejectedError."""
    key = checked(key)
    sent = fingerprint(token=hashed(token))
    with shop.writing() as session:
        if before := earlier(session, Tablet, key, sent):
            return before.ident
        row = Tablet(key=key, payload=sent, name=named(name), token=hashed(token), active=1, paired_at=at, at=at)
        session.add(row)
        session.flush()
        return row.ident


def rename(shop: Database, key: str, tablet_id: int, name: str, at: str) -> int:
    """Call a tablet something else. Raises RejectedError, NotFoundError, ConflictError."""
    return _supersede(shop, key, tablet_id, named(name), 1, at)


def remove(shop: Database, key: str, tablet_id: int, at: str) -> int:
    """Shut a tablet out. Raises NotFoundError, ConflictError."""
    return _supersede(shop, key, tablet_id, None, 0, at)


def named(typed: str) -> str:
    """What a device is called, as typed. Raises RejectedError."""
    name = typed.strip()
    if not name:
        raise RejectedError({"name": because(Rejection.NAME_MISSING)})
    if len(name) > LONGEST:
        raise RejectedError({"name": because(Rejection.TOO_LONG, most=LONGEST)})
    return name


def _supersede(shop: Database, key: str, tablet_id: int, name: str | None, active: int, at: str) -> int:
    key = checked(key)
    sent = fingerprint(tablet=tablet_id, name=name, active=active)
    with shop.writing() as session:
        if again := earlier(session, Tablet, key, sent):
            return again.ident
        before = standing(session, Tablet, tablet_id, let_in(session), Rejection.NO_SUCH_TABLET)
        row = Tablet(
            key=key,
            payload=sent,
            name=before.name if name is None else name,
            token=before.token,
            active=active,
            paired_at=before.paired_at,
            at=at,
            supersedes_id=before.ident,
        )
        session.add(row)
        session.flush()
        return row.ident
