"""What slipped or creeps between visits, the evidence for it, and what to check first.

There are three grades of certainty: what is over 99 % likely is stated, what is at least 80 % likely is "probably" so,
and the rest is "possible". A probability is always a per cent, capped at "over 99 %".
"""

from collections.abc import Mapping
from enum import StrEnum

from app.shop.assessment.since_left import NotComparable
from app.sync.slips.slip_detection import Bore, Suspect, ToldBy
from app.wording.message import Message, say
from app.wording.quantities import PERCENT, signed
from app.wording.reasons import TABLES
from app.wording.work.adjusters import called

PROVEN, PROBABLE = 0.99, 0.8


class Grade(StrEnum):
    """How sure a statement is."""

    IS = "is"
    PROBABLY = "probably"
    POSSIBLE = "possible"


LIKELY = Message("{percent}\u00a0% likely")
OVER_LIKELY = Message("over 99\u00a0% likely")
UNDER_LIKELY = Message("under 1\u00a0% likely")
NOISE = Message("±{change}\u00a0%")

BORE_ITSELF = Message("bore {bore} itself", note="dirt, a leak or a loose plate rather than an adjuster")
EITHER = Message("{one} or {other}")
WITH_LIKELY = Message("{what} ({likely})")

# The verdict in a line.

NOTHING_KNOWN = Message("No comparison possible")
NAMED: Mapping[Grade, Message] = {
    Grade.IS: Message("{suspect} slipped"),
    Grade.PROBABLY: Message("{suspect} probably slipped"),
    Grade.POSSIBLE: Message("Possible slip: {suspect}"),
}
NAMED_TOO: Mapping[Grade, Message] = {
    Grade.IS: Message("{title}, {suspect} too"),
    Grade.PROBABLY: Message("{title}, {suspect} probably too"),
    Grade.POSSIBLE: Message("{title}, possibly {suspect} too"),
}
SOMETHING: Mapping[Grade, Message] = {
    Grade.IS: Message("Something slipped: {suspects}"),
    Grade.PROBABLY: Message("Something probably slipped: {suspects}"),
    Grade.POSSIBLE: Message("Possible slip: {suspects}"),
}
DOUBTFUL: Mapping[Grade, Message] = {
    Grade.IS: Message("Something slipped"),
    Grade.PROBABLY: Message("Something probably slipped"),
    Grade.POSSIBLE: Message("Possible slip"),
}
QUIET: Mapping[Grade, Message] = {
    Grade.IS: Message("Nothing slipped"),
    Grade.PROBABLY: Message("Probably nothing slipped"),
    Grade.POSSIBLE: Message("No slip found"),
}

# The evidence, step by step.

NOT_COMPARABLE: Mapping[StrEnum, Message] = {
    NotComparable.NO_ROUND: Message("One of the two visits has no complete round."),
    NotComparable.QUANTITIES: Message("One visit was read by air flow and one by vacuum. They cannot be compared."),
    NotComparable.LAYOUT: Message("The bores were changed between the two visits."),
    NotComparable.ZERO: Message("A bore read zero."),
}
NO_COMMON_BORE = Message("No bore was read at both visits.")

COMMON_OTHER_METER = Message(
    "All bores together changed by {change}. Another meter was used, so this says nothing about the engine."
)
COMMON_OTHER_INTAKE = Message("All bores together changed by {change}. {other}", note="other is a sentence")
COMMON_EXPLAINED = Message("All bores together changed by {change}. Air and idle speed explain {explained}.")
COMMON_UNEXPLAINED = Message(
    "All bores together changed by {change}: air, idle speed or the meter's scale. "
    "Record air pressure and air temperature at each visit, and idle speed before the first adjustment and after the "
    "last, to tell them apart."
)
NO_BORE_BEYOND = Message("Beyond that, no bore changed by more than the meter repeatability.")
BORES_BEYOND = Message("Beyond that, {bores} changed by more than the meter repeatability.")

