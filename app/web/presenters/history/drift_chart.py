"""The drift charts: each bore and each bank over the visits, as found and as left, with what else changed marked."""

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field, replace
from functools import lru_cache

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
    read = tuple(visit for visit in visits if visit.found or visit.left)
    drawn = [visit for visit in visits[shown] if visit.found or visit.left]
    if not drawn:
        return None
    first = read.index(drawn[0])
    layout = read[-1].layout
    marks = _marks(drawn, changed, read[first - 1] if first else None)
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
        own: bool = False,
    ) -> DriftChart:
        past = _past(read[:-1], height).then(*height.ends(read[-1]))
        message, drifts = (slipped[bore], True) if bore in slipped else _word(past, window, band, bool(slipped), own)
        if apart:
            message, drifts = _word_of_banks(past, window), False
        word = say(message)
        here = tuple(_point(visit, height, marks[visit.visit_id]) for visit in drawn)
        name = say(aloud, bore=bore, bank=label, word=word, visits=_aloud(here))
        return DriftChart(label, word, trace(here, window, band, axis), drifts, name)

    banks = []
    for bank in layout.banks:
        bores = tuple(
            chart(str(b), slips.CHART_OF_BORE, _Height(_bore, (b,)), b, axis=b == bank.bores[0]) for b in bank.bores
        )
        whole = None
        if len(layout.banks) > 1:
            own = not slipped.keys().isdisjoint(bank.bores)
            whole = chart(bank.name, slips.CHART_OF_BANK, _Height(_bank, (bank.name,)), own=own)
        banks.append(DriftBank(bank.name, bores, whole))
    difference = None
    if len(layout.banks) == 2:
        one, other = (bank.name for bank in layout.banks)
        label = say(slips.BANK_MINUS_BANK, second=other, first=one)
        apart = _Height(_difference, (other, one))
        difference = chart(label, slips.CHART_OF_DIFFERENCE, apart, axis=True, apart=True)
    letters = {k: say(v) for k, v in slips.LETTERS.items() if any(k in marks[one.visit_id] for one in drawn)}
    return DriftCharts(tuple(banks), difference, letters)


def _point(visit: VisitSummary, height: "_Height", marks: str) -> Point:
    found, left = height.ends(visit)
    return Point(visit.number, found, left, marks, names.month(visit.opened_at), seconds(visit.opened_at))


@dataclass(frozen=True, slots=True)
class _Height:
    """How far one end of a visit is from the mean, a fraction of it; None where it was not read. ``places`` is what it
    is asked ``of``."""

    of: Callable[..., float | None]
    places: tuple[int | str, ...]

    def ends(self, visit: VisitSummary) -> tuple[float | None, float | None]:
        """As found and as left."""
        found, left = (self.of(*self.places, end) if end else None for end in (visit.found, visit.left))
        return found, left


@dataclass(frozen=True, slots=True)
class Steps:
    """What changed between each visit as left and the next as found: how many steps, their sum, the ``widest`` either
    way, and whether all of them opened or closed.

    ``left`` is how the newest visit left it, or else found it, or else where it stood before; ``newest`` the same of
    that visit alone.
    """

    count: int = 0
    total: float = 0.0
    opened: bool = True
    closed: bool = True
    left: float | None = None
    newest: float | None = None
    widest: float = 0.0

    def then(self, found: float | None, left: float | None) -> "Steps":
        """With one visit more."""
        newest = found if left is None else left
        after = self.left if newest is None else newest
        if found is None or self.left is None:
            return replace(self, left=after, newest=newest)
        step = found - self.left
        opened, closed = self.opened and step > 0, self.closed and step < 0
        widest = max(self.widest, abs(step))
        return Steps(self.count + 1, self.total + step, opened, closed, after, newest, widest)

    def one_way(self, band: float) -> int:
        """1 or -1 when every step opened or closed, at least twice, and further than the meter repeats; else 0.

        This program's own rule for a word beside the chart; what slipped, and how likely that is, comes from
        ``app.sync``.
        """
        if self.count < 2 or abs(self.total) <= band:
            return 0
        return 1 if self.opened else -1 if self.closed else 0


@lru_cache(maxsize=256)
def _past(read: tuple[VisitSummary, ...], height: _Height) -> Steps:
    """The steps of visits that do not change any more."""
    steps = Steps()
    for visit in read:
        steps = steps.then(*height.ends(visit))
    return steps


def _slipped(changed: Mapping[int, Change]) -> dict[int | None, Message]:
    """The bores that a named slip moved, with the words for the way they went the last time."""
    words: dict[int | None, Message] = {}
    for change in changed.values():
        for slip in reversed(change.assessment.named_with if change.assessment is not None else ()):
            for bore in moves(change.after.layout, slip.suspect):
                words[bore] = slips.SLIPPED_OPEN if slip.change > 0 else slips.SLIPPED_CLOSED
    return words


def _word(past: Steps, window: float, band: float, slipped: bool, own: bool = False) -> tuple[Message, bool]:
    """Where others ``slipped``, the mean went with them, and what did not move seems to go the other way; ``own``: what
    slipped is a part of this."""
    if not slipped and (way := past.one_way(band)):
        return (slips.KEEPS_OPENING if way > 0 else slips.KEEPS_CLOSING), True
    if past.newest is not None and abs(past.newest) > window:
        return (slips.IS_OPEN if past.newest > 0 else slips.IS_CLOSED), False
    return _within(past, window, mean_moved=slipped and not own), False


def _word_of_banks(past: Steps, window: float) -> Message:
    if past.newest is not None and abs(past.newest) > window:
        return slips.BANKS_APART
    return _within(past, window)


def _within(past: Steps, window: float, *, mean_moved: bool = False) -> Message:
    """The word for what stands within the tolerance: steady only where it never moved further than that in use, and
    where the ``mean_moved`` that says nothing."""
    if not past.count:
        return slips.NOT_COMPARED
    return slips.MOVED if past.widest > window and not mean_moved else slips.STEADY


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


def _marks(drawn: Sequence[VisitSummary], changed: Mapping[int, Change], before: VisitSummary | None) -> dict[int, str]:
    """``before`` is the visit read before the first of those drawn."""
    marks = {}
    for visit in drawn:
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
