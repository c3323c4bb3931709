"""What the planner advises, in words: a title of one short line, a reason of one or two sentences, what to expect."""

from collections.abc import Mapping, Sequence
from enum import StrEnum

from app.shop.record.measures import Units
from app.sync.engine.engine_air import Beyond
from app.sync.engine.layout import Layout
from app.sync.planning.advice import Advice, AdviceKind, AdviceReason
from app.wording.message import Message, say
from app.wording.quantities import Unit, bore_list, listed, with_unit
from app.wording.reasons import TABLES
from app.wording.work import adjusters

TITLE, REASON = 60, 110
"""Characters that a card has room for: its title, and what it says below."""

MOST_NAMED = 3
"""Bores to read that a title names."""

MOST_EXPECTED = 4
"""Readings to expect that are shown; where more bores move, none is."""

MEASURE = Message("Read bore {bores}", many="Read bores {bores}", limit=TITLE)
MEASURE_ALL = Message("Read every bore", limit=TITLE)
DONE = Message("No adjustment needed", limit=TITLE)
CANNOT = Message("Stop adjusting and find the cause", limit=TITLE)
TOO_CLOSE = Message("Stop adjusting: too close for this meter", limit=TITLE)
LEAK_CHECK = Message("Check for an air leak before you adjust again", limit=TITLE)
SKIPPED = Message("Bore {bores} was skipped", many="Bores {bores} were skipped", limit=TITLE)

EXPECTED = Message("Expected: {readings}.", note="the readings after the adjustment, with their unit")
EXPECTED_WITHIN = Message("Expected: {readings} (±{band}).")
EXPECTED_AT = Message("Expected at bore {bore}: {readings}.")
EXPECTED_AT_WITHIN = Message("Expected at bore {bore}: {readings} (±{band}).")
NEXT = Message("Probably next: {moves}.")

OUTSIDE: Mapping[StrEnum, Message] = {
    Beyond.GAP: Message("gap", context="outside the calculated range"),
    Beyond.RATIO: Message("vacuum", context="outside the calculated range"),
    Beyond.SPEED: Message("idle speed", context="outside the calculated range"),
    Beyond.PRESSURE: Message("air pressure", context="outside the calculated range"),
    Beyond.TEMPERATURE: Message("air temperature", context="outside the calculated range"),
    Beyond.BORE: Message("bore diameter", context="outside the calculated range"),
}
"""What of an engine lies outside the range that is calculated for."""
TABLES[Beyond] = OUTSIDE
OUTSIDE_RANGE = Message(
    "Outside the calculated range: {what}. The size is a first try: read again after it.",
    note="what: one or more of vacuum, idle speed and the like",
)
SCREW_NO_EFFECT = Message(
    "Readings do not follow {adjuster}, however it is set. Check its direction, lost motion, plate and leaks.",
    limit=REASON,
)
SCREW_END = Message(
    "Bore {bores}: its own screw is at its end. Check for dirt, an air leak or a plate askew on the shaft.",
    limit=REASON,
    note="of BYPASS_END, where the screw is no bypass screw",
)

