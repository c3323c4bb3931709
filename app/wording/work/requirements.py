"""What is missing in a phase, why it waits or is not needed, what stops the engine, and why it is read hot again."""

from collections.abc import Callable, Mapping
from enum import StrEnum

from app.shop.procedure.limits import StopCause
from app.shop.procedure.requirements import Changed, ChangedPart, NotNeeded, RanOut, Requirement, Runs, Waiting
from app.shop.reasons import Reason
from app.wording.message import Message, say
from app.wording.reasons import TABLES, Worded, in_words
from app.wording.work.phases import item_label, phase_name, phase_title


def item_words(reason: Reason) -> str:
    """The label of the checklist item that a reason names, in the form that is true of one bank and of two."""
    return item_label(str(reason.values["item"]), ())


def _phase(reason: Reason) -> str:
    return phase_title(reason.values["phase"])


def _heat(message: Message) -> Callable[[Reason], str]:
    """The words of a temperature that is missing, of coolant or oil."""

    def words(reason: Reason) -> str:
        return say(message, **{**reason.values, "what": say(HEAT_PARTS[reason.values["what"]])})

    return words


def _earlier_phase(reason: Reason) -> str:
    phase = phase_name(reason.values["phase"])
    missing = in_words(reason.values["missing"]).rstrip(".")
    return say(EARLIER_PHASE, phase=phase, missing=missing)


HEAT_PARTS: Mapping[str, Message] = {
    "coolant": Message("coolant"),
    "head": Message("cylinder head"),
    "oil": Message("oil"),
}
EARLIER_PHASE = Message("First finish {phase}: {missing}.")

REQUIREMENTS: Mapping[Requirement, Worded] = {
    Requirement.PHASE: _phase,
    Requirement.ITEM: item_words,
    Requirement.HEAT_SOAK: Message("Heat-soaked: {lacks}"),
    Requirement.HEAT_TIME: Message("{count} more minute of running", many="{count} more minutes of running"),
    Requirement.HEAT_UNREAD: _heat(Message("{what} temperature read")),
    Requirement.HEAT_LOW: _heat(Message("{what} {by} hotter")),
    Requirement.HEAT_AGAIN: _heat(
        Message("{what} read again in {count} minute", many="{what} read again in {count} minutes")
    ),
    Requirement.HEAT_MOVING: _heat(
        Message(
            "{what} steady: it changed by {by} in the last {count} minute",
            many="{what} steady: it changed by {by} in the last {count} minutes",
        )
    ),
    Requirement.HEAT_OLD: _heat(
        Message(
            "{what} read again: the last figure is {count} minute old",
            many="{what} read again: the last figure is {count} minutes old",
        )
    ),
    Requirement.HEAT_SINCE_START: _heat(Message("{what} read again, as the engine was stopped")),
    Requirement.HEAT_CYCLE: _heat(
        Message("{what} read where the fan starts and where it stops, over one cycle: 3 readings at least")
    ),
    Requirement.HEAT_RISING: _heat(Message("{what} no longer rising: its average rose by {by} over a fan cycle")),
    Requirement.PULLS: Message("{count} short pull made", many="{count} short pulls made"),
    Requirement.QUICK_ROUND: Message("One quick round, complete"),
    Requirement.ROUND_AFTER_ADJUSTMENT: Message("A complete round after the last adjustment"),
    Requirement.EVEN_ROUND: Message("A complete round that is even"),
    Requirement.IDLE_ROUND: Message("A round at idle after the link rod was turned"),
    Requirement.OPENING_ROUNDS: Message("A complete round at every opening after the last link rod adjustment"),
    Requirement.LEVER_SHUT: Message("A complete round with the lever open: an opening was read as idle"),
    Requirement.OPENING_SPEED: Message("Engine speed at every opening"),
    Requirement.BANKS_TOGETHER: Message("Banks that open together at every opening"),
    Requirement.BANK_ON_STOP: Message("Bank {bank} back on its stop screw: its link rod holds it open at idle"),
    Requirement.IDLE_AGAIN: Message("Idle speed after the last adjustment"),
    Requirement.IDLE_OFF: Message("Idle within {most} rpm of the {wanted} rpm wanted: it was {speed} rpm"),
    Requirement.SNAP_READ: Message("Bore {bore} read after a blip, {done} of {wanted}"),
    Requirement.SNAP_LOOSE_BANK: Message(
        "Bore {bore} does not return to one position: it varies by {scatter} %, the meter by {expected} %. Stop the "
        "engine. Check stop screw, lever and return spring of bank {bank}, then repeat the snap test"
    ),
    Requirement.SNAP_LOOSE_COUPLER: Message(
        "Bore {bore} does not return to one position: it varies by {scatter} %, the meter by {expected} %. Stop the "
        "engine. Coupler {near}–{far} has lost motion: clean and tighten it, replace worn parts, reset it on its "
        "feeler, then read and repeat the snap test"
    ),
    Requirement.OIL_PRESSURE_LOW: Message(
        "Stop the engine now. Oil pressure {pressure}, shop minimum {minimum}. Do not restart until the cause is "
        "found and repaired."
    ),
    Requirement.COOLANT_HOT: Message(
        "Stop the engine now. Coolant {temperature}, shop maximum {maximum}. Let it cool. Do not open the cap while it "
        "is hot. Do not restart until the cause is found and repaired."
    ),
    Requirement.OIL_HOT: Message(
        "Stop the engine now. Oil {temperature}, shop maximum {maximum}. Let it cool. Check oil level and cooling. "
        "Do not restart until the cause is found and repaired."
    ),
    Requirement.OVER_REV_LIMIT: Message(
        "Close the lever and stop the engine now. It ran at {speed} rpm, the rev limit is {limit} rpm. Find out why "
        "before you open the lever again. Then enter the new speed."
    ),
    Requirement.HEAD_HOT: Message(
        "Stop the engine now. Cylinder head {temperature}, shop maximum {maximum}. Let it cool in moving air. Check "
        "cooling fan, shrouds and fins. Find the cause. Then enter the new temperature."
    ),
}

