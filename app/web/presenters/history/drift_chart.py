"""The drift charts: each bore and each bank over the visits, as found and as left, with what else changed marked."""

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field
from functools import partial

from app.shop.assessment.since_left import Change
from app.shop.assessment.visit_summary import RoundSummary, VisitSummary
from app.shop.queries.engine_history import repeatability
from app.shop.record.rounds import seconds
from app.sync.slips.slip_hypotheses import moves
from app.web.presenters.history.drift_trace import Point, Trace, trace
from app.wording import names
from app.wording.message import Message, say
from app.wording.office import slips
from app.wording.quantities import signed

_Height = Callable[[RoundSummary], float | None]
"""How far one end of a visit is from the mean, a fraction of it; None where it was not read."""

OTHER_AIR = 0.02
"""Change of ln(flow) by air and speed from which a visit is marked (this program's choice: one repeatability)."""


@dataclass(frozen=True, slots=True)
class DriftChart:
    """One bore, or one bank, over the visits: a word for it, bold when it ``drifts``, and what it says aloud."""

    label: str
    word: str
    trace: Trace
    drifts: bool
    name: str


@dataclass(frozen=True, slots=True)
class DriftBank:
    """The charts of one bank: its bores front first, and the bank itself against the mean of all bores."""

    name: str
    bores: tuple[DriftChart, ...]
    whole: DriftChart | None


@dataclass(frozen=True, slots=True)
class DriftCharts:
    """All charts of an engine, placed as in the engine, and the letters that occur with what they mean.

    ``difference`` is that of the two banks, None where there are not two.
    """

    banks: tuple[DriftBank, ...]
    difference: DriftChart | None = None
    letters: Mapping[str, str] = field(default_factory=dict)


def drift_charts(
    visits: Sequence[VisitSummary], changed: Mapping[int, Change], shown: slice = slice(None)
) -> DriftCharts | None:
    """The charts of those ``shown`` of the visits that were read, oldest first; None where there are none.

    What the words beside them say is of all visits.
    """
    read = [visit for visit in visits if visit.found or visit.left]
    drawn = [visit for visit in visits[shown] if visit.found or visit.left]
    if not drawn:
        return None
    first = read.index(drawn[0])
    last = first + len(drawn)
    layout = read[-1].layout
    marks = _marks(read, changed)
    days = {visit.visit_id: names.month(visit.opened_at) for visit in read}
    newest = read[-1].found or read[-1].left
    window = newest.judged.window if newest else 0.0
    band = window * repeatability(newest, read[-1].meter) if newest else 0.0
    slipped = _slipped(changed)

    def chart(
        label: str,
        aloud: Message,
        height: _Height,
        bore: int | None = None,
        axis: bool = False,
        apart: bool = False,
    ) -> DriftChart:
        points = tuple(_point(visit, height, marks[visit.visit_id], days[visit.visit_id]) for visit in read)
        message, drifts = (slipped[bore], True) if bore in slipped else _word(points, window, band, bool(slipped))
        if apart:
            message, drifts = _word_of_banks(points, window), False
        word = say(message)
        here = points[first:last]
        name = say(aloud, bore=bore, bank=label, word=word, visits=_aloud(here))
        return DriftChart(label, word, trace(here, window, band, axis), drifts, name)

    banks = []
    for bank in layout.banks:
        bores = tuple(
            chart(str(b), slips.CHART_OF_BORE, partial(_bore, b), b, axis=b == bank.bores[0]) for b in bank.bores
        )
        whole = None
        if len(layout.banks) > 1:
            whole = chart(bank.name, slips.CHART_OF_BANK, partial(_bank, bank.name))
        banks.append(DriftBank(bank.name, bores, whole))
    difference = None
    if len(layout.banks) == 2:
        one, other = (bank.name for bank in layout.banks)
        label = say(slips.BANK_LESS_BANK, one=one, other=other)
        difference = chart(label, slips.CHART_OF_DIFFERENCE, partial(_difference, one, other), axis=True, apart=True)
    letters = {k: say(v) for k, v in slips.LETTERS.items() if any(k in marks[one.visit_id] for one in drawn)}
    return DriftCharts(tuple(banks), difference, letters)


