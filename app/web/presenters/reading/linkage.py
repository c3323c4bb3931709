"""The linkage of two banks, drawn from above: central lever, a rod to either bank, where to turn or feel or read."""

import math
from typing import Literal

from app.shop.assessment.verdicts import balanced, rods_are_turnbuckles
from app.shop.procedure.read_order import NextReading
from app.shop.record.visit_record import VisitRecord
from app.sync.banks.banks import BankAssessment, BankDifference, Extra
from app.sync.banks.link_hypotheses import Cause
from app.sync.engine.layout import Bank
from app.sync.planning.advice import Advice
from app.web.presenters.drawing import MOST_BLADES, unit_of
from app.web.presenters.views import LinkageView, OpeningMark, Rod, Shape
from app.wording.words import blade, flats

Ask = Literal["", "plates", "bank joints", "joints", "shafts", "lever"]

WHERE: dict[Extra, Ask] = {
    Extra.FLOW_METER: "plates",
    Extra.IDLE: "plates",
    Extra.AGAIN: "plates",
    Extra.FREE_PLAY: "bank joints",
    Extra.BOTH_WAYS: "joints",
    Extra.ANGLE_GAUGE: "shafts",
    Extra.OPENING: "lever",
    Extra.WIDER_OPENING: "lever",
}
"""Which parts of the linkage a missing reading or check is about."""

ASKED: dict[Ask, tuple[str, tuple[str, ...]]] = {
    "plates": ("Read here", ("Blue: a bore of each bank at the least, better all.",)),
    "bank joints": ("Feel here", ("Blue: the joints that must have a little play with the pedal released.",)),
    "joints": ("Feel here", ("Blue: both ends of both rods. Hold the lever, move the rod along itself.",)),
    "shafts": ("Gauge here", ("Blue: the shaft ends that the gauge goes on. Both must turn by the same angle.",)),
    "lever": ("Blade under the lever", ("Blue: the blade that holds both banks open. Nobody holds it by hand alone.",)),
}
SHOWN: dict[Cause, tuple[str, tuple[str, ...]]] = {
    Cause.SLACK: ("Lost motion", ("Dashed ring: the bank that comes late. Mend the joint; no link is turned.",)),
    Cause.RATIO: ("Unequal levers", ("The shorter one opens its bank faster. No link cures that.",)),
    Cause.HELD: ("Off its stop", ("Daylight at the stop screw: the link holds that bank open. Give it free play.",)),
}
"""What the drawing shows, by what is asked for or by the cause: a title and a sentence."""


def linkage(record: VisitRecord, advice: Advice, found: BankAssessment | None, due: NextReading) -> LinkageView | None:
    """The drawing with its words; None where one bank has nothing to balance."""
    if len(record.layout.banks) < 2:
        return None
    even = found is not None and balanced(record, found)
    turn = advice if advice.kind == "link" else None
    ask = "" if found is None or even or turn else WHERE.get(found.extra, "")
    asked: Ask = "lever" if due.bore is not None and due.opening else ask
    title, steps = _turning(record, turn, found) if turn and found else _looking(found, even, asked)
    lever = due.opening if due.bore is not None else found.extra_travel if found is not None and ask == "lever" else 0.0
    return LinkageView(
        rods=tuple(_rod(record, bank, found, even) for bank in record.layout.banks),
        line="even" if even else "doubt" if found is None or found.cause == "unknown" else "firm",
        turn=turn.bank or "" if turn else "",
        flats=abs(turn.flats) if turn else 0.0,
        count=flats(abs(turn.flats)).split()[0] if turn else "",
        way=("earlier" if turn.flats > 0 else "later") if turn else "",
        ask=asked,
        lever=blade(lever, record.units.metric) if lever else "",
        title=title,
        steps=steps,
    )


def openings(record: VisitRecord, found: BankAssessment | None, due: NextReading) -> tuple[OpeningMark, ...]:
    """Second bank less first on one line for each opening, each with its window; an opening still to read is empty.

    An opening that is reached from above as well stands below the same one reached the usual way.
    """
    read = {(d.lever_travel, d.from_above): d for d in found.differences} if found is not None else {}
    now = (due.opening, due.from_above) if due.bore is not None and due.opening else None
    asked = {(one, False) for one in record.settings.openings} | ({now} if now else set())
    wanted = sorted({(0.0, False), *asked, *read}) if read else sorted(asked)
    unit, window = unit_of(record.meter), record.settings.bank_window
    widths = [abs(d.difference) for d in read.values()] + [1.5 * window * _mean(d) for d in read.values()]
    scale = max(widths, default=1.0)
    marks = []
    for opening, above in wanted:
        label = "from above" if above else blade(opening, record.units.metric) if opening else "idle"
        one = read.get((opening, above))
        if one is None:
            marks.append(OpeningMark(label, "next" if now == (opening, above) else "to-read"))
        else:
            there, half_width = one.difference / scale, window * _mean(one) / scale
            marks.append(OpeningMark(label, "read", there, half_width, unit.change(one.difference)))
    return tuple(marks)


def _mean(one: BankDifference) -> float:
    return (one.first + one.second) / 2


def _rod(record: VisitRecord, bank: Bank, found: BankAssessment | None, even: bool) -> Rod:
    at, twin = bank.bores.index(bank.drive) / max(len(bank.bores) - 1, 1), rods_are_turnbuckles(record)
    if found is None or not found.banks:
        return Rod(bank.name, bank.drive, at, twin=twin)
    second = bank.name == found.banks[1]
    widest = max((d.percent for d in found.differences if d.lever_travel > 0), key=abs, default=0.0)
    beyond = (widest if second else -widest) / 100 / record.settings.bank_window
    shape: Shape = "even" if even else "none"
    if not even and abs(beyond) > 1:
        shape = "wide" if beyond > 0 else "tight"
    first_to_open = (found.offset > 0) == second
    return Rod(
        bank.name,
        bank.drive,
        at,
        shape,
        min(MOST_BLADES, max(1, math.ceil(abs(beyond)) - 1)),
        twin=twin,
        worn=found.cause == "slack" and not first_to_open,
        lifted=found.cause == "held" and first_to_open,
        short=found.cause == "ratio" and (found.ratio > 0) == second,
    )


def _turning(record: VisitRecord, turn: Advice, found: BankAssessment) -> tuple[str, tuple[str, ...]]:
    """Which link is turned, and how, a step each."""
    drive = record.layout.bank(turn.bank or "").drive
    gives, other = ("gives more", "earlier") if turn.flats < 0 else ("takes up", "later")
    nuts = "both lock nuts; one is left-handed" if rods_are_turnbuckles(record) else "the lock nut at its threaded end"
    steps = [
        f"Engine off. Rod to bore {drive}: loosen {nuts}.",
        f"Turn it by {flats(abs(turn.flats))}, the way that {gives} free play at the stop.",
        "Hold the joint while locking: the nut turns the rod.",
    ]
    if found.or_bank is not None:
        steps.append(f"Or link {found.or_bank} by as much, to open {other}, if it keeps free play.")
    return f"Link of bank {turn.bank}", tuple(steps)


def _looking(found: BankAssessment | None, even: bool, ask: Ask) -> tuple[str, tuple[str, ...]]:
    """What the drawing shows where no link is turned."""
    if even:
        return "Links even", ("The line runs through: both banks leave their stops together.",)
    if ask:
        return ASKED[ask]
    if found is None or found.cause not in SHOWN:
        return "Lever and links", ("Dashed: nobody knows yet. Both openings are read first.",)
    return SHOWN[found.cause]
