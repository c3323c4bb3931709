"""The verdict and the card of the part-throttle page."""

from dataclasses import replace
from typing import Literal

from app.shop.assessment.assessment import Assessment, PhaseAssessment
from app.shop.assessment.codes import StepReason
from app.shop.procedure.items import Phase
from app.shop.procedure.opening_speed import SpeedDue
from app.shop.record.visit_record import VisitRecord
from app.sync.banks.banks import BankAssessment, Extra
from app.sync.banks.link_hypotheses import Cause
from app.sync.engine.units import THOU
from app.sync.planning.advice import AdviceKind
from app.web.presenters.reading.card_actions import begins_round, go_on, here_of, leave, move_card, one_more
from app.web.presenters.reading.keypad import to_opening_speed
from app.web.presenters.reading.linkage import openings
from app.web.presenters.views import Action, Card, VerdictView
from app.wording.message import say
from app.wording.quantities import feeler, unit_of
from app.wording.work import bank_balance
from app.wording.work import reading_page as words

RECORDED = (Extra.FREE_PLAY, Extra.BOTH_WAYS, Extra.ANGLE_GAUGE)
"""What would tell most next and is checked or measured by hand: recorded as an item of the phase."""

LATE = 0.6
"""Part of the widest difference that the first one stays below where it grew, and part of the other bank's rise that a
bank still on its stop stays below (judgement)."""


def verdict(judged: PhaseAssessment) -> VerdictView:
    """How far the banks are apart, at each opening that was read."""
    record, found = judged.record, judged.banks
    if len(record.layout.banks) < 2:
        return VerdictView("none", say(bank_balance.NOT_NEEDED), say(bank_balance.CAUSES[Cause.SINGLE]))
    marks = openings(judged)
    first, second = (say(bank_balance.FURTHER_OPEN, bank=bank.name) for bank in record.layout.banks)
    if found is None or not found.differences:
        title, sentence = say(bank_balance.NOTHING_YET), say(bank_balance.NOTHING_YET_REASON)
        return VerdictView("none", title, sentence, openings=marks, ends=(first, second))
    title, sentence = _told(judged, found)
    spoken = bank_balance.spoken(found, unit_of(record.meter), record.units)
    return VerdictView("none", title, sentence, openings=marks, ends=(first, second), spoken=spoken)


def _told(judged: PhaseAssessment, found: BankAssessment) -> tuple[str, str]:
    """What the banks do at part throttle, as a title and a sentence."""
    if judged.together:
        return say(bank_balance.TOGETHER), _together(judged.record, found)
    first, second = found.banks
    early, fast = (second if found.offset > 0 else first), (second if found.ratio > 0 else first)
    off_idle = [abs(d.apart) for d in found.differences if d.lever_travel > 0 and not d.from_above]
    if judged.due.bore is not None and len(off_idle) < 2:
        return say(bank_balance.ONE_OPENING), say(bank_balance.ONE_OPENING_REASON)
    title = say(bank_balance.FOUND.get(found.cause, bank_balance.NOT_SURE), early=early, fast=fast)
    if found.cause is Cause.LENGTH and off_idle and off_idle[0] < LATE * off_idle[-1]:
        late = first if early == second else second
        on_stop = _on_its_stop(found, late)
        return title, say(bank_balance.STILL_ON_STOP if on_stop else bank_balance.MOSTLY_LENGTH, bank=late)
    return title, say(bank_balance.CAUSES[found.cause])


def _together(record: VisitRecord, found: BankAssessment) -> str:
    """Why the banks count as opening together: within the tolerance, or no further apart than readings vary."""
    window = record.settings.bank_window
    within = all(abs(d.percent) <= 100 * window for d in found.differences if d.lever_travel > 0)
    message = bank_balance.WITHIN if within else bank_balance.WITHIN_ERROR
    return say(message, tolerance=f"{100 * window:g}\u00a0%")


