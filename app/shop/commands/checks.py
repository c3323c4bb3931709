"""Checks: what a phase asks for, recorded with who and when; and waivers of what is missing."""

import math
from collections.abc import Mapping, Sequence
from dataclasses import replace

from app.shop.assessment.gates import comes_before, require_open
from app.shop.assessment.progress import items_of, stale_items, status_of
from app.shop.commands import running
from app.shop.errors import Problems, RejectedError
from app.shop.procedure.items import Item, Phase
from app.shop.procedure.limits import ITEMS, StopCause, open_stops, stop_for
from app.shop.procedure.phases import phase_named
from app.shop.procedure.requirements import Requirement, Waiting
from app.shop.procedure.running import STOPPED, as_done
from app.shop.reasons import Reason, because
from app.shop.record import loader
from app.shop.record.entries import CheckEntry
from app.shop.record.measures import RECORDED, Units
from app.shop.record.stored_reasons import stored
from app.shop.record.visit_record import TAKEN_BACK, VisitRecord
from app.shop.rejections import Rejection
from app.shop.store.database import Database
from app.shop.store.idempotency import checked, earlier, fingerprint, part_key
from app.shop.store.tables import CheckRow, Override, StopEnd

LONGEST_REASON = 500


def record(
    shop: Database,
    visit_id: int,
    key: str,
    slug: str,
    values: Mapping[str, float | None],
    by: str,
    at: str,
    read_at: str = "",
    units: Units = RECORDED,
    *,
    alarm: bool = False,
) -> int:
    """Store the items given, all or none, and return how many were new.

    ``values`` maps an item to its number, or None for a tick. An item recorded before is superseded, when it differs,
    has to be fresh, or is kept over time; ``read_at`` is when those were read, if it was before ``at``. An ``alarm``
    is a figure beyond a limit, kept whatever its phase or the ones before it lack; its caller sees to it that no stop
    is open. Raises RejectedError by item, its figures in ``units``.
    """
    key = checked(key)
    with loader.writing(shop, visit_id) as session:
        record = as_done(loader.load(session, visit_id), at)
        stored = [
            earlier(session, CheckRow, part_key(key, item), _payload(visit_id, slug, item, number))
            for item, number in values.items()
        ]
        if any(stored):  # all or none was stored, save what was recorded already
            return 0
        if not values and _stored_under(key, record):
            return 0
        phase = phase_named(slug) if alarm else require_open(record, slug)
        items = items_of(record, phase)
        asked, again = {item.slug: item for item in items}, stale_items(record, phase, items)
        early = {} if alarm else _out_of_order(record, phase, asked, values)
        if problems := _problems(asked, values, by, units) or early:
            raise RejectedError(problems)
        rows = [
            _row(record, key, slug, asked[item], number, by, at, read_at)
            for item, number in values.items()
            if asked[item].over_time or item in again or not _stands(record, slug, item, number)
        ]
        session.add_all(rows)
        session.flush()
        later = replace(record, all_checks=(*record.all_checks, *map(CheckEntry.of, rows)))
        if open_stops(later):
            later = running.add_event(session, later, STOPPED, part_key(key, "stopped"), by, at)
        loader.remember(session, later)
        return len(rows)


def correct_stop(
    shop: Database,
    visit_id: int,
    key: str,
    figures: Mapping[int, float],
    by: str,
    at: str,
    units: Units = RECORDED,
    *,
    ran_on: bool = False,
) -> int:
    """End the stop of a visit whose figures were mistyped, with what the gauges show. Returns the row's id.

    ``figures`` are by the id of the check that is wrong, in the item's own unit, each within the shop's limits; nothing
    was done about the engine, so no remedy is stored. The engine counts as stopped, as for any stop,
    unless it ``ran_on``: then it never was. Raises RejectedError by ``check-ID``, its figures in ``units``.
    """
    key = checked(key)
    sent = fingerprint(visit=visit_id, figures=sorted(figures.items()), **({"ran_on": True} if ran_on else {}))
    with loader.writing(shop, visit_id, StopEnd, key) as session:
        if again := earlier(session, StopEnd, key, sent):
            return again.ident
        record = as_done(loader.load(session, visit_id), at)
        stops = running.stops_to_end(record)
        wrong = [stop.check for stop in stops]
        if problems := _problems_of_correction(record, wrong, figures, by, units):
            raise RejectedError(problems)
        cause = StopCause.RAN_ON if ran_on else StopCause.MISTYPED
        ident = running.store_end(session, visit_id, key, sent, stops, cause, by, at)
        session.add_all(
            _row(record, key, one.phase, ITEMS[one.phase, one.item], figures[one.ident], by, at, one.text or one.at)
            for one in wrong
        )
        session.flush()
        return ident


def take_back(shop: Database, visit_id: int, key: str, slug: str, item: str, by: str, at: str) -> int:
    """Take one item back, as if it had not been recorded; what was recorded stays in the history.

    Returns the id of the row that takes it back. Raises RejectedError when there is nothing to take back.
    """
    key = checked(key)
    sent = fingerprint(visit=visit_id, item=item, back=True)
    with loader.writing(shop, visit_id, CheckRow, key) as session:
        if again := earlier(session, CheckRow, key, sent):
            return again.ident
        record = as_done(loader.load(session, visit_id), at)
        require_open(record, slug)
        standing = record.checks.get((slug, item))
        if standing is None:
            raise RejectedError({item: because(Rejection.NOTHING_TO_UNDO)})
        if not by.strip():
            raise RejectedError({"by": because(Rejection.INITIALS_MISSING)})
        row = CheckRow(
            key=key,
            payload=sent,
            visit_id=visit_id,
            phase=slug,
            item=item,
            text=TAKEN_BACK,
            after_move=record.last_move,
            by=by.strip(),
            at=at,
            supersedes_id=standing.ident,
        )
        session.add(row)
        session.flush()
        return row.ident


