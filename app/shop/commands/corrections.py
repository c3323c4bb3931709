"""Corrections after the sign-off: what was recorded wrong, corrected by a new row, as a new issue of the sheet.

A visit that was signed off is not opened again: nothing can be read or moved in it. But a figure that was mistyped can
be corrected with a reason, and the holder of the earlier sheet can be told what replaced it.
"""

import math
from collections.abc import Mapping
from dataclasses import dataclass, field, replace

from app.shop.commands.engines import LONGEST
from app.shop.errors import ConflictError, Problems, RejectedError
from app.shop.procedure.items import Item
from app.shop.procedure.limits import range_of
from app.shop.procedure.phases import PHASES
from app.shop.reasons import because
from app.shop.record import loader
from app.shop.record.entries import CheckEntry, CorrectionEntry, MeterReading
from app.shop.record.measures import RECORDED, Quantity, Units
from app.shop.record.superseding import current
from app.shop.record.visit_record import VisitRecord
from app.shop.rejections import Rejection
from app.shop.store.database import Database
from app.shop.store.idempotency import checked, earlier, fingerprint, part_key
from app.shop.store.tables import CheckRow, Correction, ReadingRow


@dataclass(frozen=True, slots=True)
class NewCorrection:
    """What is right: readings by the id of the row that was wrong, in the meter's unit; checks likewise, in their own.

    ``why`` says what went wrong, ``by`` whose word it is.
    """

    why: str
    by: str
    readings: Mapping[int, float] = field(default_factory=dict)
    checks: Mapping[int, float] = field(default_factory=dict)


@dataclass(frozen=True, slots=True)
class Corrected:
    """One figure that a correction replaced: of a ``bore`` in a ``round``, or of the checklist ``item`` named ``slug``.

    ``unit`` is the meter's or the item's own. ``item`` is None for a slug that no phase asks for any more.
    """

    was: float | None
    now: float | None
    unit: str
    bore: int = 0
    round: int = 0
    drift_check: bool = False
    slug: str = ""
    item: Item | None = None

    @property
    def quantity(self) -> Quantity | None:
        """What the figure is of, where a shop chooses its unit."""
        return self.item.quantity if self.item else None


def correct(shop: Database, visit_id: int, key: str, new: NewCorrection, at: str, units: Units = RECORDED) -> int:
    """Store a correction with the rows that supersede what was wrong, and return the number of the new issue.

    Raises RejectedError when the visit is not signed off, nothing changes, or a figure cannot be; ConflictError when a
    row was corrected meanwhile. All of it is stored or nothing. Rejections have their figures in ``units``.
    """
    key = checked(key)
    sent = fingerprint(visit=visit_id, new=new)
    with loader.writing(shop, visit_id, Correction, key) as session:
        if again := earlier(session, Correction, key, sent):
            return again.number
        record = loader.load(session, visit_id)
        if problems := _problems(record, new, units):
            raise RejectedError(problems)
        readings, checks = _standing(record, new)
        row = Correction(
            key=key,
            payload=sent,
            visit_id=visit_id,
            number=issue_of(record) + 1,
            after_reading=record.last_reading,
            after_check=max((c.ident for c in record.all_checks), default=0),
            why=new.why.strip(),
            by=new.by.strip(),
            at=at,
        )
        session.add(row)
        for old, value in readings:
            session.add(
                ReadingRow(
                    key=part_key(key, f"reading {old.ident}"),
                    payload=sent,
                    round_id=old.round_id,
                    bore=old.bore,
                    kind=old.kind,
                    value=value,
                    unit=old.unit,
                    why=new.why.strip(),
                    by=row.by,
                    at=at,
                    supersedes_id=old.ident,
                )
            )
        session.add_all(_corrected_check(row, check, value) for check, value in checks)
        session.flush()
        return row.number


def _corrected_check(row: Correction, old: CheckEntry, value: float) -> CheckRow:
    """The row that supersedes a check, as part of a correction."""
    return CheckRow(
        key=part_key(row.key, f"check {old.ident}"),
        payload=row.payload,
        visit_id=row.visit_id,
        phase=old.phase,
        item=old.item,
        number=value,
        text="",
        after_move=old.after_move,
        by=row.by,
        at=row.at,
        supersedes_id=old.ident,
    )


