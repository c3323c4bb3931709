"""The linkage of two banks, drawn from above: central lever, a rod to either bank, where to turn, check or read."""

import math

from app.shop.assessment.assessment import PhaseAssessment
from app.sync.banks.bank_means import BankDifference
from app.sync.banks.banks import BankAssessment, Extra
from app.sync.banks.link_hypotheses import Cause
from app.sync.engine.layout import Bank
from app.sync.planning.advice import Advice, AdviceKind
from app.web.presenters.drawing import MOST_BLADES
from app.web.presenters.views import LinkageView, OpeningMark, Rod, Shape
from app.wording.message import say
from app.wording.quantities import feeler, flats, flats_in_figures, unit_of
from app.wording.work import linkage as words
from app.wording.work.bank_balance import IDLE, flats_band, percent
from app.wording.work.linkage import Ask

WHERE: dict[Extra, Ask] = {
    Extra.FLOW_METER: "plates",
    Extra.IDLE: "plates",
    Extra.AGAIN: "plates",
    Extra.FREE_PLAY: "bank-joints",
    Extra.BOTH_WAYS: "joints",
    Extra.ANGLE_GAUGE: "shafts",
    Extra.OPENING: "lever",
    Extra.WIDER_OPENING: "lever",
    Extra.SMALLER_OPENING: "lever",
}
"""Which parts of the linkage a missing reading or check is about."""


def linkage(judged: PhaseAssessment) -> LinkageView | None:
    """The drawing with its words; None where one bank has nothing to balance."""
    record, advice, found, due = judged.record, judged.step, judged.banks, judged.due
    if len(record.layout.banks) < 2:
        return None
    even = judged.together
    turn = advice if advice.kind == AdviceKind.LINK else None
    ask = "" if found is None or even or turn else WHERE.get(found.extra, "")
    asked: Ask = "lever" if due.bore is not None and due.opening else ask
    title, steps = _turning(judged, turn, found) if turn and found else _looking(found, even, asked)
    lever = due.opening if due.bore is not None else found.extra_travel if found is not None and ask == "lever" else 0.0
    return LinkageView(
        rods=tuple(_rod(judged, bank) for bank in record.layout.banks),
        line="even" if even else "doubt" if found is None or found.cause is Cause.UNKNOWN else "firm",
        turn=turn.bank or "" if turn else "",
        flats=abs(turn.flats) if turn else 0.0,
        count=flats_in_figures(abs(turn.flats)) if turn else "",
        way=say(words.EARLIER if turn.flats > 0 else words.LATER) if turn else "",
        ask=asked,
        lever=feeler(lever, record.units) if lever else "",
        title=title,
        steps=steps,
    )


def openings(judged: PhaseAssessment) -> tuple[OpeningMark, ...]:
    """Second bank minus first, one line for each opening with its tolerance; an opening still to read is empty.

    An opening that is approached from open as well is below the same one reached the usual way.
    """
    record, found, due = judged.record, judged.banks, judged.due
    read = {(d.lever_travel, d.from_above): d for d in found.differences} if found is not None else {}
    now = (due.opening, due.from_above) if due.bore is not None and due.opening else None
    asked = {(one, False) for one in record.settings.openings} | ({now} if now else set())
    wanted = sorted({(0.0, False), *asked, *read}) if read else sorted(asked)
    window, columns = record.settings.bank_window, record.meter.quantity != "flow"
    widths = [abs(d.apart) for d in read.values()] + [1.5 * window * _mean(d) for d in read.values()]
    scale = max(widths, default=1.0)
    marks = []
    for opening, above in wanted:
        label = say(words.FROM_OPEN) if above else feeler(opening, record.units) if opening else say(IDLE)
        one = read.get((opening, above))
        if one is None:
            marks.append(OpeningMark(label, "next" if now == (opening, above) else "to-read"))
        else:
            there, half_width = one.apart / scale, window * _mean(one) / scale
            told = f"{percent(one)}\u00a0%" if columns else unit_of(record.meter).change(one.difference)
            marks.append(OpeningMark(label, "read", there, half_width, told))
    return tuple(marks)


def _mean(one: BankDifference) -> float:
    return (one.air[0] + one.air[1]) / 2


def _rod(judged: PhaseAssessment, bank: Bank) -> Rod:
    found, even, twin = judged.banks, judged.together, judged.turnbuckles
    at = bank.bores.index(bank.drive) / max(len(bank.bores) - 1, 1)
    if found is None or not found.banks:
        return Rod(bank.name, bank.drive, at, twin=twin)
    second = bank.name == found.banks[1]
    widest = max((d.percent for d in found.differences if d.lever_travel > 0), key=abs, default=0.0)
    beyond = (widest if second else -widest) / 100 / judged.record.settings.bank_window
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
        worn=found.cause is Cause.SLACK and not first_to_open,
        lifted=found.cause is Cause.HELD and first_to_open,
        short=found.cause is Cause.RATIO and (found.ratio > 0) == second,
    )


def _turning(judged: PhaseAssessment, turn: Advice, found: BankAssessment) -> tuple[str, tuple[str, ...]]:
    """Which link rod is turned, and how, a step each."""
    bank, twin = judged.record.layout.bank(turn.bank or ""), judged.turnbuckles
    amount, band = flats(abs(turn.flats)), flats_band(found)
    return words.turning(bank.name, bank.drive, amount, band, turn.flats < 0, twin, found.or_bank)


def _looking(found: BankAssessment | None, even: bool, ask: Ask) -> tuple[str, tuple[str, ...]]:
    """What the drawing shows where no link rod is turned."""
    if even:
        shown = words.EVEN
    elif ask:
        shown = words.ASKED[ask]
    else:
        shown = words.SHOWN.get(found.cause, words.UNKNOWN) if found is not None else words.UNKNOWN
    return say(shown.title), (say(shown.text),)
