"""What the banks do at part throttle, and what to turn, read or check next: the same for pages and programs."""

from collections.abc import Mapping
from enum import StrEnum
from typing import NamedTuple

from app.shop.assessment.codes import StepReason
from app.shop.procedure.read_order import NextReading
from app.shop.record.measures import Units
from app.shop.record.visit_record import VisitRecord
from app.sync.banks.bank_means import BankDifference
from app.sync.banks.banks import Z95, BankAssessment, Extra
from app.sync.banks.link_hypotheses import Cause
from app.sync.engine.units import DEGREE
from app.sync.planning.advice import Advice, AdviceKind
from app.wording.message import Message, say
from app.wording.quantities import Unit, feeler, flats, known, opening, signed
from app.wording.reasons import TABLES
from app.wording.work import adjusters

TITLE, REASON = 60, 110
"""Characters that a card has room for: its title, and what it says below."""


class Ask(NamedTuple):
    """What is asked for next, as a title and a reason."""

    title: Message
    reason: Message


CAUSES: Mapping[StrEnum, Message] = {
    Cause.SINGLE: Message("This engine has nothing to balance.", limit=REASON),
    Cause.NOTHING: Message("No sign of a link rod fault.", limit=REASON),
    Cause.LENGTH: Message("Same difference at each opening: wrong link rod length.", limit=REASON),
    Cause.RATIO: Message(
        "Difference grows with opening: unequal lever arms. Measure them, as flow readings cannot.", limit=REASON
    ),
    Cause.SLACK: Message(
        "Late when opening, not when closing: lost motion. Repair the joint. Do not turn the rod.", limit=REASON
    ),
    Cause.HELD: Message("A link rod holds its bank off the stop screw.", limit=REASON),
    Cause.UNKNOWN: Message("The readings fit more than one cause.", limit=REASON),
}
TABLES[Cause] = CAUSES

MOSTLY_LENGTH = Message(
    "Difference grows with opening: mostly wrong link rod length, perhaps unequal lever arms too.", limit=REASON
)
STILL_ON_STOP = Message(
    "Little at first, as bank {bank} was still on its stop screw: wrong link rod length.", limit=REASON
)

EXTRAS: Mapping[Extra, Ask] = {
    Extra.NONE: Ask(
        Message("Leave the link rods alone", limit=TITLE),
        Message("The remaining difference is too small to correct with the rods.", limit=REASON),
    ),
    Extra.FLOW_METER: Ask(
        Message("Read both banks with a flow meter", limit=TITLE),
        Message("The columns are too near zero to show the balance at part throttle.", limit=REASON),
    ),
    Extra.IDLE: Ask(
        Message("Read both banks at idle first", limit=TITLE),
        Message("Do it in the heat-soaked recheck: the openings are compared with idle.", limit=REASON),
    ),
    Extra.FREE_PLAY: Ask(
        Message("Check both link rods for free play", limit=TITLE),
        Message("Engine off, pedal released: both rods must have free play. Then record it.", limit=REASON),
    ),
    Extra.OPENING: Ask(
        Message("Read both banks at another opening", limit=TITLE),
        Message("One opening cannot tell a wrong rod length from unequal lever arms.", limit=REASON),
    ),
    Extra.WIDER_OPENING: Ask(
        Message("Read both banks at {opening}", limit=TITLE),
        Message(
            "One bank is still on its stop screw. Hold the central lever on a feeler or a drill shank of that size.",
            limit=REASON,
        ),
    ),
    Extra.SMALLER_OPENING: Ask(
        Message("Read both banks at {opening}", limit=TITLE),
        Message("At the wider opening the columns are too near zero to tell the banks apart.", limit=REASON),
    ),
    Extra.BOTH_WAYS: Ask(
        Message("Read {opening} again, approach from open", limit=TITLE),
        Message(
            "Open well past the feeler, then close onto it. Or check the joints for lost motion, engine off.",
            limit=REASON,
        ),
    ),
    Extra.ANGLE_GAUGE: Ask(
        Message("Put an angle gauge on both shafts", limit=TITLE),
        Message(
            "Engine off, rest to full pedal. Record both. Flow cannot show if the lever arms are equal.", limit=REASON
        ),
    ),
    Extra.AGAIN: Ask(Message("Read both openings again", limit=TITLE), CAUSES[Cause.UNKNOWN]),
}
"""What would tell most next."""

TABLES[Extra] = {extra: ask.title for extra, ask in EXTRAS.items()}

OTHER_OPENING = Message("Read both banks at a wider opening", limit=TITLE)
LESS_OPEN = Message("Read both banks at a smaller opening", limit=TITLE)
OTHER_WAY = Message("Read it again, approach from open", limit=TITLE)
"""The titles of those that name an opening, where it is not known."""

MENDS: Mapping[Cause, Message] = {
    Cause.SLACK: Message("Repair the joint, do not turn the rod", limit=TITLE),
    Cause.RATIO: Message("Make the lever arms equal", limit=TITLE),
    Cause.HELD: Message("Give the link rod free play", limit=TITLE),
}
"""What is repaired where flats are not the cure."""