def waive(
    shop: Database, visit_id: int, key: str, slug: str, why: str, by: str, at: str, gate: str | None = None
) -> int:
    """Continue with something missing, for a reason that is stored and printed. Returns the row's id.

    With a ``gate`` only that one thing is waived: the fine round may then be read before the engine is hot.

    Raises RejectedError without a reason or initials, when nothing is missing, and when what is missing may not be
    skipped.
    """
    key = checked(key)
    sent = fingerprint(visit=visit_id, phase=slug, why=why, gate=gate)
    with loader.writing(shop, visit_id, Override, key) as session:
        if again := earlier(session, Override, key, sent):
            return again.ident
        record = as_done(loader.load(session, visit_id), at)
        phase = require_open(record, slug)
        standing = status_of(record, phase)
        missing = [m for m in standing.missing if gate is None or m.slug == gate]
        problems: Problems = {}
        if not why.strip():
            problems["why"] = because(Rejection.REASON_MISSING)
        if len(why) > LONGEST_REASON:
            problems["why"] = because(Rejection.TOO_LONG, most=LONGEST_REASON)
        if not by.strip():
            problems["override_by"] = because(Rejection.INITIALS_MISSING)
        if must := tuple(m.reason for m in missing if m.must):
            problems["why"] = because(Waiting.REQUIRED, missing=must)
        if not missing:
            problems["why"] = because(Rejection.NOTHING_MISSING)
        if problems:
            raise RejectedError(problems)
        row = Override(
            key=key,
            payload=sent,
            visit_id=visit_id,
            phase=slug,
            missing=stored(m.reason for m in missing),
            why=why.strip(),
            gate=gate,
            by=by.strip(),
            at=at,
        )
        session.add(row)
        session.flush()
        return row.ident


def _stands(record: VisitRecord, slug: str, item: str, number: float | None) -> bool:
    """Whether that is recorded of an item already, with no move since."""
    standing = record.checks.get((slug, item))
    return standing is not None and standing.number == number and standing.after_move >= record.last_move


def _row(
    record: VisitRecord, key: str, slug: str, item: Item, number: float | None, by: str, at: str, read_at: str
) -> CheckRow:
    before = record.newest_check(slug, item.slug)
    return CheckRow(
        key=part_key(key, item.slug),
        payload=_payload(record.visit.ident, slug, item.slug, number),
        visit_id=record.visit.ident,
        phase=slug,
        item=item.slug,
        number=number,
        text=read_at if item.over_time else "",
        after_move=record.last_move,
        by=by.strip(),
        at=at,
        supersedes_id=before.ident if before else None,
    )


def _payload(visit_id: int, slug: str, item: str, number: float | None) -> str:
    return fingerprint(visit=visit_id, phase=slug, item=item, number=number)


def _stored_under(key: str, record: VisitRecord) -> bool:
    """Whether this very form was stored before: sent again, its figures differ from nothing that is recorded."""
    return any(row.key == part_key(key, row.item) for row in record.all_checks)


def _problems(asked: Mapping[str, Item], values: Mapping[str, float | None], by: str, units: Units) -> Problems:
    """What is wrong with the items given, each beside its own."""
    found = {item: _problem(asked.get(item), number, units) for item, number in values.items()}
    problems: Problems = {item: problem for item, problem in found.items() if problem is not None}
    if not by.strip():
        problems["by"] = because(Rejection.INITIALS_MISSING)
    if not values:
        problems["nothing"] = because(Rejection.NOTHING_ENTERED)
    return problems


def _problems_of_correction(
    record: VisitRecord, stops: Sequence[CheckEntry], figures: Mapping[int, float], by: str, units: Units
) -> Problems:
    """What is wrong with the figures that take the place of mistyped ones: one is missing, or would stop the engine."""
    problems: Problems = {}
    for one in stops:
        item, number = ITEMS[one.phase, one.item], figures.get(one.ident)
        problem = _problem(item, number, units)
        if problem is None and number is not None:
            problem = stop_for(item, number, record.settings.limits, record.units)
        if problem is not None:
            problems[f"check-{one.ident}"] = problem
    if not by.strip():
        problems["by"] = because(Rejection.INITIALS_MISSING)
    return problems


def _out_of_order(
    record: VisitRecord, phase: Phase, asked: Mapping[str, Item], values: Mapping[str, float | None]
) -> Problems:
    """What of the items given comes too early, as another item comes before it."""
    first = {item: comes_before(record, phase, asked[item], values.keys()) for item in values if item in asked}
    return {
        item: because(Waiting.CHECK_FIRST, item=because(Requirement.ITEM, phase=phase.slug, item=one.slug))
        for item, one in first.items()
        if one is not None
    }


def _problem(item: Item | None, number: float | None, units: Units) -> Reason | None:
    if item is None:
        return because(Rejection.NOT_ASKED_FOR)
    if item.kind == "tick":
        return None
    if item.choices and number not in range(len(item.choices)):
        return because(Rejection.NOT_ONE_OF, choices=item.choices)
    if number is None or not math.isfinite(number) or not item.low <= number <= item.high:
        return item.range_in(units)
    return None