REASONS: Mapping[StrEnum, Message] = {
    AdviceReason.FIRST_ROUND: Message(
        "Read every bore once, then the first one again. The verdict and the next step follow.", limit=REASON
    ),
    AdviceReason.UNREAD: Message("Read these once each. The round ends with the drift check.", limit=REASON),
    AdviceReason.CLOSE_ROUND: Message(
        "Drift check: it ends the round and shows how far the idle drifted.", limit=REASON
    ),
    AdviceReason.MISREAD: Message("It is far from the other bores. Read it again before you adjust.", limit=REASON),
    AdviceReason.DISAGREE: Message(
        "Its readings differ with nothing adjusted in between. Read it again.", limit=REASON
    ),
    AdviceReason.AFTER_MOVE: Message("It shows what the adjustment did. The next step depends on it.", limit=REASON),
    AdviceReason.DOUBTFUL: Message(
        "One more reading shows whether it needs an adjustment, and takes less time than one.", limit=REASON
    ),
    AdviceReason.LOST_MOTION_CHECK: Message(
        "Open the throttle briefly, let go and wait for a steady idle. Then read: it shows if the plate comes back.",
        limit=REASON,
    ),
    AdviceReason.ONE_PROBE: Message(
        "Sensors that stay at their bores differ. Carry one probe from bore to bore to prove it.", limit=REASON
    ),
    AdviceReason.LAST_ROUND: Message(
        "The last adjustment is expected to be enough. Read again to see, least certain bore first.", limit=REASON
    ),
    AdviceReason.STOP_BANK: Message("This leaves the fewest couplers to reset.", limit=REASON),
    AdviceReason.STOP_SPEED: Message("Idle is too slow.", limit=REASON),
    AdviceReason.STOP_FAST: Message("Idle is too fast.", limit=REASON),
    AdviceReason.COARSE_BANK: Message("The banks are far apart at idle.", limit=REASON),
    AdviceReason.OPEN: Message("Bore {bore} is too open.", limit=REASON),
    AdviceReason.CLOSED: Message("Bore {bore} is too closed.", limit=REASON),
    AdviceReason.FOLLOWS: Message("Bore {bore} is set to match the bores before it.", limit=REASON),
    AdviceReason.DIRECTION: Message(
        "Direction unknown. Make this small test turn. The next reading shows which way it works.", limit=REASON
    ),
    AdviceReason.THEN: Message("It follows the adjustment before it.", limit=REASON),
    AdviceReason.EVEN: Message("Another adjustment would change less than the meter can show.", limit=REASON),
    AdviceReason.FINEST: Message(
        "Your feelers and screws cannot set it closer. The tolerance is tighter than they allow.", limit=REASON
    ),
    AdviceReason.METER_LIMIT: Message(
        "Even as far as this meter shows. More readings or adjustments would hardly tell more.", limit=REASON
    ),
    AdviceReason.TOO_CLOSE: Message(
        "This meter cannot tell bore {bores} from even. A finer one or a steadier idle can. Else waive.",
        many="This meter cannot tell bores {bores} from even. A finer one or a steadier idle can. Else waive.",
        limit=REASON,
    ),
    AdviceReason.NOTHING_HELPS: Message(
        "Bore {bores}: no adjustment brings it nearer. Check for a leak, lost motion, spark and mixture.",
        many="Bores {bores}: no adjustment brings them nearer. Check for a leak, lost motion, spark and mixture.",
        limit=REASON,
    ),
    AdviceReason.COARSE: Message(
        "Close enough to warm the engine up. Fine adjustment comes when it is hot.", limit=REASON
    ),
    AdviceReason.SKIPPED: Message(
        "The other bores cannot be set while this one is unread. Read it, or continue with a reason.",
        many="The other bores cannot be set while these are unread. Read them, or continue with a reason.",
        limit=REASON,
    ),
    AdviceReason.SCATTER: Message(
        "Bore {bores}: readings vary with nothing adjusted. Check shaft, coupler and return spring for lost motion.",
        limit=REASON,
    ),
    AdviceReason.NO_EFFECT: Message(
        "Readings do not follow {adjuster}, however it is set. Check it for lost motion, a sticky plate or a leak.",
        limit=REASON,
    ),
    AdviceReason.LEAK_CHECK: Message(
        "Bore {bores} stays outside. No flammable spray: hot parts, moving fan. Record the leak check.",
        limit=REASON,
    ),
    AdviceReason.BYPASS_END: Message(
        "Bore {bores}: its bypass screw is at its end. Check for dirt, an air leak or a plate askew on the shaft.",
        limit=REASON,
    ),
    AdviceReason.NO_ADJUSTER: Message(
        "Bore {bores} shares its shaft and has no screw of its own. Check for dirt, an air leak or a plate askew.",
        limit=REASON,
    ),
}
"""The sentence of each reason. A new code gets its line here."""

