"""What the drawing of the linkage says: what to read, check or turn where, a title and its steps."""

from collections.abc import Mapping
from typing import Literal, NamedTuple

from app.sync.banks.link_hypotheses import Cause
from app.wording.message import Message, say

Ask = Literal["", "plates", "bank-joints", "joints", "shafts", "lever"]
"""The parts that the next reading or check is about."""


class Words(NamedTuple):
    """A title and a sentence beside the drawing."""

    title: Message
    text: Message


ASKED: Mapping[Ask, Words] = {
    "plates": Words(Message("Read here"), Message("Blue: read at least one bore in each bank, better all.")),
    "bank-joints": Words(
        Message("Check here"), Message("Blue: joints that must have free play with the pedal released.")
    ),
    "joints": Words(
        Message("Check here"), Message("Blue: both ends of both rods. Hold the lever, move the rod along its length.")
    ),
    "shafts": Words(
        Message("Measure here"), Message("Blue: shaft ends for the angle gauge. Both must turn by the same angle.")
    ),
    "lever": Words(
        Message("Feeler under the lever"),
        Message("Blue: the feeler that holds both banks open. Do not hold the lever by hand alone."),
    ),
}
SHOWN: Mapping[Cause, Words] = {
    Cause.SLACK: Words(
        Message("Lost motion"),
        Message("Dashed ring: the bank that opens late. Repair the joint. Do not turn a rod."),
    ),
    Cause.RATIO: Words(
        Message("Unequal lever arms"),
        Message("The shorter one opens its bank faster. Turning a rod cannot correct that."),
    ),
    Cause.HELD: Words(
        Message("Off its stop screw"),
        Message("Gap at the stop screw: the rod holds that bank open. Give it free play."),
    ),
}
"""What the drawing shows, by what is asked for or by the cause."""

EVEN = Words(Message("Link rods even"), Message("Unbroken line: both banks leave their stop screws together."))
UNKNOWN = Words(Message("Lever and link rods"), Message("Dashed: not known yet. Read both openings first."))

ROD = Message("Link rod {bank}")
LOOSEN = Message("Engine off. Rod to bore {bore}: loosen the lock nut at its threaded end.")
LOOSEN_BOTH = Message("Engine off. Rod to bore {bore}: loosen both lock nuts. One has a left-hand thread.")
TURN_FOR_MORE = Message("Turn it {flats} (±{band}), the way that adds free play at the stop screw.")
TURN_FOR_LESS = Message("Turn it {flats} (±{band}), the way that reduces free play at the stop screw.")
LOCK = Message("Hold the joint while you lock it: the nut turns the rod.")
OR_OTHER_EARLIER = Message("Or turn link rod {bank} as much, to open earlier, if it keeps free play.")
OR_OTHER_LATER = Message("Or turn link rod {bank} as much, to open later, if it keeps free play.")

EARLIER, LATER = Message("earlier", note="a bank opens"), Message("later", note="a bank opens")
FROM_OPEN = Message("from open", note="the opening above, approached from further open")


def turning(
    bank: str, drive: int, flats: str, band: str, later: bool, twin: bool, other: str | None
) -> tuple[str, tuple[str, ...]]:
    """Which link rod is turned, and how, a step each.

    Parameters: ``bank`` of the rod; ``drive``, the bore it drives; ``flats`` in words; ``band``, their give or take;
    ``later``: its bank is to open later; ``twin``: a thread at either end; ``other`` bank whose rod could be turned
    instead.
    """
    steps = [
        say(LOOSEN_BOTH if twin else LOOSEN, bore=drive),
        say(TURN_FOR_MORE if later else TURN_FOR_LESS, flats=flats, band=band),
        say(LOCK),
    ]
    if other is not None:
        steps.append(say(OR_OTHER_EARLIER if later else OR_OTHER_LATER, bank=other))
    return say(ROD, bank=bank), tuple(steps)
