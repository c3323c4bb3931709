"""The paired tablets: named, listed, and removed."""

import hashlib
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from datetime import datetime, timedelta

from sqlmodel import Session, col, or_, select

from app.shop.commands.access.standing import standing
from app.shop.commands.engines import LONGEST
from app.shop.errors import RejectedError
from app.shop.reasons import because
from app.shop.record.superseding import current
from app.shop.rejections import Rejection
from app.shop.store.database import Database
from app.shop.store.idempotency import checked, earlier, fingerprint
from app.shop.store.tables import RoomRow, Tablet

LASTS = timedelta(days=365)
"""How long a pairing lasts before the tablet has to be paired again."""


def hashed(token: str) -> str:
    """What is kept of a token."""
    return hashlib.sha256(token.encode()).hexdigest()


@dataclass(frozen=True, slots=True)
class Admission:
    """Which tokens have access: the time of pairing of each, by its hash."""

    paired: Mapping[str, datetime]
    rooms: Mapping[str, int] = field(default_factory=dict)
    """The room of each that has one."""

    @staticmethod
    def of(rows: Sequence[Tablet]) -> "Admission":
        """The tokens that these rows give access."""
        rooms = {row.token: row.room_id for row in rows if row.room_id is not None}
        return Admission({row.token: datetime.fromisoformat(row.paired_at) for row in rows}, rooms)

    def room(self, token: str) -> int | None:
        """The room of the tablet with that token."""
        return self.rooms.get(hashed(token))

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
    return _supersede(shop, key, tablet_id, at, name=named(name))


def remove(shop: Database, key: str, tablet_id: int, at: str) -> int:
    """Shut a tablet out. Raises NotFoundError, ConflictError."""
    return _supersede(shop, key, tablet_id, at, active=0)


def move(shop: Database, key: str, tablet_id: int, room_id: int | None, at: str) -> int:
    """Have a tablet stand in another room, at any site; None for in none. It stays paired.

    Raises RejectedError, NotFoundError, ConflictError.
    """
    return _supersede(shop, key, tablet_id, at, room=(room_id,))


def named(typed: str) -> str:
    """What a device is called, as typed. Raises RejectedError."""
    name = typed.strip()
    if not name:
        raise RejectedError({"name": because(Rejection.NAME_MISSING)})
    if len(name) > LONGEST:
        raise RejectedError({"name": because(Rejection.TOO_LONG, most=LONGEST)})
    return name


def _supersede(
    shop: Database,
    key: str,
    tablet_id: int,
    at: str,
    *,
    name: str | None = None,
    active: int = 1,
    room: tuple[int | None] | None = None,
) -> int:
    key = checked(key)
    sent = fingerprint(tablet=tablet_id, name=name, active=active, **({} if room is None else {"room": room[0]}))
    with shop.writing() as session:
        if again := earlier(session, Tablet, key, sent):
            return again.ident
        before = standing(session, Tablet, tablet_id, let_in(session), Rejection.NO_SUCH_TABLET)
        if room is not None and room[0] is not None and not _is_open(session, room[0]):
            raise RejectedError({"room": because(Rejection.NO_SUCH_ROOM)})
        row = Tablet(
            key=key,
            payload=sent,
            name=before.name if name is None else name,
            token=before.token,
            active=active,
            paired_at=before.paired_at,
            at=at,
            supersedes_id=before.ident,
            room_id=before.room_id if room is None else room[0],
        )
        session.add(row)
        session.flush()
        return row.ident


def _is_open(session: Session, room: int) -> bool:
    """Whether there is such a room, by the row that it began with."""
    rows = session.exec(select(RoomRow).where(or_(RoomRow.id == room, RoomRow.first_id == room))).all()
    return bool(rows) and rows[0].first_id is None and all(row.active for row in current(rows))