def _point(visit: VisitSummary, height: _Height, marks: str, day: str) -> Point:
    return Point(
        visit.number,
        height(visit.found) if visit.found else None,
        height(visit.left) if visit.left else None,
        marks,
        day,
        seconds(visit.opened_at),
    )


def one_way(points: Sequence[Point], band: float) -> int:
    """1 or -1 when every step in use opened or closed, at least twice, and further than the meter repeats; else 0.

    This program's own rule for a word beside the chart; what slipped, and how likely that is, comes from ``app.sync``.
    """
    steps = _in_use(points)
    if len(steps) < 2 or abs(sum(steps)) <= band:
        return 0
    if all(step > 0 for step in steps):
        return 1
    return -1 if all(step < 0 for step in steps) else 0


def _in_use(points: Sequence[Point]) -> list[float]:
    """What changed between each visit as left and the next as found."""
    steps = []
    left: float | None = None
    for point in points:
        if point.found is not None and left is not None:
            steps.append(point.found - left)
        ends = (point.left, point.found, left)
        left = next((end for end in ends if end is not None), None)
    return steps


def _slipped(changed: Mapping[int, Change]) -> dict[int | None, Message]:
    """The bores that a named slip moved, with the words for the way they went the last time."""
    words: dict[int | None, Message] = {}
    for change in changed.values():
        if change.assessment is not None and (named := change.assessment.named) is not None:
            for bore in moves(change.after.layout, named.suspect):
                words[bore] = slips.SLIPPED_OPEN if named.change > 0 else slips.SLIPPED_CLOSED
    return words


def _word(points: Sequence[Point], window: float, band: float, others_slipped: bool) -> tuple[Message, bool]:
    """Where others slipped, the mean went with them, and a bore that did not move seems to go the other way."""
    if not others_slipped and (way := one_way(points, band)):
        return (slips.KEEPS_OPENING if way > 0 else slips.KEEPS_CLOSING), True
    newest = next((p.found if p.left is None else p.left for p in reversed(points)), None)
    if newest is not None and abs(newest) > window:
        return (slips.IS_OPEN if newest > 0 else slips.IS_CLOSED), False
    return (slips.STEADY if _in_use(points) else slips.NOT_COMPARED), False


def _word_of_banks(points: Sequence[Point], window: float) -> Message:
    newest = next((p.found if p.left is None else p.left for p in reversed(points)), None)
    if newest is not None and abs(newest) > window:
        return slips.BANKS_APART
    return slips.STEADY if _in_use(points) else slips.NOT_COMPARED


def _aloud(points: Sequence[Point]) -> str:
    """The last six visits in words, for who does not see the chart."""
    said = []
    for point in points[-6:]:
        ends = {
            name: signed(100 * value, 0)
            for name, value in (("found", point.found), ("left", point.left))
            if value is not None
        }
        if ends:
            one = slips.FOUND_ONLY if "found" in ends else slips.LEFT_ONLY
            said.append(say(slips.FOUND_AND_LEFT if len(ends) > 1 else one, visit=point.visit, **ends))
    return "; ".join(said)


def _bore(bore: int, stand: RoundSummary) -> float | None:
    found = next((s for s in stand.judged.standings if s.bore == bore), None)
    return found.share if found else None


def _bank(name: str, stand: RoundSummary) -> float | None:
    return stand.judged.bank_shares.get(name)


def _difference(one: str, other: str, stand: RoundSummary) -> float | None:
    shares = stand.judged.bank_shares
    return shares[one] - shares[other] if one in shares and other in shares else None


def _marks(read: Sequence[VisitSummary], changed: Mapping[int, Change]) -> dict[int, str]:
    marks = {}
    before: VisitSummary | None = None
    for visit in read:
        letters = ""
        change = changed.get(visit.visit_id)
        if before is not None and before.fitting_id != visit.fitting_id:
            letters += "H"
        if before is not None and before.meter_id != visit.meter_id:
            letters += "M"
        if change is not None and change.common is not None and abs(change.common) > OTHER_AIR:
            letters += "A"
        if change is not None and change.other_intake:
            letters += "F"
        marks[visit.visit_id] = letters
        before = visit
    return marks
