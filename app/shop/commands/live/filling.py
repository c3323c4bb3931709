"""Which visit the instruments fill, said by a person; and the rows that they fill in."""

from dataclasses import dataclass

from sqlmodel import Session, col, select

from app.shop.commands import checks
from app.shop.errors import RejectedError
from app.shop.procedure.limits import open_stops, why_ended
from app.shop.procedure.live.filling import Due, Gauges, due_of
from app.shop.reasons import because
from app.shop.record import loader
from app.shop.record.visit_record import VisitRecord
from app.shop.rejections import Rejection
from app.shop.store.database import Database
from app.shop.store.idempotency import checked, earlier, fingerprint, new_key
from app.shop.store.live.tables import FeedRow, FillingRow

NAMELESS = "instruments"
"""By whom figures are recorded where the feed has no name: what reads instruments beside the program (code)."""


def say(shop: Database, visit_id: int, key: str, by: str, at: str, *, active: bool) -> int:
    """Say that the instruments are at the engine of a visit, or no longer, and return the row's id.

    Raises NotFoundError, and RejectedError without initials or once the visit is signed off.
    """
    key = checked(key)
    sent = fingerprint(visit=visit_id, active=active)
    with shop.writing() as session:
        if again := earlier(session, FillingRow, key, sent):
            return again.ident
        record = loader.load(session, visit_id)
        if active and (ended := why_ended(record)) is not None:
            raise RejectedError({"": ended})
        if not by.strip():
            raise RejectedError({"by": because(Rejection.INITIALS_MISSING)})
        row = FillingRow(key=key, payload=sent, visit_id=visit_id, active=int(active), by=by.strip(), at=at)
        session.add(row)
        session.flush()
        return row.ident


def filled(session: Session) -> int | None:
    """The visit that the instruments fill, None for none."""
    row = session.exec(select(FillingRow).order_by(col(FillingRow.id).desc()).limit(1)).first()
    return row.visit_id if row is not None and row.active else None


@dataclass(frozen=True, slots=True)
class Filled:
    """What became of what instruments show: the figures ``kept``, those ``refused``, and whether a stop is open."""

    kept: tuple[Due, ...] = ()
    refused: tuple[Due, ...] = ()
    stopped: bool = False


def fill(
    shop: Database, record: VisitRecord, gauges: Gauges, feed: str, at: str, waits: frozenset[str] = frozenset()
) -> Filled:
    """Record of a visit what the gauges show and is due.

    Parameters: ``record`` of it by now; ``feed``, the hash of the token of the program that sends it, whose name is the
    row's ``by``; ``at`` the time; ``waits``, items that were refused a moment ago and are left alone unless a limit is
    crossed.
    """
    wanted = [due for due in due_of(record, gauges) if due.beyond or due.item not in waits]
    if not wanted:
        return Filled(stopped=bool(open_stops(record)))
    visit_id, by = record.visit.ident, name_of(shop, feed)
    kept, refused = [], []
    for due in wanted:
        try:
            checks.record(shop, visit_id, new_key(), due.phase, {due.item: due.number}, by, at, alarm=due.beyond)
        except RejectedError:  # not asked for yet, or another tablet was faster
            refused.append(due)
        else:
            kept.append(due)
    return Filled(tuple(kept), tuple(refused), _stands_stopped(shop, visit_id) if kept else bool(open_stops(record)))


def _stands_stopped(shop: Database, visit_id: int) -> bool:
    with shop.reading() as session:
        return bool(open_stops(loader.load(session, visit_id)))


def name_of(shop: Database, feed: str) -> str:
    """By whom it is recorded what a feed sends, ``feed`` being the hash of its token."""
    named = select(FeedRow).where(FeedRow.token == feed).order_by(col(FeedRow.id).desc()).limit(1)
    with shop.reading() as session:
        row = session.exec(named).first()
    return row.name if row is not None else NAMELESS