NOTHING_MOVED = Message("Most likely nothing moved ({likely}).")
ONE_MISREAD = Message("Most likely one value of bore {bore} was misread ({likely}).")
SLIPPED_LIKELY = Message("{suspect}, {likely}")
SLIPPED_TOGETHER = Message("Most likely {suspects} slipped ({likely}).", note="suspects are at least two")
OPENED = Message("{suspect}: {bores} opened by {flow}\u00a0% (±{sd}\u00a0%).")
CLOSED = Message("{suspect}: {bores} closed by {flow}\u00a0% (±{sd}\u00a0%).")
OPENED_BY = Message("{suspect}: {bores} opened by {flow}\u00a0% (±{sd}\u00a0%), about {size}.")
CLOSED_BY = Message("{suspect}: {bores} closed by {flow}\u00a0% (±{sd}\u00a0%), about {size}.")
OTHERWISE = Message("Otherwise: {suspects}.", note="what would explain it in place of what was just named")

INCHES = Message("{low} to {high}\u00a0in")
MILLIMETERS = Message("{low} to {high}\u00a0mm")
BETWEEN = Message("{low} to {high}", note="turns of a screw, each a part of one or more")
TURN = Message("{turns}\u00a0turn", note="turns is one or a part of one")
TURNS = Message("{turns}\u00a0turns")

CONFOUNDED = Message("An idle round cannot tell {one} from {other}. {test}")
CONFOUNDED_ALSO = Message(
    "An idle round cannot tell {one} from {other} together with {also} slipping the other way. {test}"
)
TESTS: Mapping[StrEnum, Message] = {
    ToldBy.STOP_MARKS: Message(
        "Check the marks on both stop screws or the throttle position sensor voltage, or read a part-throttle round."
    ),
    ToldBy.SAME_METER: Message("Read a round with the meter of the last visit."),
    ToldBy.BORE_CHECK: Message("Check the bore itself: do a leak test, then clean the plate."),
    ToldBy.BYPASS_COUNT: Message(
        "Count the bypass screw turns in to the seat and back out. Compare them with the recorded turns."
    ),
    ToldBy.STOP_TEST: Message(
        "Back the stop screw out 1/8\u00a0turn. If the bank does not follow, its link rod holds it open."
    ),
    ToldBy.REREAD: Message("Read the bores between them again."),
}
POSSIBLY_MISREAD = Message("Possibly misread: {bores}.")
NOT_HOT = Message("One of the two rounds was not read heat-soaked. Any bore may have changed for that reason alone.")
OTHER_HARDWARE = Message("The hardware record changed between the two visits. A change may come from that.")

# What to check first.

REREAD_ONLY = Message("Read {bores} again. There is no other suspect.")
NO_SUSPECT = Message("No suspect. Continue as usual.")
REREAD_THEN_CHECK = Message("Read {bores} again. Then check {suspect}.")
REREAD_THEN_LAST = Message("Read {bores} again. Then check what was adjusted last.")
ROUND_THEN_CHECK = Message("Read one more round. Then check {suspect}.")
ROUND_THEN_LAST = Message("Read one more round. Then check what was adjusted last.")
CHECK_NOW = Message("Check {suspect} before you adjust anything.")
CHECK_LAST_NOW = Message("Check what was adjusted last before you adjust anything.")

FIRST_NOTHING = Message("No suspect. Read a full round before you adjust anything.")
FIRST_ONE = Message("Read a full round before you adjust anything. Then check {one}.")
FIRST_TWO = Message("Read a full round before you adjust anything. Then check {one}, and {other}.")
BECAUSE = Message("{suspect} ({why})")
IS_CREEPING = Message("is creeping", context="why to check first")
SLIPPED_BEFORE = Message("slipped before", context="why to check first")
RESET_LAST = Message("reset last", context="why to check first")

NEVER_SLIPPED = Message("No slip found so far.")
SLIPPED_ONCE = Message("{suspect} slipped before the last visit.")
SLIPPED_OFTEN = Message("{suspect} slipped before {count} of {visits} visits.", note="visits is at least 2")
CREEPS_OPEN = Message(
    "{suspect} is creeping: {bores} opened a little at a time since visit {visit}. Check it for looseness."
)
CREEPS_CLOSED = Message(
    "{suspect} is creeping: {bores} closed a little at a time since visit {visit}. Check it for looseness."
)