def issue_of(record: VisitRecord) -> int:
    """The newest issue of a visit's sheet, from 1."""
    return max((c.number for c in record.corrections), default=1)


def as_issued(record: VisitRecord, issue: int) -> VisitRecord:
    """The visit as its sheet of that issue had it. An issue later than the newest is the newest."""
    later = next((c for c in record.corrections if c.number == issue + 1), None)
    if later is None:
        return record
    return replace(
        record,
        rounds=tuple(
            replace(r, entered=tuple(e for e in r.entered if e.ident <= later.after_reading)) for r in record.rounds
        ),
        all_checks=tuple(c for c in record.all_checks if c.ident <= later.after_check),
        corrections=tuple(c for c in record.corrections if c.number <= issue),
    )


def corrected(record: VisitRecord, one: CorrectionEntry) -> tuple[Corrected, ...]:
    """What a correction changed, in the order of the visit."""
    issued = as_issued(record, one.number)
    said = []
    for round_ in issued.rounds:
        was = {e.ident: e for e in round_.entered}
        for entered in round_.entered:
            if entered.ident > one.after_reading and entered.supersedes_id in was:
                old = was[entered.supersedes_id]
                said.append(
                    Corrected(
                        old.value,
                        entered.value,
                        entered.unit,
                        bore=entered.bore,
                        round=round_.row.number,
                        drift_check=entered.kind == "closing",
                    )
                )
    items = {(p.slug, i.slug): i for p in PHASES for i in p.items}
    checks = {c.ident: c for c in issued.all_checks}
    for check in issued.all_checks:
        if check.ident > one.after_check and check.supersedes_id in checks:
            item = items.get((check.phase, check.item))
            figure = checks[check.supersedes_id].number
            said.append(Corrected(figure, check.number, item.unit if item else "", slug=check.item, item=item))
    return tuple(said)


def _problems(record: VisitRecord, new: NewCorrection, units: Units) -> Problems:
    problems: Problems = {}
    if record.sign_off is None:
        problems[""] = because(Rejection.NOT_SIGNED_OFF)
    if not new.why.strip():
        problems["why"] = because(Rejection.REASON_MISSING)
    if not new.by.strip():
        problems["by"] = because(Rejection.INITIALS_MISSING)
    for name in ("why", "by"):
        if len(getattr(new, name)) > LONGEST:
            problems[name] = because(Rejection.TOO_LONG, most=LONGEST)
    for ident, value in new.readings.items():
        if not math.isfinite(value) or not record.meter.low <= value <= record.meter.high:
            problems[f"reading-{ident}"] = range_of(record.meter)
    items = {(p.slug, i.slug): i for p in PHASES for i in p.items}
    for check in record.all_checks:
        item = items.get((check.phase, check.item))
        figure = new.checks.get(check.ident)
        if item is not None and figure is not None and not item.low <= figure <= item.high:
            problems[f"check-{check.ident}"] = item.range_in(units)
    return problems


def _standing(
    record: VisitRecord, new: NewCorrection
) -> tuple[list[tuple[MeterReading, float]], list[tuple[CheckEntry, float]]]:
    """The rows to supersede and what is right, without those that stay as they are."""
    readings = {r.ident: r for one in record.rounds for r in current(one.entered) if r.value is not None}
    checks = {c.ident: c for c in record.checks.values() if c.number is not None}
    if set(new.readings) - set(readings) or set(new.checks) - set(checks):
        raise ConflictError({"": because(Rejection.CHANGED_BY_ANOTHER_TABLET)})
    wrong = [(readings[i], value) for i, value in sorted(new.readings.items()) if readings[i].value != value]
    off = [(checks[i], value) for i, value in sorted(new.checks.items()) if checks[i].number != value]
    if not wrong and not off:
        raise RejectedError({"": because(Rejection.NOTHING_CORRECTED)})
    return wrong, off
