"""The one next step in a phase, whichever phase it is: what to read, what to adjust, or why neither helps.

``assess`` asks here, with what it has worked out of the phase by then.
"""

from dataclasses import dataclass, replace
from statistics import fmean
from typing import Literal

from app.shop.assessment.codes import StepReason
from app.shop.assessment.progress import PhaseStatus
from app.shop.assessment.tightening import moved_bores, to_reread
from app.shop.assessment.verdicts import balanced, needs_preset, newest_evenness, next_of, unmoved_since_accepted
from app.shop.procedure.items import Phase
from app.shop.procedure.phases import COLD_PRESET, HEAT_SOAKED
from app.shop.procedure.read_order import NextReading, to_open_again
from app.shop.record.visit_record import VisitRecord, move_of
from app.sync.banks.banks import BankAssessment, Extra
from app.sync.engine.adjusters.registry import kind_of
from app.sync.engine.units import THOU
from app.sync.estimation.conformity import Conformity
from app.sync.planning.advice import Advice, AdviceKind, AdviceReason
from app.sync.planning.planner import good_word
from app.sync.planning.preset import Preset, turns_for_idle

MOVES_WITHOUT_LEAK_CHECK = 2
"""Moves made for a bore that still reads low, after which a leak is looked for (our judgement)."""

MOST_LOOKS = 3
"""Readings a bore, on average, after which an undecided lock-down is left undecided (our judgement)."""


@dataclass(frozen=True, slots=True)
class ToRead:
    """A reading that is asked for: which bore, as what, in the round of which number."""

    round_number: int
    bore: int
    kind: Literal["turn", "closing", "again"]


def next_step(record: VisitRecord, status: PhaseStatus, now: NextReading, banks: BankAssessment | None) -> Advice:
    """The next step of a phase, with an ``AdviceReason``, a ``StepReason`` or, at part throttle, an ``Extra``.

    ``status`` is how far the phase is, ``now`` the reading to take next in it, ``banks`` what the banks do off idle. A
    figure outside the shop's limits comes before whatever else there would be to do.
    """
    phase = status.phase
    if record.sign_off is not None:
        return Advice(AdviceKind.DONE, StepReason.SIGNED_OFF)
    if status.stops:
        return Advice(AdviceKind.CANNOT, StepReason.STOPPED)
    if phase.rounds == "none":
        return _preset(record, phase)
    if now.current is not None and now.current.in_question:
        bores = tuple(older.bore for older, _ in now.current.in_question)
        return Advice(AdviceKind.CANNOT, StepReason.IN_QUESTION, about=bores)
    if phase.rounds == "openings":
        return _off_idle(record, phase, now, banks)
    advice = next_of(record, phase)
    reads_on = advice is None or advice.kind in (AdviceKind.MEASURE, AdviceKind.DONE) or phase.rounds == "last"
    if now.bore is not None and reads_on:
        return _read_on(now, advice)
    if advice is None:
        return Advice(AdviceKind.DONE, AdviceReason.COARSE)
    contradicted = advice.why in (AdviceReason.MISREAD, AdviceReason.DISAGREE)
    if phase.rounds == "last" and status.done and advice.kind is not AdviceKind.DONE and not contradicted:
        if status.override is not None:
            return Advice(AdviceKind.DONE, StepReason.WAIVED)
        return _good_word(record, phase) or Advice(AdviceKind.DONE, StepReason.AS_BEFORE)
    stuck = phase.rounds == "last" and advice.kind is AdviceKind.CANNOT
    if stuck or (advice.adjuster is not None and not phase.may_move(advice.adjuster)):
        return _after_tightening(record, status, advice)
    return _leak_check(record, advice) or advice


def _leak_check(record: VisitRecord, advice: Advice) -> Advice | None:
    """A check for a leak where a bore still reads low after two moves made for it, until one was recorded since.

    Air that comes in behind a plate makes a flow meter at the intake read low: opening that plate makes it worse.
    """
    if record.meter.quantity != "flow" or not (advice.adjuster is not None or advice.why is AdviceReason.NO_EFFECT):
        return None
    checked = record.checks.get((HEAT_SOAKED.slug, "leak-checked"))
    for bore in _read_low(record):
        made = [m for m in record.moves if kind_of(m.kind).at_idle and move_of(m).place.sets == bore]
        known = checked is not None and len(made) > 1 and checked.after_move >= made[1].ident
        if len(made) >= MOVES_WITHOUT_LEAK_CHECK and not known:
            return Advice(AdviceKind.CANNOT, AdviceReason.LEAK_CHECK, about=(bore,))
    return None


def _read_low(record: VisitRecord) -> tuple[int, ...]:
    """The bores read since the last move that stand below the fine tolerance, by what each bore read last."""
    hot = [r for r in record.rounds if r.row.phase == HEAT_SOAKED.slug]
    latest = {bore: r.value for one in hot for bore, r in one.latest.items() if r.value is not None}
    if not hot or record.moved_since(hot[-1]):
        return ()
    limit = (1 - record.settings.fine_window) * fmean(latest.values()) if latest else 0.0
    return tuple(bore for bore in record.layout.bores if bore in hot[-1].latest and latest.get(bore, limit) < limit)


