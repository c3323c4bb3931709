"""A training engine that runs rough: its tests are read here, and graded beside a careful hand.

The careful hand follows the next test of the diagnosis at the same engine, with readings of its own.
"""

from collections.abc import Sequence
from dataclasses import dataclass, replace
from itertools import groupby

from sqlmodel import Session

from app.shop.cross_check import findings
from app.shop.cross_check.findings import CAUTIONS_MISSED, NewFindings, ShownAt
from app.shop.cross_check.weighing import CrossCheck, bank_of_each, cross_check
from app.shop.errors import RejectedError
from app.shop.reasons import because
from app.shop.record import loader
from app.shop.record.visit_record import VisitRecord
from app.shop.rejections import Rejection
from app.shop.store.database import Database
from app.shop.store.idempotency import part_key
from app.shop.store.tables import FindingRow
from app.shop.training.training import of_engine
from app.sync.diagnosis.causes import EngineFault
from app.sync.diagnosis.diagnose import diagnose
from app.sync.diagnosis.evidence import Finding
from app.sync.diagnosis.measurements import CATALOGUE, CHANGE_OF_STATE, Extent, FindingKind, minutes, runs
from app.sync.simulation.rough_engine import RoughEngine, grades
from app.sync.simulation.rough_stand import rough_engine as drawn

HANDS, MOST_TESTS = 5, 20
"""Careful hands whose median counts, and tests each makes at most (our judgement)."""
OTHER_READINGS = 100
"""From which making of a test on a careful hand reads: never those of the trainee."""


@dataclass(frozen=True, slots=True)
class HandWork:
    """What a hand needed: how many tests, how long [min], and whether the cause was found. ``steps`` are its tests in
    order, each with the bore of one that was made at one bore alone, counted from 0, None for the others."""

    tests: int
    minutes: float
    found: bool
    steps: tuple[tuple[FindingKind, int | None], ...] = ()


@dataclass(frozen=True, slots=True)
class RoughGrade:
    """The true cause and bore, the trainee's work, that of a careful hand, and how many sound things were repaired;
    ``bores`` are the numbers of the bores in the order in which a step counts them, ``unsafe`` the tests that were
    begun without their cautions, which fail the exercise whatever the rest."""

    cause: EngineFault
    bore: int
    mine: HandWork
    careful: HandWork
    needless: int
    bores: tuple[int, ...]
    unsafe: tuple[FindingKind, ...] = ()


def rough_engine(session: Session, record: VisitRecord) -> RoughEngine | None:
    """The rough engine that a visit trains on; None for any other engine."""
    practice = of_engine(session, record.engine.ident)
    if practice is None or practice.trouble not in grades():
        return None
    return drawn(record.layout, practice.seed, practice.trouble)


def read(shop: Database, visit_id: int, key: str, kind: str, by: str, at: str, *, safe: bool) -> None:
    """Make a test at the training engine and store what it shows, where the diagnosis asks for it, else everywhere;
    ``safe`` says that its cautions were taken.

    Raises RejectedError for a real engine or no test, NotFoundError.
    """
    with shop.reading() as session:
        record = loader.load(session, visit_id)
        engine = rough_engine(session, record)
        if engine is None:
            raise RejectedError({"": because(Rejection.REAL_ENGINE)})
        if kind not in set(FindingKind):
            raise RejectedError({"kind": because(Rejection.NOT_ONE_OF, choices=[*FindingKind])})
        told = cross_check(session, record)
    if any(row.key == key for row in told.stored):
        return  # sent again: made anew, the test would show something else
    measure, following = FindingKind(kind), told.diagnosis.next_test
    asked = following.bores if following and following.measure is measure and following.bores else None
    made = sum(row.kind == kind for row in told.made)
    shown = tuple(_shown(replace(engine, cured=_cured(told, engine)), told, measure, made, asked))
    unit = CATALOGUE[measure].unit if shown and not shown[0].word else ""
    if not safe:
        findings.cautions_missed(shop, visit_id, part_key(key, CAUTIONS_MISSED), kind, by, at)
    findings.add(shop, visit_id, key, NewFindings(kind, shown, unit, by), at)


