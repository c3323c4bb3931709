"""What is printed: the handover sheet and its page of readings, the worksheet and the tag.

Everything here is said to the customer (``language.to_the_customer``), and a one-bank engine is never told of banks.
"""

from collections.abc import Collection, Mapping

from app.shop.commands.corrections import Corrected
from app.shop.procedure.parts import Metal, Part
from app.sync.estimation.conformity import Conformity
from app.sync.estimation.evenness import BoreVerdict
from app.wording.message import Message, say
from app.wording.work.phases import item_label
from app.wording.work.safety import SafetyMessage, SafetyWords, Signal, in_parts
from app.wording.work.verdicts import WORDS

WARNINGS = (
    SafetyMessage(
        Signal.WARNING,
        Message("A throttle that does not close on its own."),
        Message("The engine can overspeed."),
        Message("Stop the engine. Do not drive."),
    ),
    SafetyMessage(
        Signal.WARNING,
        Message("Open bores, belts and fan of a running engine."),
        Message("They backfire, burn and catch clothing."),
        Message("Keep clear of them."),
    ),
)
"""What the customer must know, on every page that is handed over."""

# The result.

AS_LEFT = Message("As left")
VERDICTS: Mapping[Conformity, Message] = {
    Conformity.EVEN: Message("even", context="round"),
    Conformity.NOT_EVEN: Message("not even", context="round"),
    Conformity.UNDECIDED: Message("undecided", context="round"),
    Conformity.LIMIT: Message("even as far as this meter shows", context="round"),
    Conformity.INCOMPLETE: Message("round not complete", context="round"),
}
RESULT = Message("As left: {verdict}")
RESULT_BEFORE_TIGHTENING = Message("As left: {verdict}, not read after tightening")
ALONE = Message("As left: read, with no other to compare it with")
NO_RESULT = Message("As left: not read")
NO_ROUND = Message("No complete round was read after the last adjustment.")

LEFT_BEFORE_TIGHTENING = Message("Before everything was tightened:")
BASIS = Message(
    "Rule: {sure} or more. {count} reading, meter ±{repeats}.",
    many="Rule: {sure} or more. {count} readings, meter ±{repeats}.",
)

OPEN_BY = Message("open {deviation}", note="bore: more open than the average")
CLOSED_BY = Message("closed {deviation}", note="bore: more closed than the average")
BORE_VERDICTS: Mapping[BoreVerdict, Message] = {
    BoreVerdict.OPEN: OPEN_BY,
    BoreVerdict.CLOSED: CLOSED_BY,
    BoreVerdict.EVEN: Message("even", context="bore", limit=12),
    BoreVerdict.AT_LIMIT: WORDS[BoreVerdict.AT_LIMIT],
}
SKIPPED = Message("skipped", context="bore", limit=12)

NO_PART_THROTTLE = Message("Part throttle: not read on this visit.")
PART_THROTTLE = Message(
    "Part throttle, bank {second} minus bank {first}, per bore: "
    "{difference}\u00a0{unit} ({percent}\u00a0%) at the {feeler} feeler."
)
PART_THROTTLE_SPEED = Message("Engine speed there: {speed}\u00a0rpm.")
PART_THROTTLE_FROM_OPEN = Message(
    "Part throttle, bank {second} minus bank {first}, per bore: "
    "{difference}\u00a0{unit} ({percent}\u00a0%) at the {feeler} feeler, approach from open."
)

# What was done, and how it was measured and left.

IDLE, PRESET, HEAT, SENSOR = (
    Message("Idle"),
    Message("Cold preset"),
    Message("Temperatures"),
    Message("Throttle sensor"),
)
AIR, FANS = Message("Air"), Message("Cooling fan")
IDLE_AT = Message("{figure}", context="a figure alone, as the idle speed as left")
IDLE_HOT = Message("{figure} at the recheck", note="idle speed")
FEELER, TURNED_IN = Message("{figure} feeler"), Message("{figure} in", note="turns of the stop screws")
COOLANT, OIL = Message("coolant {figure}"), Message("oil {figure}")
HEAD = Message("cylinder head {figure}")
SENSOR_CLOSED, SENSOR_OPEN = Message("{figure} at rest"), Message("{figure} wide open")

NAMED = Message("{initials}: {name}", note="a person's initials")

HARDWARE_BANK = Message("Bank {name}: cylinders {bores}, stop screw at {stop}, link rod at {drive}.")
HARDWARE_ONE_BANK = Message("Cylinder {bores}, stop screw at {stop}.", many="Cylinders {bores}, stop screw at {stop}.")
HARDWARE_BANK_OF_MOTORS = Message("Bank {name}: cylinders {bores}.")
HARDWARE_BORES = Message("Cylinders {bores}.")
HARDWARE_SENSOR = Message("Throttle position sensor at bore {bore}.")
HARDWARE_SPRINGLESS = Message(
    "No return spring of its own: bore {bores}.", many="No return spring of their own: bores {bores}."
)
HARDWARE_OTHER = Message("Also: {parts}.")
HARDWARE_MEASURED = Message("Measured: {figures}.")
HARDWARE_PARTLY_MEASURED = Message("Measured: {figures}. The other hardware figures are estimates.")
HARDWARE_ESTIMATED = Message("All hardware figures are estimates.")
MEASURED_FIGURE = Message("{name} {value}")

