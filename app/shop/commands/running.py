"""Starts and stops of the engine: what was checked before a start, and what ended a stop."""

from collections.abc import Collection, Sequence
from dataclasses import replace
from datetime import UTC, datetime

from sqlmodel import Session

from app.shop.errors import Problems, RejectedError
from app.shop.procedure.limits import NOTHING_WRONG, Stop, StopCause, open_stops, why_ended
from app.shop.procedure.phases import FIRST_FIRE
from app.shop.procedure.requirements import Waiting
from app.shop.procedure.running import STARTED, STOPPED, as_done, events_of, never_ran, run_out, state_of
from app.shop.reasons import because
from app.shop.record import loader
from app.shop.record.entries import CheckEntry, EngineEventEntry
from app.shop.record.visit_record import VisitRecord
from app.shop.rejections import Rejection
from app.shop.store.database import Database
from app.shop.store.idempotency import checked, earlier, fingerprint, part_key
from app.shop.store.tables import CheckRow, EngineEvent, StopEnd

LONGEST_WORDS = 500


def stop(shop: Database, visit_id: int, key: str, by: str, at: str) -> int:
    """Record that the engine was stopped, and return the row's id. Raises RejectedError when it stands already."""
    key = checked(key)
    sent = fingerprint(visit=visit_id, what=STOPPED)
    with loader.writing(shop, visit_id, EngineEvent, key) as session:
        if again := earlier(session, EngineEvent, key, sent):
            return again.ident
        record = as_done(loader.load(session, visit_id), at)
        _require(record, by)
        if (events := events_of(record)) and events[-1].what == STOPPED:
            raise RejectedError({"": because(Rejection.ENGINE_STANDS)})
        later = add_event(session, record, STOPPED, key, by, at, sent)
        loader.remember(session, later)
        return later.engine_events[-1].ident


def start(shop: Database, visit_id: int, key: str, ticks: Collection[str], by: str, at: str) -> int:
    """Record that the engine was started, with the items of first fire checked for it, and return the row's id.

    ``ticks`` are those checked now; together with those that still count they have to be all. Raises RejectedError by
    item, with nothing stored.
    """
    key = checked(key)
    sent = fingerprint(visit=visit_id, what=STARTED, ticks=sorted(ticks))
    with loader.writing(shop, visit_id, EngineEvent, key) as session:
        if again := earlier(session, EngineEvent, key, sent):
            return again.ident
        record = as_done(loader.load(session, visit_id), at)
        _require(record, by)
        if state_of(record).stands is None and not never_ran(record):
            raise RejectedError({"": because(Rejection.ENGINE_RUNS)})
        due = {item.slug for item in run_out(record, FIRST_FIRE)}
        problems: Problems = {item: because(Rejection.CHECK_BEFORE_START) for item in sorted(due - {*ticks})}
        problems |= {item: because(Rejection.NOT_ASKED_FOR) for item in sorted({*ticks} - due)}
        if problems:
            raise RejectedError(problems)
        record = _stopped_by_pause(session, record, key, by)
        rows = [_tick(record, key, sent, item, by, at) for item in sorted(due)]
        session.add_all(rows)
        session.flush()
        record = replace(record, all_checks=(*record.all_checks, *map(CheckEntry.of, rows)))
        later = add_event(session, record, STARTED, key, by, at, sent)
        loader.remember(session, later)
        return later.engine_events[-1].ident


def end_stop(
    shop: Database, visit_id: int, key: str, cause: str, cause_text: str, remedy: str, by: str, at: str
) -> int:
    """End the stop of a visit with its cause, a StopCause, and what was done about it. Returns the row's id.

    Every figure that stands beyond a limit by then is ended, and asked for again. Raises RejectedError.
    """
    key = checked(key)
    sent = fingerprint(visit=visit_id, cause=cause, cause_text=cause_text, remedy=remedy)
    with loader.writing(shop, visit_id, StopEnd, key) as session:
        if again := earlier(session, StopEnd, key, sent):
            return again.ident
        stops = stops_to_end(loader.load(session, visit_id))
        if problems := _problems_of_end(cause, cause_text, remedy, by):
            raise RejectedError(problems)
        return store_end(session, visit_id, key, sent, stops, cause, by, at, cause_text, remedy)


