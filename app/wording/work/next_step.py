"""The next step of a phase in words, the same on pages, on the start page and for programs."""

from collections.abc import Mapping
from enum import StrEnum

from app.shop.assessment.assessment import PhaseAssessment
from app.shop.assessment.codes import StepReason
from app.shop.assessment.leaks import LeakSign, LeakTold
from app.sync.banks.banks import Extra
from app.sync.engine.adjusters.registry import own_screws
from app.sync.engine.layout import Layout
from app.sync.planning.advice import AdviceKind
from app.wording.message import Message, say
from app.wording.quantities import bore_list, turns, unit_of
from app.wording.reasons import TABLES, in_words
from app.wording.work import adjusters, advice, bank_balance

TITLE, REASON = advice.TITLE, advice.REASON

TITLES: Mapping[StrEnum, Message] = {
    StepReason.SIGNED_OFF: Message("Signed off", limit=TITLE),
    StepReason.STOPPED: Message("Stop the engine", limit=TITLE),
    StepReason.PRESET: Message("Turn every stop screw in {turns}", limit=TITLE),
    StepReason.NOTHING_READ: advice.DONE,
    StepReason.IN_QUESTION: Message("Bore {bores} has two values", many="Bores {bores} have two values", limit=TITLE),
    StepReason.TIGHTENING: Message("Tightening moved a plate", limit=TITLE),
    StepReason.AS_BEFORE: Message("Nothing moved in tightening", limit=TITLE),
    StepReason.UNEVEN: Message("Not even, and nothing is adjusted here", limit=TITLE),
    StepReason.WAIVED: Message("Waived with a reason", limit=TITLE),
    StepReason.LEAK: Message("Find the air leak at bore {bores}", limit=TITLE),
    StepReason.ELECTRONIC: Message("Not even, and motors hold the plates", limit=TITLE),
    StepReason.NOT_LINKED: bank_balance.NO_BALANCE,
    StepReason.SINGLE: bank_balance.NO_BALANCE,
    StepReason.BALANCED: bank_balance.EXTRAS[Extra.NONE].title,
    StepReason.LEVER_SHUT: bank_balance.LEVER_SHUT,
    StepReason.LINK: adjusters.ADJUSTERS[AdviceKind.LINK].name,
}
REASONS: Mapping[StrEnum, Message] = {
    StepReason.SIGNED_OFF: Message("By {name}. This visit takes no more entries.", limit=REASON),
    StepReason.PRESET: Message(
        "From base feeler contact, feeler out. It should idle a little fast once warm. "
        "No catch: 1/8\u00a0turn more on both.",
        limit=REASON,
    ),
    StepReason.NOTHING_READ: Message("This phase needs no meter readings.", limit=REASON),
    StepReason.IN_QUESTION: Message("Choose the value that counts. Then the next step is shown.", limit=REASON),
    StepReason.TIGHTENING: Message(
        "Bore {bores} changed. Go back to the heat-soaked recheck.",
        many="Bores {bores} changed. Go back to the heat-soaked recheck.",
        limit=REASON,
    ),
    StepReason.AS_BEFORE: Message("Every bore reads as before, within the meter's error.", limit=REASON),
    StepReason.NOT_LINKED: Message("Electronic throttles have no link rods.", limit=REASON),
    StepReason.WAIVED: Message(
        "What is not even was waived. The reason is printed on the handover sheet.", limit=REASON
    ),
    StepReason.LEAK: Message(
        "Meter and vacuum are low: air enters behind the plate, and the meter lies. Do not open it.", limit=REASON
    ),
    StepReason.UNEVEN: Message(
        "Bore {bores} needs an adjustment. Go back to the heat-soaked recheck.",
        many="Bores {bores} need an adjustment. Go back to the heat-soaked recheck.",
        limit=REASON,
    ),
}
"""What stands below a title; the steps of the bank balance have theirs with it, and a stop names the figure."""

LEAKS: Mapping[StrEnum, Message] = {
    LeakSign.LEAK: Message(
        "Bore {bore}: meter low and vacuum {percent}\u00a0% low. Air enters behind its plate, so the meter shows less "
        "than the bore breathes. Find the leak. Do not open the plate."
    ),
    LeakSign.CLOSED: Message(
        "Bore {bore}: meter low and vacuum {percent}\u00a0% high. No sign of a leak: its plate is too far closed."
    ),
    LeakSign.UNDECIDED: Message(
        "Bore {bore}: meter low and vacuum within {percent}\u00a0% of the others. It does not tell a leak here."
    ),
}
"""What the vacuum at a bore says."""
TABLES[LeakSign] = LEAKS


def leak_words(told: LeakTold) -> str:
    """What the vacuum at a bore says, in a sentence or two."""
    return say(LEAKS[told.sign], bore=told.bore, percent=max(1, round(abs(told.share) * 100)))


COUPLERS_BY_MAKER = Message(
    "Couplers could be set: power off, as the manufacturer says. Check for leaks and repeat adaptation first.",
    limit=REASON,
)
BYPASS_STOPPED = Message(
    "Bypass screws could be set, engine stopped. Check for leaks and repeat the throttle adaptation first.",
    limit=REASON,
)
BOTH_BY_HAND = Message(
    "Bypass screws (engine stopped) or couplers (power off, as the manufacturer says) could be set.", limit=REASON
)
NOTHING_BY_HAND = Message(
    "Nothing is set by hand here. Check for leaks and dirty plates, repeat the manufacturer's adaptation.",
    limit=REASON,
)
PRESET_ONE_BANK = Message("Turn the stop screw in {turns}", limit=TITLE)
PRESET_ONE_BANK_REASON = Message(
    "From base feeler contact, feeler out. It should idle a little fast once warm. No catch: 1/8\u00a0turn more.",
    limit=REASON,
)
TABLES[StepReason] = TITLES


def step_words(judged: PhaseAssessment) -> tuple[str, str]:
    """The next step of a phase as a title, and why or what to expect in a sentence or two."""
    record, step = judged.record, judged.step
    bores = {"bores": bore_list(step.about) if step.about else "", "count": len(step.about)}
    match step.why:
        case StepReason.SIGNED_OFF:
            name = record.sign_off.name if record.sign_off is not None else ""
            return say(TITLES[step.why]), say(REASONS[step.why], name=name)
        case StepReason.STOPPED:
            return say(TITLES[step.why]), " ".join(in_words(stop) for stop in judged.status.stops)
        case StepReason.ELECTRONIC:
            return say(TITLES[step.why]), say(_set_by_hand(record.layout))
        case StepReason.PRESET if len(record.layout.banks) == 1:
            return say(PRESET_ONE_BANK, turns=turns(step.turns)), say(PRESET_ONE_BANK_REASON)
        case StepReason.PRESET:
            return say(TITLES[step.why], turns=turns(step.turns)), say(REASONS[step.why])
    if step.why in REASONS:
        return say(TITLES[step.why], **bores), say(REASONS[step.why], **bores)
    if judged.phase.rounds == "openings":
        return bank_balance.next_words(record, step, judged.banks, judged.due)
    unit = unit_of(record.meter)
    return advice.title(step, record.layout, record.units), advice.reason(step, record.layout, unit)


def _set_by_hand(layout: Layout) -> Message:
    """What could be adjusted at an engine with electronic throttles."""
    couplers = bool(layout.couplers())
    if own_screws(layout):
        return BOTH_BY_HAND if couplers else BYPASS_STOPPED
    return COUPLERS_BY_MAKER if couplers else NOTHING_BY_HAND
