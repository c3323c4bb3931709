"""The training engine in words: what may be chosen, what its records say, its true state, and the work it took."""

from collections.abc import Mapping, Sequence

from app.shop.training.rough import HandWork, RoughGrade
from app.shop.training.training import Slack, Truth
from app.shop.training.training_start import Texts
from app.sync.simulation.reference_run import ReferenceRun
from app.wording.causes.causes import NAMES as CAUSES
from app.wording.causes.tests import test_name
from app.wording.message import Message, say
from app.wording.quantities import PERCENT, percent

SHAPES: Mapping[str, Message] = {
    "4": Message("4 in line"),
    "4-two": Message("4 in 2 banks"),
    "6": Message("6 in line"),
    "6-two": Message("6 in 2 banks"),
    "8": Message("8 in line"),
    "8-two": Message("8 in 2 banks"),
    "12-two": Message("12 in 2 banks"),
    "4-screws": Message("4 in line, with coupler screws"),
    "4-twins": Message("4 on 2 shafts, with bypass screws"),
}
TROUBLES: Mapping[str, Message] = {
    "sound": Message("No fault, but not even"),
    "slipped": Message("A coupler slipped after it was even"),
    "loose": Message("One coupler has lost motion"),
    "worn": Message("A link rod joint is worn (2 banks)"),
    "rough-easy": Message("Even, and it runs rough: easy"),
    "rough-fair": Message("Even, and it runs rough: harder"),
    "rough-hard": Message("Even, and it runs rough: hard"),
}
STARTS: Mapping[str, Message] = {
    "hot": Message("Readings: the engine is hot, all earlier steps are recorded"),
    "cold": Message("Cold preset: every step of a first visit"),
}

SERIAL = Message("Training {number}", note="the serial number of a training engine")
DESCRIPTION = Message("Training engine, simulated")
CUSTOMER = Message("Training")
VEHICLE = Message("No real data")
VISIT_WHY = Message("Training")
WAIVED_WHY = Message("Training: the engine was already warm. The first look is left to the readings.")

EVEN = Message("Even: every bore is within ±{tolerance} of the average.")
TOO_OPEN = Message("Not even: bore {bore} is open, {deviation} above the average.")
TOO_CLOSED = Message("Not even: bore {bore} is closed, {deviation} below the average.")
STATES: Mapping[str, Message] = {
    "even": Message("even", context="a bore"),
    "open": Message("open", context="a bore"),
    "closed": Message("closed", context="a bore"),
}

READS_HIGH = Message("The meter reads {error} high. That is the same at every bore, so it does not affect the result.")
READS_LOW = Message("The meter reads {error} low. That is the same at every bore, so it does not affect the result.")
SLIPPED = Message("Coupler {coupler} had slipped. The others were even before.")
LOOSE = Message(
    "Coupler {coupler} has lost motion, worth {swing} of the flow of the bores after it. "
    "It comes to rest elsewhere after every adjustment. No setting cures it."
)
WORN = Message(
    "A joint of link rod {bank} has lost motion: opened up to a feeler, the bank is {flats} flats late. "
    "Approached from open, it is not. Repair the joint. Turning the rod does not cure it."
)
LATE = Message("Link rod {bank} is {flats} flats late. Idle readings do not show it, part throttle does.")
TOGETHER = Message("Both banks open together, within ½\u00a0flat.")

COLD = Message("{minutes}\u00a0min on the cold engine")
AT_IDLE = Message("{minutes}\u00a0min at idle")
PART_THROTTLE = Message("{minutes}\u00a0min at part throttle")
READINGS = Message("{count} reading", many="{count} readings")
MOVES = Message("{count} adjustment", many="{count} adjustments")
TRULY_EVEN = Message("Truly even in {even} of {runs} runs.")
LESS = Message("That is {minutes}\u00a0min less than you needed.")
NO_LONGER = Message("You needed no longer.")
AS_LONG = Message("You needed about as long.")
NOT_EVEN_YET = Message("Your engine is not even yet. Compare the times when it is.")

CAUSE = Message("The cause: bore {bore}, {cause}.")
FOUND = Message("You repaired it.")
NOT_FOUND = Message("You have not repaired it.")
NEEDLESS = Message("{count} thing was repaired that was sound.", many="{count} things were repaired that were sound.")
UNSAFE = Message("Failed: begun without its cautions: {tests}.")
TESTS = Message("{count} test", many="{count} tests")
MINUTES = Message("{minutes}\u00a0min")
STEPS = Message("What it would have done: {steps}.")
STEP_AT = Message("{test} at bore {bore}", context="cross-check")
HAND_NOT = Message("A careful hand does not find it for sure either.")

LATE_FROM = 0.5
"""From how many flats on a bank counts as late."""


