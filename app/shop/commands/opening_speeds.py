"""Engine speeds off idle: record how fast the engine runs in a round, before its first reading or after."""

import math
from dataclasses import dataclass, replace

from sqlmodel import Session

from app.shop.assessment.gates import require_open, unready
from app.shop.commands.readings import begin
from app.shop.errors import ConflictError, RejectedError
from app.shop.procedure.items import Phase
from app.shop.procedure.limits import why_ended
from app.shop.procedure.opening_speed import FASTEST, SLOWEST, newest_with_speed, over_rev_limit
from app.shop.procedure.read_order import next_reading
from app.shop.procedure.requirements import Waiting
from app.shop.reasons import because
from app.shop.record import loader
from app.shop.record.entries import SpeedEntry
from app.shop.record.rounds import Round
from app.shop.record.visit_record import VisitRecord
from app.shop.rejections import Rejection
from app.shop.store.database import Database
from app.shop.store.idempotency import checked, earlier, fingerprint, part_key
from app.shop.store.tables import OpeningSpeed
from app.sync.engine.units import REV_PER_MIN


@dataclass(frozen=True, slots=True)
class NewSpeed:
    """How fast the engine runs [rpm] in a round off idle.

    The speed of the round that is due begins it. ``from_above`` says how its opening was reached, None for as the round
    is, or straight up.
    """

    phase: str
    round_number: int
    speed: float | None
    by: str
    from_above: bool | None = None


def record(shop: Database, visit_id: int, key: str, new: NewSpeed, at: str) -> int:
    """Store a speed in the place of the round's last one, and return its id. Raises RejectedError, ConflictError."""
    key = checked(key)
    sent = fingerprint(visit=visit_id, new=new)
    with loader.writing(shop, visit_id, OpeningSpeed, key) as session:
        if again := earlier(session, OpeningSpeed, key, sent):
            return again.ident
        record = loader.load(session, visit_id)
        phase = require_open(record, new.phase)
        if waits := unready(record, phase):
            raise RejectedError({"speed": waits})
        speed = _checked_speed(new)
        one = _round(session, record, phase, new, key, at)
        return _store(session, record, one, key, sent, speed, new.by, at, record.last_move)


def correct(shop: Database, visit_id: int, key: str, new: NewSpeed, at: str) -> int:
    """Store the right speed of a round whose speed was mistyped, whatever was adjusted since, and return its id.

    It keeps the place of the wrong one. Raises RejectedError once the visit is signed off, for a speed that cannot be,
    for a round without one, and while another round's speed stops the engine.
    """
    key = checked(key)
    sent = fingerprint(visit=visit_id, corrects=new)
    with loader.writing(shop, visit_id, OpeningSpeed, key) as session:
        if again := earlier(session, OpeningSpeed, key, sent):
            return again.ident
        record = loader.load(session, visit_id)
        if ended := why_ended(record):
            raise RejectedError({"": ended})
        rounds = [r for r in record.rounds if r.row.phase == new.phase and r.row.number == new.round_number]
        if not rounds or not rounds[0].speeds:
            raise ConflictError({"speed": because(Rejection.CORRECTED_VALUE_UNKNOWN)})
        stop = over_rev_limit(record)
        if stop is not None and newest_with_speed(record) is not rounds[0]:
            raise RejectedError({"": because(Waiting.STOPPED, stop=stop)})
        speed, wrong = _checked_speed(new), rounds[0].speeds[-1]
        return _store(session, record, rounds[0], key, sent, speed, new.by, at, wrong.after_move)


def _checked_speed(new: NewSpeed) -> float:
    """The speed [rpm]. Raises RejectedError for one that cannot be."""
    if new.speed is None or not math.isfinite(new.speed) or not SLOWEST <= new.speed <= FASTEST:
        raise RejectedError({"speed": because(Rejection.OUT_OF_RANGE, low=SLOWEST, high=FASTEST, unit="rpm")})
    return new.speed


def _store(
    session: Session,
    record: VisitRecord,
    one: Round,
    key: str,
    sent: str,
    speed: float,
    by: str,
    at: str,
    after_move: int,
) -> int:
    """Store a speed [rpm] of a round in the place of its last one, and return its id."""
    row = OpeningSpeed(
        key=key,
        payload=sent,
        round_id=one.row.ident,
        speed=speed * REV_PER_MIN,
        after_move=after_move,
        by=by.strip() or record.visit.by,
        at=at,
        supersedes_id=one.speeds[-1].ident if one.speeds else None,
    )
    session.add(row)
    session.flush()
    loader.remember(session, record.with_round(replace(one, speeds=(*one.speeds, SpeedEntry.of(row)))))
    return row.ident


def _round(session: Session, record: VisitRecord, phase: Phase, new: NewSpeed, key: str, at: str) -> Round:
    """The round of that number off idle, begun where it is due."""
    known = next((r for r in record.rounds if r.row.number == new.round_number), None)
    now = next_reading(record, phase)
    due = now.current is None and now.bore is not None and new.round_number == now.round_number
    opening = known.row.opening if known is not None else now.opening if due else 0.0
    if phase.rounds != "openings" or (not opening and (known is not None or due)):
        raise RejectedError({"speed": because(Rejection.BANK_BALANCE_ONLY)})
    if known is not None and known.row.phase == phase.slug:
        if record.moved_since(known):
            raise ConflictError({"speed": because(Rejection.ADJUSTED_SINCE, round=new.round_number)})
        if new.from_above is (not known.row.from_above):
            raise ConflictError({"speed": because(Rejection.APPROACH_DIFFERS, round=new.round_number)})
        return known
    if known is None and due:
        return begin(session, record, phase, part_key(key, "round"), "", opening, bool(new.from_above), at)
    raise ConflictError({"speed": because(Rejection.ANOTHER_ROUND, round=now.round_number)})
