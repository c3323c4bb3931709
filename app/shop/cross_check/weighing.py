"""What of a visit's findings counts now, what they come to, and which tests may still be made."""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass

from sqlmodel import Session, col, select

from app.shop.assessment.verdicts import next_of
from app.shop.cross_check.findings import CANNOT, REPAIRED
from app.shop.cross_check.units import weighed
from app.shop.procedure.phases import HEAT_SOAKED
from app.shop.procedure.running import may_run
from app.shop.record.superseding import current
from app.shop.record.visit_record import VisitRecord
from app.shop.store.tables import FindingRow
from app.sync.diagnosis.diagnose import Diagnosis, Standing, diagnose
from app.sync.diagnosis.evidence import Finding
from app.sync.diagnosis.measurements import CATALOGUE, FindingKind, Run
from app.sync.engine.layout import Layout
from app.sync.engine.units import KG_PER_HOUR, KPA
from app.sync.planning.advice import AdviceReason

TELEPHONE = "telephone"


@dataclass(frozen=True, slots=True)
class CrossCheck:
    """A visit's cross-check: the rows that count, the same as findings, what cannot be done here, what was repaired,
    and what all of it comes to."""

    record: VisitRecord
    stored: tuple[FindingRow, ...]
    """Every row, those taken back among them, in the order they were stored."""
    made: tuple[FindingRow, ...]
    """Every row that was not taken back, in the order they were stored."""
    rows: tuple[FindingRow, ...]
    findings: tuple[Finding, ...]
    cannot: frozenset[FindingKind]
    repaired: tuple[FindingRow, ...]
    diagnosis: Diagnosis
    bores: tuple[int, ...]
    """The bores in the order in which a `Finding` counts them from 0."""
    running: bool

    def place_of(self, one: Standing) -> tuple[int | None, str]:
        """The bore of a cause, None for none, and the name of its bank, empty for none."""
        bore = self.bores[one.bore] if one.bore is not None else None
        return bore, self.record.layout.banks[one.bank].name if one.bank is not None else ""


def cross_check(session: Session, record: VisitRecord) -> CrossCheck:
    """Weigh what a visit found."""
    rows_of_it = stored(session, record.visit.ident)
    told = not_taken_back(rows_of_it)
    cannot = frozenset(FindingKind(row.kind) for row in told if row.why == CANNOT)
    repaired = tuple(row for row in told if row.kind == REPAIRED)
    rows = tuple(row for row in told if row.why is None and row.kind != REPAIRED and counts(record, row, repaired))
    bores = tuple(bore for bank in record.layout.banks for bore in bank.bores)
    findings = (
        *_of_the_round(record, bores, repaired),
        *(_of_the_resets(record, bores, repaired) if told or record.sign_off is None else ()),
        *(_finding(record, row, bores) for row in rows),
    )
    running = may_run(record)
    evened = _evened(record)
    banks = bank_of_each(record.layout)
    diagnosis = diagnose(banks, findings, allowed(record, cannot), running=running, evened=evened)
    every = tuple(rows_of_it)
    return CrossCheck(record, every, tuple(told), rows, findings, cannot, repaired, diagnosis, bores, running)


def stored(session: Session, visit_id: int) -> Sequence[FindingRow]:
    """Every entry of a visit's cross-check, in the order they were stored."""
    return session.exec(select(FindingRow).where(FindingRow.visit_id == visit_id).order_by(col(FindingRow.id))).all()


def not_taken_back(rows: Sequence[FindingRow]) -> list[FindingRow]:
    """Those that were not taken back, without the rows that take one back."""
    return [row for row in current(rows) if row.supersedes_id is None]


def bank_of_each(layout: Layout) -> tuple[int, ...]:
    """The number of each bore's bank, from 0, bank by bank."""
    return tuple(number for number, bank in enumerate(layout.banks) for _ in bank.bores)


def counts(record: VisitRecord, row: FindingRow, repaired: Iterable[FindingRow]) -> bool:
    """Whether a finding still stands: until its plate is moved, or its bore repaired."""
    for one in repaired:
        if one.ident > row.ident and one.bore in (None, row.bore):
            return False
    if CATALOGUE[FindingKind(row.kind)].lasts or row.bore is None:
        return True
    bank = next(bank for bank in record.layout.banks if row.bore in bank.bores)
    return not any(move.ident > row.after_move and move.bank in ("", bank.name) for move in record.moves)


def allowed(record: VisitRecord, cannot: frozenset[FindingKind]) -> tuple[FindingKind, ...]:
    """The tests that place and instruments allow: by telephone none that needs a hand at the lever."""
    by_voice = record.visit.place == TELEPHONE
    return tuple(
        measure
        for measure in FindingKind
        if measure not in cannot
        and measure is not FindingKind.RECORD
        and not (by_voice and CATALOGUE[measure].run is Run.OPENED)
    )


def _of_the_round(record: VisitRecord, bores: tuple[int, ...], repaired: tuple[FindingRow, ...]) -> tuple[Finding, ...]:
    """What was read at idle since a plate was moved or something repaired, every reading, as vacuum where a column
    counts from nothing: of the newest phase that has a whole round, closed or not."""
    last = max((row.after_reading or 0 for row in repaired), default=0)
    idle = [one for one in record.rounds if one.readings and not one.row.opening]
    idle = [one for one in idle if one.entered[0].ident > last and not record.moved_since(one, at_idle=True)]
    for phase in dict.fromkeys(one.row.phase for one in reversed(idle)):
        mine = [one for one in idle if one.row.phase == phase]
        read = [reading for one in mine for reading in one.in_base_units if reading.bore in bores]
        if any(one.closed for one in mine) or {reading.bore for reading in read} == {*bores}:
            return tuple(Finding(_evened(record), bores.index(one.bore), _shown(record, one.value)) for one in read)
    return ()


def _shown(record: VisitRecord, value: float) -> float:
    """A reading [kg/s or Pa] in the unit of its test."""
    if record.meter.quantity == "flow":
        return value / KG_PER_HOUR
    return (record.ambient.pressure - value if record.meter.absolute else value) / KPA


def _of_the_resets(
    record: VisitRecord, bores: tuple[int, ...], repaired: tuple[FindingRow, ...]
) -> tuple[Finding, ...]:
    """The coupler that no reading of the visit follows, as the test by a reset tells it: no part of one is answered."""
    advice = next_of(record, HEAT_SOAKED)
    if advice is None or advice.why is not AdviceReason.NO_EFFECT or advice.far is None:
        return ()
    if any(row.bore in (None, advice.far) for row in repaired):
        return ()
    return (Finding(FindingKind.RESET, bores.index(advice.far), 0.0),)


def _evened(record: VisitRecord) -> FindingKind:
    """What the plates of a visit are evened by."""
    return FindingKind.AIR if record.meter.quantity == "flow" else FindingKind.VACUUM


def _finding(record: VisitRecord, row: FindingRow, bores: tuple[int, ...]) -> Finding:
    measure = FindingKind(row.kind)
    names = [bank.name for bank in record.layout.banks]
    value = None if row.value is None else weighed(measure, row.value, row.unit)
    return Finding(
        measure,
        bores.index(row.bore) if row.bore is not None else None,
        value,
        row.word or "",
        names.index(row.bank) if row.bank else None,
        row.spread,
    )
