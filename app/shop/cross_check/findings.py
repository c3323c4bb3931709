"""The verb of the cross-check: store what was measured, why it cannot be, what was repaired; take a finding back."""

import math
from dataclasses import dataclass
from typing import Literal

from sqlmodel import Session, select

from app.shop.commands.engines import LONGEST
from app.shop.cross_check.units import takes_words, units_of
from app.shop.errors import ConflictError, NotFoundError, Problems, RejectedError
from app.shop.procedure.limits import why_ended
from app.shop.reasons import because
from app.shop.record import loader
from app.shop.record.visit_record import VisitRecord
from app.shop.rejections import Rejection
from app.shop.store.database import Database
from app.shop.store.idempotency import checked, earlier, fingerprint, part_key
from app.shop.store.tables import FindingRow
from app.sync.diagnosis.causes import EngineFault
from app.sync.diagnosis.measurements import CATALOGUE, Extent, FindingKind

REPAIRED = "repaired"
CANNOT = "cannot"
"""The reason of a row that says that a test cannot be made here."""
CAUTIONS_MISSED = "cautions-missed"
"""The reason of a row that says that a trainee began a test without its cautions."""
TAKEN_BACK = "taken-back"
REPAIRABLE = tuple(cause for cause in EngineFault if cause not in (EngineFault.NONE, EngineFault.UNKNOWN))
"""The causes that a person repairs."""
LARGEST = 100_000.0
"""A figure beyond this is mistyped (our judgement)."""

Source = Literal["tablet", "json", "csv"]


@dataclass(frozen=True, slots=True)
class ShownAt:
    """What one place showed: a bore's number, a bank's name, or neither for the engine; a figure or a word."""

    bore: int | None = None
    bank: str = ""
    value: float | None = None
    word: str = ""
    spread: float | None = None


@dataclass(frozen=True, slots=True)
class NewFindings:
    """What a test of some ``kind`` showed, place by place, in one ``unit``; ``file`` is the hash of a logger's file."""

    kind: str
    shown: tuple[ShownAt, ...]
    unit: str
    by: str
    source: Source = "tablet"
    file: str | None = None


def add(shop: Database, visit_id: int, key: str, new: NewFindings, at: str) -> None:
    """Store what a test showed, all of it or nothing. Raises RejectedError by field, NotFoundError, ConflictError."""
    add_all(shop, visit_id, key, (new,), at)


def add_all(shop: Database, visit_id: int, key: str, several: tuple[NewFindings, ...], at: str) -> None:
    """Store what several tests showed in one transaction. Raises as `add`."""
    key = checked(key)
    sent = fingerprint(visit=visit_id, new=several)
    with shop.writing() as session:
        if earlier(session, FindingRow, key, sent):
            return
        record = _open(session, visit_id)
        rows = []
        for new in several:
            if problems := _problems(record, new):
                raise RejectedError(problems)
            rows += [_row(record, new, one, at) for one in new.shown]
        if not rows:
            raise RejectedError({"": because(Rejection.NOTHING_ENTERED)})
        _store(session, key, sent, rows)


def cannot(shop: Database, visit_id: int, key: str, kind: str, by: str, at: str) -> None:
    """Store that a test cannot be made here: it is not asked for again in this visit. Raises as `add`."""
    _mark(shop, visit_id, key, fingerprint(visit=visit_id, cannot=kind), kind, CANNOT, by, at)


def cautions_missed(shop: Database, visit_id: int, key: str, kind: str, by: str, at: str) -> None:
    """Store that a trainee began a test without its cautions. Raises as `add`."""
    sent = fingerprint(visit=visit_id, cautions_missed=kind)
    _mark(shop, visit_id, key, sent, kind, CAUTIONS_MISSED, by, at)


def _mark(shop: Database, visit_id: int, key: str, sent: str, kind: str, why: str, by: str, at: str) -> None:
    """Store a row of a test that holds nothing but a reason."""
    key = checked(key)
    with shop.writing() as session:
        if earlier(session, FindingRow, key, sent):
            return
        record = _open(session, visit_id)
        if kind not in set(FindingKind):
            raise RejectedError({"kind": because(Rejection.NOT_ONE_OF, choices=[*FindingKind])})
        _store(session, key, sent, [_row(record, NewFindings(kind, (), "", by), ShownAt(), at, why=why)])