def record_texts() -> Texts:
    """What the records of a training engine say, in the language of the person who starts it."""
    return Texts(
        serial=lambda number: say(SERIAL, number=number),
        description=say(DESCRIPTION),
        customer=say(CUSTOMER),
        vehicle=say(VEHICLE),
        visit_why=say(VISIT_WHY),
        waived_why=say(WAIVED_WHY),
    )


def state(off: float, tolerance: float) -> str:
    """How a bore truly is: ``off`` and ``tolerance`` as fractions of the mean."""
    return say(STATES["even" if abs(off) <= tolerance else "open" if off > 0 else "closed"])


def headline(found: Truth, tolerance: float) -> str:
    """How even the engine truly is, with ``tolerance`` as a fraction of the mean."""
    if found.worst <= tolerance:
        return say(EVEN, tolerance=say(PERCENT, figure=f"{100 * tolerance:g}"))
    far = max(found.bores, key=lambda one: abs(one.off))
    return say(TOO_OPEN if far.off > 0 else TOO_CLOSED, bore=far.bore, deviation=percent(abs(far.off)))


def hidden(found: Truth) -> list[str]:
    """What the trainee could not see, a sentence or two each."""
    error = found.scale - 1
    said = [say(READS_HIGH if error > 0 else READS_LOW, error=percent(abs(error)))]
    if found.slipped is not None:
        said.append(say(SLIPPED, coupler=f"{found.slipped.near}–{found.slipped.far}"))
    if found.slack is not None:
        said.append(_loose(found.slack))
    if found.worn is not None:
        bank, flats = found.worn
        said.append(say(WORN, bank=bank, flats=f"{flats:.1f}"))
    if found.late is not None and (found.worn is None or found.late[1] >= LATE_FROM):
        bank, flats = found.late
        said.append(say(LATE, bank=bank, flats=f"{flats:.1f}") if flats >= LATE_FROM else say(TOGETHER))
    return said


def work_of(found: Truth) -> Sequence[str]:
    """What the trainee needed."""
    cold = [say(COLD, minutes=f"{found.cold_minutes:.0f}")] if found.cold_minutes else []
    part_throttle = [say(PART_THROTTLE, minutes=f"{found.bank_minutes:.0f}")] if found.bank_minutes else []
    return [
        *cold,
        say(AT_IDLE, minutes=f"{found.minutes:.0f}"),
        *part_throttle,
        say(READINGS, count=found.readings),
        say(MOVES, count=found.moves),
    ]


def work_of_expert(work: ReferenceRun) -> Sequence[str]:
    """What a careful expert would have needed at idle."""
    return [
        say(AT_IDLE, minutes=f"{work.minutes:.0f}"),
        say(READINGS, count=round(work.readings)),
        say(MOVES, count=round(work.moves)),
    ]


def compared(found: Truth, work: ReferenceRun, tolerance: float) -> Sequence[str]:
    """How the expert ended, and the trainee's minutes beside the expert's, a sentence each."""
    more = found.minutes - work.minutes
    if found.worst > tolerance:
        last = say(NOT_EVEN_YET)
    elif more > 1:
        last = say(LESS, minutes=f"{more:.0f}")
    else:
        last = say(NO_LONGER if more <= 0 else AS_LONG)
    return [say(TRULY_EVEN, even=work.even, runs=work.runs), last]


def cause_of(found: RoughGrade) -> Sequence[str]:
    """The true cause of a rough engine, and what the trainee made of it, a sentence each."""
    said = [say(CAUSE, bore=found.bore, cause=say(CAUSES[found.cause])), say(FOUND if found.mine.found else NOT_FOUND)]
    return [*said, *([say(NEEDLESS, count=found.needless)] if found.needless else [])]


def unsafe_words(found: RoughGrade) -> str:
    """That tests were begun without their cautions, which fails the exercise; empty where none was."""
    return say(UNSAFE, tests=", ".join(test_name(kind) for kind in found.unsafe)) if found.unsafe else ""


def hand_work(work: HandWork) -> Sequence[str]:
    """Tests and minutes that a hand needed at a rough engine."""
    return [say(TESTS, count=work.tests), say(MINUTES, minutes=f"{work.minutes:.0f}")]


def hand_steps(found: RoughGrade) -> str:
    """The tests that a careful hand would have made, in order."""
    steps = [
        test_name(kind) if bore is None else say(STEP_AT, test=test_name(kind), bore=found.bores[bore])
        for kind, bore in found.careful.steps
    ]
    return say(STEPS, steps=", ".join(steps)) if steps else ""


def hands_compared(found: RoughGrade) -> str:
    """The trainee's minutes beside the careful hand's."""
    if not found.careful.found:
        return say(HAND_NOT)
    more = found.mine.minutes - found.careful.minutes
    if not found.mine.found:
        return ""
    return say(LESS, minutes=f"{more:.0f}") if more > 1 else say(NO_LONGER if more <= 0 else AS_LONG)


def _loose(slack: Slack) -> str:
    return say(LOOSE, coupler=f"{slack.coupler.near}–{slack.coupler.far}", swing=percent(slack.swing))
