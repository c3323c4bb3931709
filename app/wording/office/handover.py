"""The handover sheet in words: its first page for the customer, who has cylinders, and its record for the workshop."""

from collections.abc import Mapping

from app.shop.procedure.phases import BANK_BALANCE, COLD_PRESET, FIRST_FIRE, HEAT_SOAKED, LOCK_DOWN
from app.sync.estimation.conformity import Conformity
from app.sync.estimation.evenness import BoreVerdict, RoundResult
from app.sync.planning.advice import AdviceKind
from app.wording.message import Message, say
from app.wording.office import paper
from app.wording.quantities import bore_list, percent
from app.wording.work.verdicts import probability

# The headline.

NOT_READ = Message("Not read as left")
NOT_READ_AFTER_TIGHTENING = Message("Not read after tightening")
NOT_ALL_READ = Message("Not every cylinder was read")
ALONE = Message("One cylinder: nothing to compare it with")
EVEN = Message("All {count} cylinders are even")
BY_THE_READINGS = Message("Even by the readings")
NOT_CERTAIN = Message("Reads even, but not certain")
NOT_SURE = Message("Not sure of cylinder {bores}", many="Not sure of cylinders {bores}")
MORE_AIR = Message("Cylinder {bores} is left with {gap} more air")
LESS_AIR = Message("Cylinder {bores} is left with {gap} less air")
UNEVEN = Message("Cylinder {bores} is left uneven", many="Cylinders {bores} are left uneven")

RULE_MET = Message("Every cylinder is within {tolerance} of the average: {sure} likely or more.")
RULE_NOT_MET = Message(
    "That every cylinder is within {tolerance} of the average is {probability} likely. Our rule asks for {sure}."
)
ALONE_BECAUSE = Message("One cylinder has no other to be even with. Its reading is on page 2.")
RULE = Message("Our rule: every cylinder within {tolerance} of the average, {sure} likely.")
BEFORE_TIGHTENING = Message("Before everything was tightened: largest difference {largest}, {tolerance} allowed.")
LARGEST = Message("Largest difference {largest}.")
CAME_IN = Message("It came in with {found}.")

# The first page.

PAGE = Message("Page {page} of {pages}")
HOURS = Message("{value:,.0f}\u00a0running hours")
SEE_RECORD = Message("See page 2:")
WAIVED = Message("{phases} waived.", note="phases: titles of one or more phases")
STOPPED_ONCE = Message(
    "the engine was stopped for a figure beyond a limit.",
    many="the engine was stopped {count} times for a figure beyond a limit.",
)
MISTYPED_ONCE = Message(
    "a figure was mistyped, and the engine was in order.",
    many="{count} figures were mistyped, and the engine was in order.",
)
REPLACES = Message("Issue {number} of {at} replaces issue {before} of {since}. Page 2 says what was corrected.")

MEASURED_ONLY = Message("Measured. Nothing was adjusted.")
SET_COLD = Message("Set every throttle on one feeler before the first start.")
DONE: Mapping[str, Message] = {
    AdviceKind.STOP: Message("Set the idle position of the throttles."),
    AdviceKind.BLADE: Message(
        "Reset the coupler between two throttles.",
        many="Reset the couplers between {count} pairs of throttles.",
    ),
    AdviceKind.SCREW: Message(
        "Turned the coupler screw between two throttles.",
        many="Turned the coupler screws between {count} pairs of throttles.",
    ),
    AdviceKind.LINK: Message("Set the link rods, so that both banks open together."),
    AdviceKind.BYPASS: Message(
        "Set the idle air of {count} cylinder by its bypass screw.",
        many="Set the idle air of {count} cylinders by their bypass screws.",
    ),
}
"""What was done, by the kind of adjuster and the number of them."""
DONE_OTHERWISE = Message("Adjusted: {what}.")
READ_AGAIN = Message(
    "Tightened everything, then read the cylinder again.", many="Tightened everything, then read all {count} again."
)

AFTER_READING = Message("At {reading} or {time}, whichever comes first, engine hot.")
AFTER_ANOTHER = Message("After another {distance} or {time}, whichever comes first, engine hot.")
EITHER = Message("{distance} or {hours}")
SOONER = (
    Message("the hot idle hunts"),
    Message("a cylinder goes quiet, or the engine pops at light throttle"),
    Message("anyone has worked on the throttles, their linkage, the throttle sensor or the exhaust"),
)

# The record.