# The evidence as a table, and the charts.

MOVED_BY_IT = Message("explained by the slip")
BEYOND_METER = Message("more than meter repeatability")

SLIPPED_OPEN = Message("slipped open", limit=18)
SLIPPED_CLOSED = Message("slipped closed", limit=18)
KEEPS_OPENING = Message("keeps opening", limit=18)
KEEPS_CLOSING = Message("keeps closing", limit=18)
IS_OPEN = Message("open", limit=18, context="bore")
IS_CLOSED = Message("closed", limit=18, context="bore")
MOVED = Message("moved", limit=18, context="bore", note="between visits, and was set again")
STEADY = Message("steady", limit=18, context="bore")
NOT_COMPARED = Message("not compared", limit=18, context="bore")

CHART_OF_BORE = Message("Bore {bore}, {word}. Per cent of the average: {visits}")
CHART_OF_BANK = Message("Bank {bank} against all bores, {word}. Per cent of the average: {visits}")
CHART_OF_DIFFERENCE = Message("Bank {bank}, {word}. Per cent of the average: {visits}")
BANK_MINUS_BANK = Message("{second} minus {first}", note="the names of two banks, as on the sheet")
BANKS_APART = Message("banks apart", limit=18)
CHART_OF_SPREAD = Message("Visit {visit}, spread by round: {rounds}")
ROUND_SPREAD = Message(
    "round {number} {spread}, after {count} adjustment", many="round {number} {spread}, after {count} adjustments"
)
SPREAD_CAME = Message("{first} to {last}")
FOUND_AND_LEFT = Message("visit {visit} found {found}, left {left}")
FOUND_ONLY = Message("visit {visit} found {found}")
LEFT_ONLY = Message("visit {visit} left {left}")

LETTERS: Mapping[str, Message] = {
    "H": Message("hardware record changed"),
    "M": Message("another meter"),
    "A": Message("other air or idle speed"),
    "F": Message("other filter, trumpets or adapter"),
}

# A visit in a line, and against the one before.

NOT_READ = Message("not read", context="as left")
IN_PROGRESS = Message("in progress", context="visit")
CHANGED_MOST = Message(
    "Bore {bore} changed most: {change}\u00a0{unit}. All bores together changed by {common}\u00a0{unit} on average."
)
CHANGED_MOST_OTHER_METER = Message(
    "Bore {bore} changed most: {change}\u00a0{unit}. All bores together changed by {common}\u00a0{unit} on average. "
    "Read with another meter: it shows {scale} times the figures of the last one (corrected here)."
)

TABLES[NotComparable] = NOT_COMPARABLE
TABLES[ToldBy] = TESTS


def grade(probability: float) -> Grade:
    """How sure a statement of that probability is, as it is rounded to be shown."""
    if probability > PROVEN:
        return Grade.IS
    return Grade.PROBABLY if round(probability, 2) >= PROBABLE else Grade.POSSIBLE


def likely(probability: float) -> str:
    """A probability for a person, between "under 1 %" and "over 99 %".

    >>> likely(0.9996), likely(0.9), likely(0.004)
    ('over 99\\xa0% likely', '90\\xa0% likely', 'under 1\\xa0% likely')
    """
    if probability > PROVEN:
        return say(OVER_LIKELY)
    return say(UNDER_LIKELY) if probability < 0.01 else say(LIKELY, percent=round(100 * probability))


def percent(change: float) -> str:
    """A change as per cent with its sign; nothing is never negative.

    >>> percent(0.1234), percent(-0.1234), percent(-0.0001)
    ('+12.3\\xa0%', '−12.3\\xa0%', '0.0\\xa0%')
    """
    return say(PERCENT, figure=signed(100 * change, 1))


def suspect_name(suspect: Suspect) -> str:
    """What may have slipped, by name: coupler 2–3, stop screw A, bore 3 itself."""
    return say(BORE_ITSELF, bore=suspect.bore) if isinstance(suspect, Bore) else called(suspect)
