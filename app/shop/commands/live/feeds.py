"""The programs that may send live values: given access by a token, listed, and withdrawn."""

from collections.abc import Sequence
from dataclasses import dataclass

from sqlmodel import Session, col, select

from app.shop.commands.access.standing import standing
from app.shop.commands.access.tablets import hashed, named
from app.shop.record.superseding import current
from app.shop.rejections import Rejection
from app.shop.store.database import Database
from app.shop.store.idempotency import checked, earlier, fingerprint
from app.shop.store.live.tables import FeedRow


@dataclass(frozen=True, slots=True)
class Feeders:
    """Which tokens open the door for live values, by their hash."""

    tokens: frozenset[str] = frozenset()

    @staticmethod
    def of(rows: Sequence[FeedRow]) -> "Feeders":
        """The tokens that these rows give."""
        return Feeders(frozenset(row.token for row in rows))

    def admits(self, token: str) -> bool:
        """Whether a program with that token may send."""
        return bool(token) and hashed(token) in self.tokens


def let_in(session: Session) -> list[FeedRow]:
    """The feeds that may send, in the order in which they got access."""
    return [row for row in current(session.exec(select(FeedRow).order_by(col(FeedRow.id))).all()) if row.active]


def feeders(shop: Database) -> Feeders:
    """Which programs may send now."""
    with shop.reading() as session:
        return Feeders.of(let_in(session))


def add(shop: Database, key: str, name: str, token: str, at: str) -> int:
    """Let a program send under ``token``, of which the hash is kept. Raises RejectedError."""
    key = checked(key)
    sent = fingerprint(token=hashed(token))
    with shop.writing() as session:
        if before := earlier(session, FeedRow, key, sent):
            return before.ident
        row = FeedRow(key=key, payload=sent, name=named(name), token=hashed(token), active=1, at=at)
        session.add(row)
        session.flush()
        return row.ident


def withdraw(shop: Database, key: str, feed_id: int, at: str) -> int:
    """Let a program send no more. Raises NotFoundError, ConflictError."""
    key = checked(key)
    sent = fingerprint(feed=feed_id, active=0)
    with shop.writing() as session:
        if again := earlier(session, FeedRow, key, sent):
            return again.ident
        before = standing(session, FeedRow, feed_id, let_in(session), Rejection.NO_SUCH_FEED)
        row = FeedRow(
            key=key, payload=sent, name=before.name, token=before.token, active=0, at=at, supersedes_id=before.ident
        )
        session.add(row)
        session.flush()
        return row.ident