def _after_tightening(record: VisitRecord, status: PhaseStatus, advice: Advice) -> Advice:
    """The step once the round of lock-down is complete: what tightening moved, or what the verdict asks for."""
    if moved := moved_bores(record):
        return Advice(AdviceKind.CANNOT, StepReason.TIGHTENING, about=moved)
    if good := _good_word(record, status.phase):
        return good
    stands = newest_evenness(record, status.phase)
    if again := to_reread(record):
        return Advice(AdviceKind.MEASURE, AdviceReason.DOUBTFUL, bores=again)
    if unmoved_since_accepted(record):
        return Advice(AdviceKind.DONE, StepReason.AS_BEFORE)
    undecided = stands is not None and stands.verdict is Conformity.UNDECIDED
    if stands is not None and undecided and stands.counted < MOST_LOOKS * len(record.layout.bores):
        doubtful = stands.decision.read_next or (stands.least_likely,)
        return Advice(AdviceKind.MEASURE, AdviceReason.DOUBTFUL, bores=doubtful[:1])
    return Advice(AdviceKind.CANNOT, StepReason.UNEVEN, about=advice.bores or advice.about)


def _good_word(record: VisitRecord, phase: Phase) -> Advice | None:
    """That a phase is done, where its verdict is good."""
    stands = newest_evenness(record, phase)
    return good_word(stands.decision) if stands is not None else None


def to_read(phase: Phase, now: NextReading, advice: Advice) -> tuple[ToRead, ...]:
    """The readings that a step asks for, in their order; none when a round has to be begun first."""
    if advice.kind is not AdviceKind.MEASURE or (now.bore is None and phase.rounds == "openings"):
        return ()
    if now.kind == "closing" and now.bore is not None:
        return (ToRead(now.round_number, now.bore, "closing"),)
    read = now.current.latest if now.current is not None else {}
    once_more = now.bore is None
    return tuple(
        ToRead(now.round_number, bore, "again" if once_more or bore in read else "turn") for bore in advice.bores
    )


def lever(now: NextReading, banks: BankAssessment | None, advice: Advice) -> tuple[float, bool]:
    """What holds the central lever for a step [m], 0 at idle, and whether it is approached from open.

    A step whose ``why`` is ``both_ways`` or ``wider_opening`` asks for a round to be begun like that.
    """
    if banks is not None and now.bore is None and advice.why in (Extra.BOTH_WAYS, Extra.WIDER_OPENING):
        return banks.extra_travel, advice.why is Extra.BOTH_WAYS
    return now.opening, now.from_above and now.bore is not None


def _read_on(now: NextReading, advice: Advice | None) -> Advice:
    """What the round asks for: the bores that the planner is unsure of ahead of their turn, the rest in theirs."""
    assert now.bore is not None
    if now.kind == "closing":
        return Advice(AdviceKind.MEASURE, AdviceReason.CLOSE_ROUND, bores=(now.bore,))
    read = now.current.latest if now.current is not None else {}
    asked = tuple(bore for bore in advice.bores if bore not in read) if advice is not None else ()
    if advice is not None and advice.kind is AdviceKind.MEASURE and asked:
        return Advice(AdviceKind.MEASURE, advice.why, bores=asked, about=advice.about)
    why = AdviceReason.UNREAD if now.current is not None else AdviceReason.FIRST_ROUND
    return Advice(AdviceKind.MEASURE, why, bores=(now.bore, *now.follow))


def _preset(record: VisitRecord, phase: Phase) -> Advice:
    if not needs_preset(record) or (phase.slug, "preset-turns") in record.checks:
        return Advice(AdviceKind.DONE, StepReason.NOTHING_READ)
    return Advice(AdviceKind.STOP, StepReason.PRESET, turns=starting(record).turns, bores=record.layout.bores)


def starting(record: VisitRecord) -> Preset:
    """The turns to start a cold engine from, counted from the base feeler recorded, else the shop's."""
    engine, layout = record.engine, record.layout
    laid = record.checks.get((COLD_PRESET.slug, "base-blade"))
    return turns_for_idle(
        engine.displacement,
        len(layout.bores),
        engine.idle_speed,
        record.hardware,
        record.ambient,
        laid.number * THOU if laid is not None and laid.number else record.settings.base_blade,
        len(layout.bypass),
    )


def _off_idle(record: VisitRecord, phase: Phase, now: NextReading, found: BankAssessment | None) -> Advice:
    if len(record.layout.banks) < 2:
        return Advice(AdviceKind.DONE, StepReason.SINGLE)
    if to_open_again(record, phase, now):
        return replace(_read_on(now, None), why=StepReason.LEVER_SHUT)
    if now.bore is not None and (found is None or now.current is not None or not found.flats):
        return _read_on(now, None)
    if found is None:
        return Advice(AdviceKind.CANNOT, Extra.IDLE)
    if balanced(record, found):
        return Advice(AdviceKind.DONE, StepReason.BALANCED)
    if found.flats and found.bank is not None:
        bores = record.layout.bank(found.bank).bores
        return Advice(AdviceKind.LINK, StepReason.LINK, bank=found.bank, flats=found.flats, bores=bores)
    read = found.extra in (Extra.AGAIN, Extra.BOTH_WAYS, Extra.WIDER_OPENING)
    return Advice(AdviceKind.MEASURE if read else AdviceKind.CANNOT, found.extra)