def _on_its_stop(found: BankAssessment, late: str) -> bool:
    """Whether a bank hardly rose from idle at the first opening, against the other one."""
    idle, opened = [d for d in found.differences if not d.from_above][:2]
    rises = (opened.air[0] - idle.air[0], opened.air[1] - idle.air[1])
    own, other = rises if late == found.banks[0] else rises[::-1]
    return own < LATE * other


def card(
    assessment: Assessment,
    judged: PhaseAssessment,
    told: tuple[str, str],
    above: bool = False,
    speed: SpeedDue | None = None,
) -> Card:
    """The next thing to read or turn. ``told`` says it; ``above``: a round that is begun is approached from open;
    ``speed``: the engine speed is entered now."""
    record, phase, advice = judged.record, judged.phase, judged.step
    found, due = judged.banks, judged.due
    title, reason = told
    if speed is not None and not speed.first:
        lever = bank_balance.LEVER_FROM_OPEN if speed.from_above else bank_balance.LEVER
        held = say(lever, feeler=feeler(speed.opening, record.units))
        return Card("lever", say(words.ENTER_OPENING_SPEED), held)
    match advice.kind:
        case AdviceKind.DONE if advice.why in (StepReason.SINGLE, StepReason.NOT_LINKED):
            return Card("none", title, reason, (go_on(assessment, phase),))
        case AdviceKind.DONE:
            other = to_opening_speed(judged) or (one_more(),)
            return begins_round(record, phase, title, reason, go_on(assessment, phase), *other)
        case AdviceKind.LINK:
            turn = move_card(record, phase, advice, title, reason)
            return replace(turn, answers=(*turn.answers, *_sharper(record, phase, found)))
        case AdviceKind.MEASURE if due.bore is not None:
            asks = due.opening and due.current is None
            ways: Literal["", "up", "above"] = ("above" if above else "up") if asks else ""
            title = say(words.ENTER_OPENING_SPEED) if speed is not None else title
            return Card("lever" if due.opening else "none", title, reason, leave(assessment, judged), ways=ways)
        case AdviceKind.MEASURE if found is not None and advice.why is Extra.BOTH_WAYS:
            begin = Action(say(words.START_FROM_OPEN), True, name="above", value=_thou(found.extra_travel))
            felt = Action(say(words.RECORD_JOINTS), href=here_of(record, phase))
            return replace(begins_round(record, phase, title, reason, begin, felt), mark="lever")
        case AdviceKind.MEASURE if found is not None and advice.why in (Extra.WIDER_OPENING, Extra.SMALLER_OPENING):
            begin = Action(say(words.START_ROUND), True, name="opening", value=_thou(found.extra_travel))
            return replace(begins_round(record, phase, title, reason, begin, one_more()), mark="lever")
        case AdviceKind.MEASURE if found is not None and advice.why is Extra.AGAIN:
            return begins_round(record, phase, title, reason, *_each_again(record, found))
    record_it = (Action(say(words.RECORD), True, href=here_of(record, phase)),) if advice.why in RECORDED else ()
    return begins_round(record, phase, title, reason, *record_it, one_more())


def _each_again(record: VisitRecord, found: BankAssessment) -> tuple[Action, ...]:
    """Each opening that was read, to be read once more: one button each, as they are read one after the other."""
    read = found.to_read
    labels = [say(words.READ_OPENING_AGAIN, opening=feeler(one, record.units)) for one in read]
    return tuple(Action(label, at == 0, name="opening", value=_thou(read[at])) for at, label in enumerate(labels))


def _sharper(record: VisitRecord, phase: Phase, found: BankAssessment | None) -> tuple[Action, ...]:
    """One more opening before the link rod is turned, where it would narrow the flats down."""
    if found is None or not found.sharper_travel:
        return ()
    label = say(words.READ_FIRST, opening=feeler(found.sharper_travel, record.units))
    begins = f"{here_of(record, phase)}/rounds"
    return (Action(label, name="opening", value=_thou(found.sharper_travel), action=begins),)


def _thou(travel: float) -> str:
    """An opening as the form that begins a round at it carries it."""
    return f"{travel / THOU:.9g}"