def take_back(shop: Database, visit_id: int, key: str, finding: int, by: str, at: str) -> None:
    """Store that a finding does not count. Raises NotFoundError, ConflictError where it was taken back already."""
    key = checked(key)
    sent = fingerprint(visit=visit_id, taken_back=finding)
    with shop.writing() as session:
        if earlier(session, FindingRow, key, sent):
            return
        record = _open(session, visit_id)
        wrong = session.get(FindingRow, finding)
        if wrong is None or wrong.visit_id != visit_id:
            raise NotFoundError(because(Rejection.NOTHING_TO_UNDO))
        again = session.exec(select(FindingRow).where(FindingRow.supersedes_id == finding)).first()
        if again is not None or wrong.supersedes_id is not None:
            raise ConflictError({"": because(Rejection.NOTHING_TO_UNDO)})
        new = NewFindings(wrong.kind, (), wrong.unit, by)
        row = _row(record, new, ShownAt(wrong.bore, wrong.bank), at, why=TAKEN_BACK)
        row.supersedes_id = finding
        _store(session, key, sent, [row])


def _open(session: Session, visit_id: int) -> VisitRecord:
    record = loader.load(session, visit_id)
    if ended := why_ended(record):
        raise RejectedError({"": ended})
    return record


def _store(session: Session, key: str, sent: str, rows: list[FindingRow]) -> None:
    for number, row in enumerate(rows):
        row.key = key if not number else part_key(key, str(number))
        row.payload = sent
        session.add(row)
    session.flush()


def _row(record: VisitRecord, new: NewFindings, one: ShownAt, at: str, why: str | None = None) -> FindingRow:
    return FindingRow(
        key="",
        payload="",
        visit_id=record.visit.ident,
        bore=one.bore,
        bank=one.bank,
        kind=new.kind,
        value=one.value,
        word=one.word or None,
        why=why,
        unit=new.unit,
        spread=one.spread,
        source=new.source,
        file=new.file,
        after_move=record.newest_move,
        after_reading=record.last_reading,
        by=new.by.strip() or record.visit.by,
        at=at,
    )


def _problems(record: VisitRecord, new: NewFindings) -> Problems:
    problems: Problems = {}
    if len(new.by) > LONGEST:
        problems["by"] = because(Rejection.TOO_LONG, most=LONGEST)
    if new.kind == REPAIRED:
        return problems | _wrong_repair(record, new)
    if new.kind not in set(FindingKind):
        return {"kind": because(Rejection.NOT_ONE_OF, choices=[*FindingKind])}
    measure = FindingKind(new.kind)
    words = takes_words(measure)
    if not words and new.unit not in units_of(measure):
        problems["unit"] = because(Rejection.NOT_ONE_OF, choices=[*units_of(measure)])
    for one in new.shown:
        name = f"at-{one.bore or one.bank}"
        if not _placed(record, measure, one):
            problems[name] = because(Rejection.NOT_A_BORE, typed=str(one.bore or one.bank))
        elif words and one.word not in CATALOGUE[measure].words:
            problems[name] = because(Rejection.NOT_ONE_OF, choices=[*CATALOGUE[measure].words])
        elif not words and not (one.value is not None and math.isfinite(one.value) and abs(one.value) <= LARGEST):
            problems[name] = because(Rejection.OUT_OF_RANGE, low=-LARGEST, high=LARGEST, unit=new.unit)
        elif one.spread is not None and not 0 < one.spread <= LARGEST:
            problems[name] = because(Rejection.OUT_OF_RANGE, low=0, high=LARGEST, unit="")
    return problems


def _wrong_repair(record: VisitRecord, new: NewFindings) -> Problems:
    banks = ("", *(bank.name for bank in record.layout.banks))
    if any(one.word not in REPAIRABLE for one in new.shown):
        return {"word": because(Rejection.NOT_ONE_OF, choices=[*REPAIRABLE])}
    for one in new.shown:
        if one.bore not in (None, *record.layout.bores) or one.bank not in banks:
            return {"place": because(Rejection.NOT_A_BORE, typed=str(one.bore or one.bank))}
    return {}


def _placed(record: VisitRecord, measure: FindingKind, one: ShownAt) -> bool:
    match CATALOGUE[measure].scope:
        case Extent.ENGINE:
            return one.bore is None and not one.bank
        case Extent.BANK:
            return one.bore is None and one.bank in [bank.name for bank in record.layout.banks]
        case _:
            return one.bore in record.layout.bores and not one.bank
