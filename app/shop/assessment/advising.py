"""The one next step in a phase, whichever phase it is: what to read, what to adjust, or why neither helps.

``assess`` asks here, with what it has worked out of the phase by then.
"""

from dataclasses import dataclass, replace
from typing import Literal

from app.shop.assessment.codes import StepReason
from app.shop.assessment.leaks import bore_that_resists, leak_to_find
from app.shop.assessment.progress import PhaseStatus
from app.shop.assessment.round_results import newest_evenness
from app.shop.assessment.tightening import moved_bores, to_reread
from app.shop.assessment.verdicts import balanced, needs_preset, next_of, unmoved_since_accepted
from app.shop.procedure.items import Phase
from app.shop.procedure.parts import needs_power_off
from app.shop.procedure.phases import BANK_BALANCE, COLD_PRESET
from app.shop.procedure.read_order import NextReading, to_open_again
from app.shop.procedure.running import round_ran_out
from app.shop.record.visit_record import VisitRecord
from app.sync.banks.banks import BankAssessment, Extra
from app.sync.engine.units import THOU
from app.sync.estimation.conformity import Conformity
from app.sync.planning.advice import Advice, AdviceKind, AdviceReason
from app.sync.planning.preset import Preset, turns_for_idle

MOST_LOOKS = 3
"""Readings a bore, on average, after which an undecided lock-down is left undecided, and rounds at each opening after
which banks that fit no cause are (our judgement)."""


AT_AN_OPENING = (Extra.BOTH_WAYS, Extra.WIDER_OPENING, Extra.SMALLER_OPENING)
"""What is read in a round that has to be begun at an opening of its own."""


@dataclass(frozen=True, slots=True)
class ToRead:
    """A reading that is asked for: which bore, as what, in the round of which number."""

    round_number: int
    bore: int
    kind: Literal["turn", "closing", "again"]


def next_step(record: VisitRecord, status: PhaseStatus, now: NextReading, banks: BankAssessment | None) -> Advice:
    """The next step of a phase, with an ``AdviceReason``, a ``StepReason`` or, at part throttle, an ``Extra``.

    No adjuster that holds a plate is advised where motors move the plates: it is said where one could be set by hand.
    ``status`` is how far the phase is, ``now`` the reading to take next in it, ``banks`` what the banks do off idle. A
    figure outside the shop's limits comes before whatever else there would be to do.
    """
    advice = _next_step(record, status, now, banks)
    if advice.adjuster is None or not needs_power_off(record.layout, advice.adjuster):
        return advice
    return Advice(AdviceKind.CANNOT, StepReason.ELECTRONIC, about=advice.bores)


def _next_step(record: VisitRecord, status: PhaseStatus, now: NextReading, banks: BankAssessment | None) -> Advice:
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
    void = now.current is None and any(round_ran_out(record, one) for one in record.rounds[-1:])
    if now.bore is not None and (reads_on or void):
        return _read_on(now, advice)
    if advice is None:
        return Advice(AdviceKind.DONE, AdviceReason.COARSE)
    contradicted = advice.why in (AdviceReason.MISREAD, AdviceReason.DISAGREE)
    if phase.rounds == "last" and status.done and advice.kind is not AdviceKind.DONE and not contradicted:
        return Advice(AdviceKind.DONE, StepReason.WAIVED) if status.override is not None else _left(record, phase)
    stuck = phase.rounds == "last" and advice.kind is AdviceKind.CANNOT
    if stuck or (advice.adjuster is not None and not phase.may_move(advice.adjuster)):
        return _after_tightening(record, status, advice)
    if told := leak_to_find(record):
        return Advice(AdviceKind.CANNOT, StepReason.LEAK, about=(told.bore,))
    return _leak_check(record, advice) or advice


def _leak_check(record: VisitRecord, advice: Advice) -> Advice | None:
    """A check for a leak before another adjustment where a bore resists."""
    if not (advice.adjuster is not None or advice.why is AdviceReason.NO_EFFECT):
        return None
    bore = bore_that_resists(record)
    return Advice(AdviceKind.CANNOT, AdviceReason.LEAK_CHECK, about=(bore,)) if bore is not None else None