def grade(session: Session, visit_id: int) -> RoughGrade | None:
    """How a trainee did at a rough engine; None for any other. Raises NotFoundError."""
    record = loader.load(session, visit_id)
    engine = rough_engine(session, record)
    if engine is None:
        return None
    told = cross_check(session, record)
    cause, bore, _ = engine.drawn
    true = (EngineFault(cause), told.bores[bore])
    repairs = [(row.word, row.bore) for row in told.repaired]
    tests = _tests(told.made)
    mine = HandWork(len(tests), _spent(tests), true in repairs)
    needless = sum(repair != true for repair in repairs)
    missed = [row.kind for row in told.stored if row.why == CAUTIONS_MISSED]
    unsafe = tuple(kind for kind in FindingKind if kind in missed)
    careful = careful_hand(bank_of_each(record.layout), engine)
    return RoughGrade(*true, mine, careful, needless, told.bores, unsafe)


def _cured(told: CrossCheck, engine: RoughEngine) -> bool:
    cause, bore, _ = engine.drawn
    return any((row.word, row.bore) == (cause, told.bores[bore]) for row in told.repaired)


def _shown(
    engine: RoughEngine, told: CrossCheck, measure: FindingKind, made: int, asked: Sequence[int] | None
) -> list[ShownAt]:
    scope = CATALOGUE[measure].scope
    if scope is Extent.ENGINE:
        return [_one(engine.shows(measure, 0, made), None, "")]
    if scope is Extent.BANK:
        banks = told.record.layout.banks
        return [_one(engine.shows(measure, at, made), None, bank.name) for at, bank in enumerate(banks)]
    places = range(len(told.bores)) if asked is None else asked
    return [_one(engine.shows(measure, place, made), told.bores[place], "") for place in places]


def _one(shown: float | str, bore: int | None, bank: str) -> ShownAt:
    return ShownAt(bore, bank, word=shown) if isinstance(shown, str) else ShownAt(bore, bank, shown)


def _tests(made: Sequence[FindingRow]) -> list[tuple[FindingKind, int]]:
    """Every test made, with at how many places, in order."""
    read = [row for row in made if row.kind in set(FindingKind) and row.why is None]
    return [(FindingKind(kind), len(list(rows))) for (kind, _), rows in groupby(read, lambda row: (row.kind, row.at))]


def _spent(tests: Sequence[tuple[FindingKind, int]]) -> float:
    spent, running = 0.0, True
    for measure, places in tests:
        spent += minutes(measure, places) + (0.0 if runs(measure) is running else CHANGE_OF_STATE)
        running = runs(measure)
    return spent


def careful_hand(banks: tuple[int, ...], engine: RoughEngine) -> HandWork:
    """What a careful hand needs at a rough engine, as the middle one of several by time, and whether most of them find
    the cause; ``banks`` gives each bore's bank."""
    hands = [_hand(banks, engine, OTHER_READINGS * (hand + 1)) for hand in range(HANDS)]
    found = 2 * sum(one.found for one in hands) > HANDS
    usual = sorted((one for one in hands if one.found is found), key=lambda one: one.minutes)
    return replace(usual[len(usual) // 2], found=found)


def _hand(banks: tuple[int, ...], engine: RoughEngine, first: int) -> HandWork:
    allowed = tuple(measure for measure in FindingKind if measure is not FindingKind.RECORD)
    found: list[Finding] = []
    tests: list[tuple[FindingKind, int]] = []
    steps: list[tuple[FindingKind, int | None]] = []
    while True:
        told = diagnose(banks, found, allowed, running=not tests or runs(tests[-1][0]))
        following = told.next_test
        if following is None or len(tests) == MOST_TESTS:
            likeliest, (cause, bore, _) = told.standing[0], engine.drawn
            named = (likeliest.cause, likeliest.bore) == (cause, bore)
            return HandWork(len(tests), _spent(tests), named, tuple(steps))
        made = first + sum(one is following.measure for one, _ in tests)
        tests.append((following.measure, len(following.bores)))
        steps.append((following.measure, following.bores[0] if len(following.bores) == 1 else None))
        found += _read_by_hand(engine, following.measure, following.bores, made, max(banks) + 1)


def _read_by_hand(
    engine: RoughEngine, measure: FindingKind, bores: Sequence[int], made: int, banks: int
) -> list[Finding]:
    scope = CATALOGUE[measure].scope
    places = bores or range(banks if scope is Extent.BANK else 1)
    found = []
    for place in places:
        shown = engine.shows(measure, place, made)
        word, value = (shown, None) if isinstance(shown, str) else ("", shown)
        bank, bore = (place, None) if scope is Extent.BANK else (None, place if bores else None)
        found.append(Finding(measure, bore, value, word, bank))
    return found