WAITING: Mapping[Waiting, Worded] = {
    Waiting.ELSEWHERE: Message(
        "This visit was opened at {store} and belongs there until its sign-off. Here it is shown only.",
        note="store: the name of another shop's program",
    ),
    Waiting.SIGNED_OFF: Message("This visit is signed off. Open a new visit to record more."),
    Waiting.MISTAKEN: Message("This visit was opened by mistake and is ended. Open a new visit to record more."),
    Waiting.NO_SUCH_PHASE: Message("This phase does not exist. Go back to the visit and choose one."),
    Waiting.EARLIER_PHASE: _earlier_phase,
    Waiting.PRESET_DESTROYS: Message(
        "The engine runs. A cold preset would destroy the as-found state: read the as-found round first, hot."
    ),
    Waiting.STOPPED: Message("{stop}"),
    Waiting.ENGINE_STANDS: Message("{why} Check the start list again, then start the engine."),
    Waiting.HEAT_RAN_OUT: Message("The engine no longer counts as heat-soaked: {lack}."),
    Waiting.NOT_HEAT_SOAKED: Message("Not heat-soaked yet: {lack}. The round starts automatically when it is."),
    Waiting.REQUIRED: Message("Required, cannot be waived: {missing}."),
    Waiting.CHECK_FIRST: Message("Check and tick this first: {item}."),
}

RAN_OUT: Mapping[RanOut, Worded] = {
    RanOut.STOPPED: Message("The engine was stopped."),
    RanOut.PAUSED: Message("Nothing was entered for {time}, so the engine counts as stopped."),
    RanOut.CLOCK_BACK: Message("The clock of the shop computer was set back, so the engine counts as stopped."),
}
"""Why an engine counts as stopped."""