def _after_tightening(record: VisitRecord, status: PhaseStatus, advice: Advice) -> Advice:
    """The step once the round of lock-down is complete: that it stands, what moved, or what the verdict asks for.

    What tightening moved without taking it out of the tolerance stays: the verdict is about the engine as left.
    """
    left, stands = _left(record, status.phase), newest_evenness(record, status.phase)
    if left.why is not StepReason.AS_BEFORE:
        return left
    if moved := moved_bores(record):
        return Advice(AdviceKind.CANNOT, StepReason.TIGHTENING, about=moved)
    if again := to_reread(record):
        return Advice(AdviceKind.MEASURE, AdviceReason.DOUBTFUL, bores=again)
    if unmoved_since_accepted(record):
        return left
    undecided = stands is not None and stands.verdict is Conformity.UNDECIDED
    if stands is not None and undecided and stands.counted < MOST_LOOKS * len(record.layout.bores):
        doubtful = stands.decision.read_next or (stands.least_likely,)
        return Advice(AdviceKind.MEASURE, AdviceReason.DOUBTFUL, bores=doubtful[:1])
    return Advice(AdviceKind.CANNOT, StepReason.UNEVEN, about=advice.bores or advice.about)


def _left(record: VisitRecord, phase: Phase) -> Advice:
    """That nothing is left to do in a phase: by its verdict, and where that passes nothing, as the engine stands as it
    did."""
    stands = newest_evenness(record, phase)
    by_verdict = {Conformity.EVEN: AdviceReason.EVEN, Conformity.LIMIT: AdviceReason.METER_LIMIT}
    why = by_verdict.get(stands.verdict) if stands is not None else None
    return Advice(AdviceKind.DONE, why or StepReason.AS_BEFORE)


def to_read(phase: Phase, now: NextReading, advice: Advice) -> tuple[ToRead, ...]:
    """The readings that a step asks for, in their order; none when a round has to be begun first."""
    if advice.kind is not AdviceKind.MEASURE or (now.bore is None and phase.rounds == "openings"):
        return ()
    if now.kind == "closing" and now.bore is not None:
        return (ToRead(now.round_number, now.bore, "closing"),)
    read = now.current.latest if now.current is not None else {}
    return tuple(ToRead(now.round_number, bore, "again" if bore in read else "turn") for bore in advice.bores)


def lever(record: VisitRecord, now: NextReading, banks: BankAssessment | None, advice: Advice) -> tuple[float, bool]:
    """What holds the central lever for a step [m], 0 at idle, and whether it is approached from open.

    A step whose ``why`` is one of ``AT_AN_OPENING`` asks for a round to be begun like that; of several openings that
    are read again, at the one that was read longest ago.
    """
    if banks is not None and now.bore is None and advice.why is Extra.AGAIN and banks.to_read:
        return min(banks.to_read, key=lambda travel: _rounds_at(record, travel)[-1:]), False
    if banks is not None and now.bore is None and advice.why in AT_AN_OPENING:
        return banks.extra_travel, advice.why is Extra.BOTH_WAYS
    return now.opening, now.from_above and now.bore is not None


def _rounds_at(record: VisitRecord, travel: float) -> tuple[int, ...]:
    """The numbers of the closed rounds that were read with the lever open so far [m], since the last move."""
    mine = (one for one in record.rounds if one.row.phase == BANK_BALANCE.slug and one.row.opening == travel)
    return tuple(one.row.number for one in mine if one.closed and not record.moved_since(one))


def in_vain(record: VisitRecord, now: NextReading, banks: BankAssessment | None, advice: Advice) -> bool:
    """Whether every opening that is to be read again was read ``MOST_LOOKS`` times."""
    if advice.why is not Extra.AGAIN or banks is None or now.bore is not None:
        return False
    return all(len(_rounds_at(record, travel)) >= MOST_LOOKS for travel in banks.to_read)


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
    if record.layout.electronic or not needs_preset(record) or (phase.slug, "preset-turns") in record.checks:
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
    if not record.layout.linked:
        why = StepReason.NOT_LINKED if record.layout.electronic else StepReason.SINGLE
        return Advice(AdviceKind.DONE, why)
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
    read = found.extra in (Extra.AGAIN, *AT_AN_OPENING)
    return Advice(AdviceKind.MEASURE if read else AdviceKind.CANNOT, found.extra)