# What stopped the engine.

STOP_FIGURE = Message("{what} {figure}", note="a figure beyond a limit, such as: Oil pressure 30 kPa")
STOPPED = Message(
    "Engine stopped, {at}: {figures}. Cause: {cause}. Remedy: {remedy}. {by}, {ended}.",
    note="on the handover sheet, in full",
)

STOPPED_MISTYPED = Message(
    "Engine stopped, {at}: {figures}. Cause: {cause}. Corrected: {by}, {ended}.",
    note="on the handover sheet, where the figure was mistyped and the right one entered in its place",
)

NEVER_STOPPED = Message(
    "Figure beyond a limit, {at}: {figures}. Cause: {cause}. Corrected: {by}, {ended}.",
    note="on the handover sheet, where the figure was mistyped and the engine was not stopped",
)

# The next check.

COUPLER_FIRST = Message("Coupler {near}–{far} was reset on this visit. Check it first.")
DISTANCE = Message("{value:,.0f}\u00a0{unit}")
MONTHS_LATER = Message("{count} month after sign-off", many="{count} months after sign-off")

# Issues and corrections.

ISSUED = Message(
    "Issue {number} of {at} replaces issue {before} of {since}. Corrected: {changes}. Reason: {why} ({by})."
)
CORRECTED = Message("{what}: {now} instead of {was}")
NO_FIGURE = Message("no figure")
FIGURE = Message("{value}\u00a0{unit}")
READING = Message("bore {bore}, round {round}")
DRIFT_CHECK = Message("bore {bore}, drift check of round {round}")

# The page on which a figure is corrected.

CORRECT_ROUND = Message("Round {number}, {phase}")
CORRECT_ROUND_AT_OPENING = Message("Round {number}, {phase}, {feeler} feeler")
CORRECT_ROUND_FROM_OPEN = Message("Round {number}, {phase}, {feeler} feeler, approach from open")
CORRECT_BORE, CORRECT_AGAIN = Message("Bore {bore}"), Message("Bore {bore} again")
CORRECT_ITEMS, CORRECT_ITEM = Message("Checklist figures"), Message("{phase}: {item}")

# The page of readings.

ROUND = Message("{phase}, {at}")
ROUND_RESULT = Message("{phase}, {at}: {verdict}")
ROUND_AT_OPENING = Message("{phase}, {feeler} feeler")
ROUND_FROM_OPEN = Message("{phase}, {feeler} feeler, approach from open")
ROUND_SPEED = Message("{phase}, {speed}\u00a0rpm")
ROUND_VOID = Message("{phase}, {at}: void, the engine was stopped before it was complete")
REMARK_ENGINE_STARTED = Message("Engine started ({by}, {at}).")
REMARK_ENGINE_STOPPED = Message("Engine stopped ({by}, {at}).")
REMARK_SKIPPED = Message("Round {round}, bore {bore}: skipped, {why} ({by}).")
REMARK_REPLACED = Message("Round {round}, bore {bore}: {now} replaces {was} ({by}, {at}).")
REMARK_REPLACED_WHY = Message("Round {round}, bore {bore}: {now} replaces {was}. {why} ({by}, {at}).")
REMARK_TAKEN_BACK = Message("Recorded, but not adjusted: {was} ({by}, {at})", note="was: an adjustment as a sentence")
REMARK_CHANGED = Message("{now} First recorded: {was} ({by}, {at})", note="two adjustments as sentences")
REMARK_WAIVED = Message("{phase} waived by {by}: {why} (missing: {missing})")

# The worksheet.

WORKSHEET_NAME = Message("{layout}, {displacement}, idle {idle}")
LEFT_AT_VISIT = Message("As left, visit {number}, {day}")
TOLERANCE = Message("Even: every bore within the tolerance of the average, meter error allowed for.")
MEAN_AND_TOLERANCE = Message(
    "Average as left: {mean}\u00a0{unit}. Even: every bore within ±{tolerance} of the average, meter error allowed for."
)
BOTH_FEELERS = Message("{inches} ({millimeters})")
ASKED_HEAT: Mapping[Metal, Message] = {"coolant": Message("Coolant °C/°F"), "head": Message("Cylinder head °C/°F")}
ASKED = (
    Message("Oil °C/°F"),
    Message("Minutes hot"),
    Message("Idle rpm"),
    Message("Air pressure"),
    Message("Air °C/°F"),
)
"""What is written down of the day; the unit that it is not is struck out."""


def bore_words(verdict: BoreVerdict, deviation: str) -> str:
    """What a bore is against the mean, in a table: open +0.46.

    Parameters: ``verdict`` of the bore; ``deviation`` from the mean with its sign, in the meter's unit.
    """
    return say(BORE_VERDICTS[verdict], deviation=deviation)


def what_was_corrected(one: Corrected, parts: Collection[Part]) -> str:
    """The figure that a correction replaced, at an engine that has those parts: bore 3, round 2."""
    if not one.bore:
        return item_label(one.slug, parts).lower()
    return say(DRIFT_CHECK if one.drift_check else READING, bore=one.bore, round=one.round)


def warnings() -> tuple[SafetyWords, ...]:
    """The safety messages of the sheet."""
    return tuple(map(in_parts, WARNINGS))