def stops_to_end(record: VisitRecord) -> tuple[Stop, ...]:
    """Every figure that stands beyond a limit. Raises RejectedError where none does, or the visit has ended."""
    if ended := why_ended(record):
        raise RejectedError({"": ended})
    if not (stops := open_stops(record)):
        raise RejectedError({"": because(Rejection.NOT_STOPPED)})
    return stops


def store_end(
    session: Session,
    visit_id: int,
    key: str,
    sent: str,
    stops: Sequence[Stop],
    cause: str,
    by: str,
    at: str,
    cause_text: str = "",
    remedy: str = "",
) -> int:  # fmt: skip
    """Store that ``stops`` are ended, with their cause and what was done about it. Returns the row's id."""
    row = StopEnd(
        key=key,
        payload=sent,
        visit_id=visit_id,
        after_check=stops[-1].check.ident,
        cause=cause,
        cause_text=cause_text.strip(),
        remedy=remedy.strip(),
        by=by.strip(),
        at=at,
    )
    session.add(row)
    session.flush()
    return row.ident


def add_event(
    session: Session,
    record: VisitRecord,
    what: str,
    key: str,
    by: str,
    at: str,
    sent: str = "",
    check: int | None = None,
) -> VisitRecord:
    """Store that the engine was started or stopped after the newest rows, or after ``check``; the record with it."""
    newest = max((c.ident for c in record.all_checks), default=0)
    row = EngineEvent(
        key=key,
        payload=sent,
        visit_id=record.visit.ident,
        what=what,
        after_reading=record.last_reading,
        after_check=newest if check is None else check,
        by=by.strip() or record.visit.by,
        at=at,
    )
    session.add(row)
    session.flush()
    return replace(record, engine_events=(*record.engine_events, EngineEventEntry.of(row)))


def _stopped_by_pause(session: Session, record: VisitRecord, key: str, by: str) -> VisitRecord:
    """The record with a pause as the stop that it is taken for."""
    pause = state_of(record).pause
    if pause is None:
        return record
    began = datetime.fromtimestamp(pause.at, UTC).isoformat(timespec="milliseconds")
    return add_event(session, record, STOPPED, part_key(key, "paused"), by, began, check=pause.check)


def _tick(record: VisitRecord, key: str, sent: str, item: str, by: str, at: str) -> CheckRow:
    before = record.newest_check(FIRST_FIRE.slug, item)
    return CheckRow(
        key=part_key(key, item),
        payload=sent,
        visit_id=record.visit.ident,
        phase=FIRST_FIRE.slug,
        item=item,
        after_move=record.last_move,
        by=by.strip(),
        at=at,
        supersedes_id=before.ident if before else None,
    )


def _require(record: VisitRecord, by: str) -> None:
    """Raises RejectedError where nothing may be recorded of the engine now."""
    if ended := why_ended(record):
        raise RejectedError({"": ended})
    if stops := open_stops(record):
        raise RejectedError({"": because(Waiting.STOPPED, stop=stops[0].reason)})
    if not by.strip():
        raise RejectedError({"by": because(Rejection.INITIALS_MISSING)})


def _problems_of_end(cause: str, cause_text: str, remedy: str, by: str) -> Problems:
    problems: Problems = {}
    if not cause:
        problems["cause"] = because(Rejection.CAUSE_MISSING)
    elif cause not in set(StopCause):
        problems["cause"] = because(Rejection.NOT_ONE_OF, choices=tuple(StopCause))
    elif cause == StopCause.OTHER and not cause_text.strip():
        problems["cause_text"] = because(Rejection.CAUSE_MISSING)
    if not remedy.strip() and cause not in NOTHING_WRONG:
        problems["remedy"] = because(Rejection.REMEDY_MISSING)
    for name, words in (("cause_text", cause_text), ("remedy", remedy)):
        if len(words) > LONGEST_WORDS:
            problems[name] = because(Rejection.TOO_LONG, most=LONGEST_WORDS)
    if not by.strip():
        problems["by"] = because(Rejection.INITIALS_MISSING)
    return problems