STOP_CAUSES: Mapping[StopCause, Message] = {
    StopCause.LOW_LEVEL: Message("Level too low", context="cause of a stop"),
    StopCause.LEAK: Message("Leak", context="cause of a stop"),
    StopCause.PUMP: Message("Pump or its drive", context="cause of a stop"),
    StopCause.BLOCKED: Message("Filter, passage or cooler blocked", context="cause of a stop"),
    StopCause.THERMOSTAT: Message("Thermostat", context="cause of a stop"),
    StopCause.FAN_OR_AIR: Message("Fan, belt or cooling air", context="cause of a stop"),
    StopCause.WEAR: Message("Wear or damage inside the engine", context="cause of a stop"),
    StopCause.GAUGE: Message("Gauge, sender or wiring", context="cause of a stop"),
    StopCause.MISTYPED: Message("Figure mistyped: the engine was in order", context="cause of a stop"),
    StopCause.RAN_ON: Message("Figure mistyped: the engine was in order and ran on", context="cause of a stop"),
    StopCause.OTHER: Message("Another cause, described below", context="cause of a stop"),
}
"""Why a figure was beyond a limit of the shop."""


def cause_in_full(code: str, words: str) -> str:
    """The cause of a stop with what a person wrote about it; a code that is not known as it is stored."""
    if code == StopCause.OTHER:
        return words
    cause = say(STOP_CAUSES[StopCause(code)]) if code in set(StopCause) else code
    return f"{cause} ({words})" if words else cause


NOT_NEEDED: Mapping[NotNeeded, Worded] = {
    NotNeeded.PRESET_EARLIER: Message(
        "Not needed: preset on an earlier visit, hardware unchanged. Read the as-found round first."
    ),
    NotNeeded.ENGINE_RUNS: Message(
        "Waits: the engine runs, and a cold preset would destroy the as-found state. Warm it up and read the as-found "
        "round first. To preset it after all: sign this visit off, record the hardware again, open a new visit."
    ),
    NotNeeded.ONE_BANK: Message("Not needed: this engine has one bank."),
    NotNeeded.ELECTRONIC: Message("Not needed: electronic throttles have no link rods to balance."),
}

PARTS: Mapping[ChangedPart, Message] = {
    ChangedPart.STOP_SCREW: Message("stop screw"),
    ChangedPart.EXHAUST: Message("exhaust"),
    ChangedPart.LINKAGE: Message("linkage"),
    ChangedPart.THROTTLE_SENSOR: Message("throttle position sensor"),
    ChangedPart.INTAKE: Message("intake or air filter"),
}
"""What may have been changed since a sign-off."""

RUNS: Mapping[StrEnum, Message] = {
    Runs.RUNS: Message("Yes, as it comes in"),
    Runs.NEW_THROTTLES: Message("Not yet with these throttles"),
    Runs.FRESH: Message("No, new or rebuilt engine"),
}
"""Answers to whether the engine runs."""

PART_CHANGED = Message("{part} changed")


def part_name(code: str) -> str:
    """A part that was changed since a sign-off; a code that is not known as it is stored."""
    return say(PARTS[ChangedPart(code)]) if code in set(ChangedPart) else code


def _part_changed(reason: Reason) -> str:
    return say(PART_CHANGED, part=part_name(reason.values["what"]))


CHANGED: Mapping[Changed, Worded] = {
    Changed.TOUCHED: _part_changed,
    Changed.HARDWARE: Message("hardware changed on record"),
    Changed.IN_TEST_CELL: Message("now in the test cell"),
    Changed.IN_VEHICLE: Message("now in the vehicle: other exhaust, under-hood heat and idle speed"),
    Changed.FITTED_AWAY: Message("fitted outside the shop: other exhaust, under-hood heat and idle speed"),
    Changed.RECHECK: Message(
        "Since the last sign-off: {reasons}. The earlier result no longer applies. Warm the engine up fully and read "
        "an as-found round before you adjust."
    ),
}

TABLES.update(
    {Requirement: REQUIREMENTS, Waiting: WAITING, NotNeeded: NOT_NEEDED, ChangedPart: PARTS, Changed: CHANGED}  # type: ignore[dict-item]
)
TABLES[Runs] = RUNS
TABLES.update({RanOut: RAN_OUT, StopCause: STOP_CAUSES})  # type: ignore[dict-item]
