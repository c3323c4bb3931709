"""The time of a job, corrected by hand: how long a phase took in truth, why the record says otherwise, and who says so.

A correction stands beside what was recorded; the newest one of a phase counts.
"""

import math
from dataclasses import dataclass

from app.shop.commands.engines import LONGEST
from app.shop.errors import NotFoundError, Problems, RejectedError
from app.shop.procedure.limits import why_ended
from app.shop.reasons import because
from app.shop.record.loader import load
from app.shop.record.visit_record import PHASE_ORDER
from app.shop.rejections import Rejection
from app.shop.store.database import Database
from app.shop.store.idempotency import checked, earlier, fingerprint
from app.shop.store.tables import HoursCorrection, Visit
from app.sync.engine.units import MINUTE

MOST_MINUTES = 100 * 60
"""A phase of more than a hundred hours is mistyped (our judgement)."""


@dataclass(frozen=True, slots=True)
class NewTime:
    """What a phase took in truth [min]."""

    phase: str
    minutes: float
    why: str
    by: str


def correct(shop: Database, visit_id: int, key: str, new: NewTime, at: str) -> int:
    """Store how long a phase took and return the row's id. Raises RejectedError by field, NotFoundError."""
    key = checked(key)
    sent = fingerprint(visit=visit_id, new=new)
    with shop.writing() as session:
        if again := earlier(session, HoursCorrection, key, sent):
            return again.ident
        if session.get(Visit, visit_id) is None:
            raise NotFoundError(because(Rejection.NO_SUCH_VISIT))
        record = load(session, visit_id)
        if record.sign_off is None and (ended := why_ended(record)):
            raise RejectedError({"": ended})
        if problems := _problems(new):
            raise RejectedError(problems)
        row = HoursCorrection(
            key=key,
            payload=sent,
            visit_id=visit_id,
            phase=new.phase,
            seconds=new.minutes * MINUTE,
            why=new.why.strip(),
            by=new.by.strip(),
            at=at,
        )
        session.add(row)
        session.flush()
        return row.ident


def _problems(new: NewTime) -> Problems:
    problems: Problems = {}
    if new.phase not in PHASE_ORDER:
        problems["phase"] = because(Rejection.NOT_ONE_OF, choices=PHASE_ORDER)
    if not (math.isfinite(new.minutes) and 0 <= new.minutes <= MOST_MINUTES):
        problems["minutes"] = because(Rejection.OUT_OF_RANGE, low=0, high=MOST_MINUTES, unit="minutes")
    if not new.why.strip():
        problems["why"] = because(Rejection.REASON_MISSING)
    if not new.by.strip():
        problems["by"] = because(Rejection.INITIALS_MISSING)
    for name in ("why", "by"):
        if len(getattr(new, name)) > LONGEST:
            problems[name] = because(Rejection.TOO_LONG, most=LONGEST)
    return problems