READ = Message("Read bore {bore}", limit=TITLE)
READ_AGAIN = Message("Read bore {bore} again", limit=TITLE)
LEVER = Message("Put the {feeler} feeler under the central lever and hold it there.", limit=REASON)
LEVER_FROM_OPEN = Message(
    "Approach from open: open well past the {feeler} feeler, then close onto it. Hold it there.", limit=REASON
)
LEVER_SHUT = Message("The lever did not open: read again", limit=TITLE)
LEVER_SHUT_REASON = Message(
    "Both banks read as at idle. Put the {feeler} feeler under the central lever, check that it moves.", limit=REASON
)
IDLE_AGAIN = Message("Remove the feeler, release the pedal. Read idle again, as a link rod was turned.", limit=REASON)
EARLY = Message(
    "Bank {bank} opens {degrees}° early (±{flats}). Engine off. Turn and lock the rod, then read the openings again.",
    limit=REASON,
)
NO_BALANCE = Message("Nothing to do here", limit=TITLE)

TOGETHER = Message("Banks open together", limit=TITLE)
WITHIN = Message("Within {tolerance} at every opening read.", limit=REASON)
WITHIN_ERROR = Message("Over {tolerance} apart at an opening, but no more than the readings vary.", limit=REASON)
NOTHING_YET = Message("No result yet", limit=TITLE)
NOTHING_YET_REASON = Message("Read both banks at two openings of the lever, each as a complete round.", limit=REASON)
ONE_OPENING = Message("One opening read", limit=TITLE)
ONE_OPENING_REASON = Message("The next one shows whether the difference stays or grows.", limit=REASON)
NOT_NEEDED = Message("Not needed", limit=TITLE)
FOUND: Mapping[Cause, Message] = {
    Cause.LENGTH: Message("Bank {early} opens first", limit=TITLE),
    Cause.RATIO: Message("Bank {fast} opens faster", limit=TITLE),
    Cause.SLACK: Message("A joint has lost motion", limit=TITLE),
    Cause.HELD: Message("Bank {early} is off its stop screw", limit=TITLE),
}
NOT_SURE = Message("Cause undecided", limit=TITLE)
FURTHER_OPEN = Message("{bank} more open", note="one end of a line: the bank that is further open")
IDLE = Message("idle", note="the lever is released")
SPOKEN = Message("Bank {second} minus bank {first}, {unit} per bore. {openings}.", note="read aloud")
SPOKEN_OPENING = Message("{opening}: {change} ({percent})")


def extra_sentence(extra: Extra) -> str:
    """What would tell most next, in a sentence or two; empty for nothing."""
    if extra is Extra.NONE:
        return ""
    without = {
        Extra.WIDER_OPENING: OTHER_OPENING,
        Extra.SMALLER_OPENING: LESS_OPEN,
        Extra.BOTH_WAYS: OTHER_WAY,
    }
    title = without.get(extra, EXTRAS[extra].title)
    return f"{say(title)}. {say(EXTRAS[extra].reason)}"


def next_words(record: VisitRecord, advice: Advice, found: BankAssessment | None, due: NextReading) -> tuple[str, str]:
    """The next step at part throttle as a title and the reason for it."""
    match advice.kind:
        case AdviceKind.DONE if advice.why is StepReason.SINGLE:
            return say(NO_BALANCE), say(CAUSES[Cause.SINGLE])
        case AdviceKind.DONE:
            return say(EXTRAS[Extra.NONE].title), say(CAUSES[Cause.NOTHING])
        case AdviceKind.MEASURE if advice.why is StepReason.LEVER_SHUT:
            return say(LEVER_SHUT), say(LEVER_SHUT_REASON, feeler=feeler(due.opening, record.units))
        case AdviceKind.MEASURE if due.bore is not None:
            return say(READ_AGAIN if due.kind == "closing" else READ, bore=due.bore), _lever(record, due)
        case AdviceKind.LINK if found is not None:
            early = found.banks[1] if found.offset > 0 else found.banks[0]
            band = flats_band(found)
            degrees = known(found.offset / DEGREE, found.offset * found.flats_sd / found.flats / DEGREE, 1)
            title = adjusters.title(advice, record.layout, record.units)
            return title, say(EARLY, bank=early, degrees=degrees, flats=band)
    if found is not None and found.cause in MENDS and advice.why is Extra.NONE:
        return say(MENDS[found.cause]), say(CAUSES[found.cause])
    ask = EXTRAS[Extra(advice.why)]
    travel = feeler(found.extra_travel, record.units) if found is not None else ""
    return say(ask.title, opening=travel), say(ask.reason)


def flats_band(found: BankAssessment) -> str:
    """Give or take of the flats that are offered, at 95 %, in words; never less than a quarter of a flat."""
    return flats(max(0.25, Z95 * found.flats_sd))


def spoken(found: BankAssessment, unit: Unit, units: Units) -> str:
    """The differences in a sentence."""
    first, second = found.banks
    said = "; ".join(say(SPOKEN_OPENING, **_difference(one, unit, units)) for one in found.differences)
    return say(SPOKEN, first=first, second=second, unit=unit.name, openings=said)


def _difference(one: BankDifference, unit: Unit, units: Units) -> dict[str, str]:
    held = opening(one.lever_travel, one.from_above, units) if one.lever_travel else say(IDLE)
    return {"opening": held, "change": unit.change(one.difference), "percent": f"{percent(one)}\u00a0%"}


def percent(one: BankDifference) -> str:
    """A difference in per cent of the air with its sign, with a decimal where its error leaves one.

    Parameters: ``one`` difference.
    """
    return signed(one.percent, 1 if 100 * one.log_sd < 1.0 else 0)


def _lever(record: VisitRecord, due: NextReading) -> str:
    """What holds the lever for the reading that is due."""
    if not due.opening:
        return say(IDLE_AGAIN)
    return say(LEVER_FROM_OPEN if due.from_above else LEVER, feeler=feeler(due.opening, record.units))