KINDS: Mapping[StrEnum, Message] = {
    AdviceKind.MEASURE: MEASURE,
    AdviceKind.DONE: DONE,
    AdviceKind.CANNOT: CANNOT,
    AdviceKind.STOP: adjusters.ADJUSTERS[AdviceKind.STOP].name,
    AdviceKind.BLADE: adjusters.ADJUSTERS[AdviceKind.BLADE].name,
    AdviceKind.SCREW: adjusters.ADJUSTERS[AdviceKind.SCREW].name,
    AdviceKind.LINK: adjusters.ADJUSTERS[AdviceKind.LINK].name,
    AdviceKind.BYPASS: adjusters.ADJUSTERS[AdviceKind.BYPASS].name,
}
"""What each kind of step is about."""

TABLES[AdviceKind] = KINDS
TABLES[AdviceReason] = REASONS


def title(advice: Advice, layout: Layout, units: Units) -> str:
    """The next step in a line.

    Parameters: ``advice`` to say; ``layout`` it is about; the shop's ``units``.
    """
    match advice.kind:
        case AdviceKind.MEASURE if len(advice.bores) > MOST_NAMED:
            return say(MEASURE_ALL)
        case AdviceKind.MEASURE:
            return say(MEASURE, bores=bore_list(advice.bores), count=len(advice.bores))
        case AdviceKind.DONE:
            return say(DONE)
        case AdviceKind.CANNOT if advice.why is AdviceReason.SKIPPED:
            return say(SKIPPED, bores=bore_list(advice.about), count=len(advice.about))
        case AdviceKind.CANNOT if advice.why is AdviceReason.LEAK_CHECK:
            return say(LEAK_CHECK)
        case AdviceKind.CANNOT if advice.why is AdviceReason.TOO_CLOSE:
            return say(TOO_CLOSE)
        case AdviceKind.CANNOT:
            return say(CANNOT)
    turn = adjusters.title(advice, layout, units)
    return say(adjusters.TEST_TURN, title=turn) if advice.why is AdviceReason.DIRECTION else turn


def reason(advice: Advice, layout: Layout, unit: Unit) -> str:
    """Why, and what to expect, in short sentences.

    Parameters: ``advice`` to say; ``layout`` it is about; ``unit`` of the meter.
    """
    if advice.adjuster is None or not advice.adjuster.at_idle or advice.why is AdviceReason.DIRECTION:
        return _why(advice, layout)
    to_come = say(OUTSIDE_RANGE, what=outside_range(advice.outside)) if advice.outside else _expected(advice, unit)
    parts = [_why(advice, layout), adjusters.effect(advice, layout), to_come, _next(advice, layout)]
    return " ".join(part for part in parts if part)


def outside_range(outside: Sequence[Beyond]) -> str:
    """What lies outside the range that is calculated for; empty when nothing does."""
    return listed([say(OUTSIDE[one]) for one in outside]) if outside else ""


def _why(advice: Advice, layout: Layout) -> str:
    message, bores = REASONS[advice.why], bore_list(advice.about) if advice.about else ""
    if advice.why is AdviceReason.BYPASS_END and advice.near not in layout.bypass:
        message = SCREW_END
    if advice.why is AdviceReason.NO_EFFECT and advice.far is None:
        message = SCREW_NO_EFFECT
    adjuster = adjusters.called_at(layout, advice.place) if advice.why is AdviceReason.NO_EFFECT else ""
    return say(message, bore=advice.place.sets, bores=bores, count=len(advice.about), adjuster=adjuster)


def _expected(advice: Advice, unit: Unit) -> str:
    """The readings to come, and the wider half of their bands where it is a step of the meter or more."""
    known = [advice.expected[bore] for bore in advice.bores if bore in advice.expected]
    if not known or len(known) > MOST_EXPECTED:
        return ""
    band = unit.nearest(max(max(one.high - one.value, one.value - one.low) for one in known))
    within = float(band) > 0
    if len(known) < len(advice.bores):
        known = known[:1]
        message = EXPECTED_AT_WITHIN if within else EXPECTED_AT
    else:
        message = EXPECTED_WITHIN if within else EXPECTED
    readings = with_unit(listed([unit.nearest(one.value) for one in known]), unit.name)
    first = next(bore for bore in advice.bores if bore in advice.expected)
    return say(message, readings=readings, band=band, bore=first)


def _next(advice: Advice, layout: Layout) -> str:
    moves = adjusters.following(advice.then, layout)
    return say(NEXT, moves=moves) if moves else ""