MAY_MEAN: Mapping[str, Message] = {
    COLD_PRESET.slug: Message("Plates may not close fully, or not open by the same gap."),
    FIRST_FIRE.slug: Message("Not everything was checked before the engine was started."),
    HEAT_SOAKED.slug: Message("The readings may change when the engine is hotter."),
    BANK_BALANCE.slug: Message("The banks may not open together."),
    LOCK_DOWN.slug: Message("What was not tight or not read again may have moved."),
}
"""What it may mean that a phase was waived."""

AT = Message("{time} {made}", note="an adjustment with its time: 14:24 Coupler 2–3 reset on 0.003 in.")
ON_FEELER = Message("Coupler {places} reset on {feeler}.", many="Couplers {places} reset on {feeler}.")
NET = Message("{made} Everything else is as found.", note="made: adjustments added up")
ALL_AS_FOUND = Message("Everything is as found.")
MEANS = Message("Average as found {found}, as left {left}\u00a0{unit}.")
MEAN_LEFT = Message("Average {left}\u00a0{unit}.")
PER_CENT = Message(
    "Per cent: air against the average of all bores, by every reading in that state. ±: 90\u00a0% likely."
)
FIGURE_OF = Message("{what}: {figure}", note="an item of a checklist that has a figure")
METER = Message("{meter}, steps of {step:g}\u00a0{unit}. Repeatability ±{repeats}: {source}.")
STUDIED = Message(
    "study of {count} reading, {day}", many="study of {count} readings, {day}", note="where a figure of a meter is from"
)
BY_VISITS = Message("seen in visits before")
COMPARED = Message("Last compared with {other}, {day}.")
NOT_COMPARED = Message("Never compared with another meter.")
FOOT = Message("Engine {serial}, visit {number}, issue {issue}, printed {at}. Tag {tag}.")
FOOT_OF_DRAFT = Message("Engine {serial}, visit {number}, draft, printed {at}. Tag {tag}.")


def headline(left: RoundResult | None, tightened: bool) -> str:
    """The result in a few words, never better than what was read: one that was not read after tightening says so.

    Parameters: ``left`` how even the engine was left, None where that was not read; whether it was read ``tightened``.
    """
    if left is None:
        return say(NOT_READ)
    if not tightened:
        return say(NOT_READ_AFTER_TIGHTENING)
    if left.alone:
        return say(ALONE)
    match left.verdict:
        case Conformity.EVEN:
            return say(EVEN, count=len(left.standings))
        case Conformity.NOT_EVEN:
            return _not_even(left)
        case Conformity.INCOMPLETE:
            return say(NOT_ALL_READ)
    outside = [one.bore for one in left.standings if abs(one.share) > left.window]
    if outside:
        return say(NOT_SURE, bores=bore_list(outside), count=len(outside))
    return say(BY_THE_READINGS if left.verdict is Conformity.LIMIT else NOT_CERTAIN)


def _not_even(left: RoundResult) -> str:
    beyond = [one for one in left.standings if one.verdict in (BoreVerdict.OPEN, BoreVerdict.CLOSED)]
    if len(beyond) == 1:
        message = MORE_AIR if beyond[0].share > 0 else LESS_AIR
        return say(message, bores=beyond[0].bore, gap=percent(beyond[0].share))
    bores = [one.bore for one in beyond] or [left.least_likely]
    return say(UNEVEN, bores=bore_list(bores), count=len(bores))


def evidence(left: RoundResult | None, found: RoundResult | None, tightened: bool, sure: float) -> str:
    """The rule that the headline is said by, the largest difference, and the one it came in with.

    Parameters: ``left`` and ``found`` how even the engine was, None where that was not read; ``tightened`` as for
    ``headline``; ``sure`` the probability from which it is called even.
    """
    if left is None:
        return say(paper.NO_ROUND)
    values = {"tolerance": percent(left.window), "sure": percent(sure), "largest": largest(left)}
    if left.alone:
        return say(ALONE_BECAUSE)
    if not tightened:
        said = [say(BEFORE_TIGHTENING, **values)]
    elif left.verdict is Conformity.EVEN:
        said = [say(RULE_MET, **values), say(LARGEST, **values)]
    elif left.decision.all_inside is None:
        said = [say(RULE, **values), say(LARGEST, **values)]
    else:
        said = [say(RULE_NOT_MET, probability=probability(left), **values), say(LARGEST, **values)]
    return " ".join([*said, say(CAME_IN, found=largest(found))] if found is not None else said)


def largest(found: RoundResult) -> str:
    """The largest difference of a bore from the mean, in per cent of it."""
    return percent(max(abs(one.share) for one in found.standings))
