"""The verdict and the card of the part-throttle page."""

from dataclasses import replace
from typing import Literal

from app.shop.assessment.verdicts import balanced
from app.shop.procedure.items import Phase
from app.shop.procedure.read_order import NextReading
from app.shop.record.visit_record import VisitRecord
from app.sync.banks.banks import BankAssessment
from app.sync.engine.units import THOU
from app.sync.planning.advice import Advice
from app.web.presenters.drawing import unit_of
from app.web.presenters.reading.card_actions import ONE_MORE, begins_round, go_on, here_of, leave, move_card
from app.web.presenters.reading.linkage import openings
from app.web.presenters.views import Action, Card, VerdictView
from app.wording import bank_words, words

RECORDED = ("free_play", "both_ways", "angle_gauge")
"""What would tell most next and is felt or measured by hand: recorded as a step of the phase."""

LATE = 0.6
"""Part of the widest difference that the first one stays below where it grew, and part of the other bank's rise that a
bank still on its stop stays below (judgement)."""


def verdict(record: VisitRecord, found: BankAssessment | None, due: NextReading) -> VerdictView:
    """How far the banks stand apart, at each opening that was read."""
    if len(record.layout.banks) < 2:
        return VerdictView("none", "One bank", "There is nothing to balance.")
    marks = openings(record, found, due)
    first, second = (bank.name for bank in record.layout.banks)
    ends = (f"{first} wider", f"{second} wider")
    if found is None or not found.differences:
        title, sentence = "Nothing to say yet", "Both banks, at two openings of the lever, each round closed."
        return VerdictView("none", title, sentence, openings=marks, ends=ends)
    title, sentence = _told(record, found, due)
    return VerdictView("none", title, sentence, openings=marks, ends=ends, spoken=_spoken(record, found))


def _told(record: VisitRecord, found: BankAssessment, due: NextReading) -> tuple[str, str]:
    """What the banks do off idle, as a title and a sentence."""
    if balanced(record, found):
        window = 100 * record.settings.bank_window
        if all(abs(d.percent) <= window for d in found.differences if d.lever_travel > 0):
            return "Banks open together", f"Within {window:g} % at every opening read."
        return "Banks open together", f"Over {window:g} % apart at an opening, no more than the readings scatter."
    first, second = found.banks
    early, fast = (second if found.offset > 0 else first), (second if found.ratio > 0 else first)
    off_idle = [abs(d.difference) for d in found.differences if d.lever_travel > 0 and not d.from_above]
    if due.bore is not None and len(off_idle) < 2:
        return "One opening is read", "The next one tells whether the difference stays or grows."
    titles = {
        "length": f"Bank {early} opens first",
        "ratio": f"Bank {fast} opens faster",
        "slack": "A joint has lost motion",
        "held": f"Bank {early} is off its stop",
    }
    said = bank_words.CAUSES[found.cause]
    if found.cause == "length" and off_idle and off_idle[0] < LATE * off_idle[-1]:
        late = first if early == second else second
        said = "It grows as the lever opens: a link's length for the most part, perhaps the levers too."
        if _on_its_stop(found, late):
            said = f"Little at first: bank {late} was on its stop still. A link's length does that."
    return titles.get(found.cause, "The cause is not sure"), said


def _on_its_stop(found: BankAssessment, late: str) -> bool:
    """Whether a bank hardly rose from idle at the first opening, against the other one."""
    idle, opened = [d for d in found.differences if not d.from_above][:2]
    rises = (opened.first - idle.first, opened.second - idle.second)
    own, other = rises if late == found.banks[0] else rises[::-1]
    return own < LATE * other


def _spoken(record: VisitRecord, found: BankAssessment) -> str:
    """The differences in a sentence."""
    unit = unit_of(record.meter)
    first, second = found.banks
    said = [
        f"{words.opening(d.lever_travel, d.from_above, record.units.metric) if d.lever_travel else 'idle'}: "
        f"{unit.change(d.difference)} ({words.signed(d.percent, 1)} %)"
        for d in found.differences
    ]
    return f"Bank {second} less bank {first}, {unit.name} a bore. {'; '.join(said)}."


def card(
    record: VisitRecord,
    phase: Phase,
    advice: Advice,
    told: tuple[str, str],
    found: BankAssessment | None,
    due: NextReading,
    above: bool = False,
) -> Card:
    """The next thing to read or turn. ``told`` says it; ``above``: a round that is begun is to be reached that way."""
    title, reason = told
    match advice.kind:
        case "done" if advice.why == "single":
            return Card("none", title, reason, (go_on(record, phase),))
        case "done":
            return begins_round(record, phase, title, reason, go_on(record, phase), ONE_MORE)
        case "link":
            turn = move_card(record, phase, advice, title, reason)
            return replace(turn, answers=(*turn.answers, *_sharper(record, phase, found)))
        case "measure" if due.bore is not None:
            asks = due.opening and due.current is None
            ways: Literal["", "up", "above"] = ("above" if above else "up") if asks else ""
            return Card("lever" if due.opening else "none", title, reason, leave(record, phase, due), ways=ways)
        case "measure" if found is not None and advice.why == "both_ways":
            begin = Action("Begin it from above", True, name="above", value=_thou(found.extra_travel))
            felt = Action("Joints felt: record it", href=here_of(record, phase))
            return replace(begins_round(record, phase, title, reason, begin, felt), mark="lever")
        case "measure" if found is not None and advice.why == "wider_opening":
            begin = Action("Begin it", True, name="opening", value=_thou(found.extra_travel))
            return replace(begins_round(record, phase, title, reason, begin, ONE_MORE), mark="lever")
    record_it = (Action("Record it", True, href=here_of(record, phase)),) if advice.why in RECORDED else ()
    return begins_round(record, phase, title, reason, *record_it, ONE_MORE)


def _sharper(record: VisitRecord, phase: Phase, found: BankAssessment | None) -> tuple[Action, ...]:
    """One more opening before the link is turned, where it would tell the flats closer."""
    if found is None or not found.sharper_travel:
        return ()
    laid = words.blade(found.sharper_travel, record.units.metric)
    begins = f"{here_of(record, phase)}/rounds"
    return (Action(f"First read {laid}", name="opening", value=_thou(found.sharper_travel), action=begins),)


def _thou(travel: float) -> str:
    """An opening as the form that begins a round at it carries it."""
    return f"{travel / THOU:.9g}"
