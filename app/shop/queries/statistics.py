"""Across engines: what slips most, how long a sync lasts, how many moves an engine takes, and with which meter.

Every table is plain rows, counts beside every share, since a share of a small number says little. None of it is advice:
two meters may simply have had different engines. People are not compared with each other. Titles and columns are
worded in ``app.wording.office.statistics``.
"""

import time
from collections import defaultdict
from collections.abc import Callable, Sequence
from contextlib import suppress
from dataclasses import dataclass
from datetime import datetime
from enum import StrEnum
from statistics import mean, median
from threading import Event
from typing import NamedTuple, TypeVar

from sqlalchemy.orm import aliased
from sqlmodel import Session, col, select

from app.shop.assessment.since_left import Change
from app.shop.assessment.visit_summary import VisitSummary
from app.shop.queries import history_cache
from app.shop.queries.engine_history import changes
from app.shop.reasons import Reason, because
from app.shop.store.database import Database, ShopUnavailableError
from app.shop.store.tables import Practice, Visit
from app.sync.engine.adjusters.registry import adjusters, kind_at
from app.sync.engine.layout import Bypass, Coupler, Layout, OtherScrew, StopScrew
from app.sync.engine.units import MM
from app.sync.estimation.conformity import Conformity
from app.sync.slips.slip_detection import Bore, Slip, SlipVerdict

MOST_ENGINES = 200
"""Engines that are looked at, those worked on last (our judgement)."""
REST = 5.0
"""How long ``remember`` rests after a visit, as a multiple of what that took (our judgement): tablets come first."""
FEWEST = 5
"""With fewer than these nothing is said of a share (our judgement)."""
DAYS_A_MONTH = 365.25 / 12  # by definition, of Julian years
LASTED = ((0, 3), (3, 6), (6, 12), (12, 24), (24, 600))
"""Months between as left and as found, from and to (our judgement)."""

LAST_SPAN = LASTED[-1]  # our judgement, as above

Cell = Reason | str | int | float | None
"""A label as a code with its values, a name, a figure, or None where there is no figure."""


class Slug(StrEnum):
    """The tables. The values are part of their addresses."""

    ADJUSTERS = "adjusters"
    LAYOUTS = "layouts"
    HARDWARE = "hardware"
    LASTS = "lasts"
    MOVES = "moves"
    METERS = "meters"


class Label(StrEnum):
    """What a row is about, where that is neither a name nor a figure."""

    COUPLER = "coupler"
    """``away`` couplers outward from the stop screw."""
    STOP_SCREW = "stop-screw"
    BYPASS_SCREW = "bypass-screw"
    OTHER_SCREW = "other-screw"
    BORE = "bore"
    """The bore itself rather than an adjuster."""
    LINK_ROD = "link-rod"
    SIZE_ESTIMATED = "size-estimated"
    """A bore diameter of ``mm`` that was not measured."""
    SIZE = "size"
    """A measured bore diameter of ``mm``."""
    MONTHS = "months"
    """``low`` to ``high`` months."""
    MORE_MONTHS = "more-months"
    """Over ``low`` months."""


@dataclass(frozen=True, slots=True)
class Table:
    """One table: ``rows`` of as many cells as it has columns, the label first.

    ``bar`` is the column that a plot draws; ``share`` says that it is a part of 1: that of the column ``some`` in the
    column ``of``, or in the sum of ``some`` where ``of`` is 0.
    """

    slug: Slug
    rows: tuple[tuple[Cell, ...], ...]
    bar: int
    share: bool
    of: int = 0
    some: int = 0

    def counts(self, row: Sequence[Cell]) -> tuple[int, int]:
        """How many of how many the share of a row is."""
        of = [row] if self.of else self.rows
        return _count(row[self.some]), sum(_count(one[self.of or self.some]) for one in of)


class Interval(NamedTuple):
    """A share with the interval that holds the true one in 95 of 100 cases."""

    share: float
    low: float
    high: float


def interval(some: int, of: int) -> Interval | None:
    """The share of ``some`` in ``of`` with its Wilson interval (E. B. Wilson, J. Am. Stat. Assoc. 22, 1927); None for
    fewer than ``FEWEST``, which say nothing."""
    if of < FEWEST:
        return None
    from scipy.stats import binomtest  # half a second that only these pages need

    low, high = binomtest(some, of).proportion_ci(0.95, "wilson")
    return Interval(some / of, float(low), float(high))


def standing_out(table: Table) -> tuple[Cell, ...] | None:
    """The row whose share is surely the highest: its interval lies above all others. None where intervals overlap."""
    told = [(found, row) for row in table.rows if (found := interval(*table.counts(row))) is not None]
    first = max(told, key=lambda pair: pair[0].low, default=None)
    if first is None or len(told) < 2 or any(found.high >= first[0].low for found, row in told if row is not first[1]):
        return None
    return first[1]


def _count(cell: Cell) -> int:
    return cell if isinstance(cell, int) else 0


def gather(session: Session, site: int | None = None) -> list[tuple[VisitSummary, ...]]:
    """The visits of the engines worked on last, oldest first within each engine; none of those to train on.

    With ``site`` those of the engines whose newest visit was there, wherever they were before.
    """
    rows = _looked_at(session, site)
    visits = history_cache.of_visits(session, rows)
    engines: dict[int, list[VisitSummary]] = defaultdict(list)
    for row, visit in zip(rows, visits, strict=True):
        engines[row.engine_id].append(visit)
    return [tuple(one) for one in engines.values()]


def remember(shop: Database, stop: Event) -> None:
    """Work out what counts of those visits, one after the other, until all are or ``stop`` is set.

    Hundreds of them take many seconds, for which the first to ask for the tables after a start would wait, and all
    tablets with it. Ends where the records cannot be read.
    """
    with suppress(ShopUnavailableError):
        with shop.reading() as session:
            rows = _looked_at(session, None)
        for row in rows:
            begun = time.perf_counter()
            with shop.reading() as session:
                history_cache.of_visits(session, [row])
            if stop.wait(REST * (time.perf_counter() - begun)):
                return


def _looked_at(session: Session, site: int | None) -> Sequence[Visit]:
    later = aliased(Visit)
    newer = select(later).where(col(later.engine_id) == Visit.engine_id, col(later.id) > col(Visit.id)).exists()
    newest = select(Visit.engine_id).where(~newer, col(Visit.engine_id).not_in(select(Practice.engine_id)))
    if site is not None:
        newest = newest.where(Visit.site_id == site)
    ids = session.exec(newest.order_by(col(Visit.id).desc()).limit(MOST_ENGINES)).all()
    return session.exec(
        select(Visit).where(col(Visit.engine_id).in_(ids)).order_by(col(Visit.engine_id), col(Visit.number))
    ).all()


def tables(engines: Sequence[Sequence[VisitSummary]]) -> tuple[Table, ...]:
    """Every table over these engines, each given as its visits, oldest first."""
    changed = [change for visits in engines for change in changes(visits).values() if change.assessment is not None]
    left = [visit for visits in engines for visit in visits if visit.signed and not visit.mistaken]
    return (
        _adjusters(changed),
        _by(Slug.LAYOUTS, changed, lambda c: layout_name(c.after.layout)),
        _sizes(changed),
        _lasts(changed),
        _moves(left),
        _work(Slug.METERS, left, lambda v: f"{v.meter_name}, {v.unit}"),
    )


def layout_name(layout: Layout) -> str:
    """A layout by its banks: 4 + 4."""
    return " + ".join(str(len(bank.bores)) for bank in layout.banks)


def _named(change: Change) -> Slip | None:
    return change.assessment.named if change.assessment else None


_Place = tuple[Label, int]
"""What a row is about, with its one figure: couplers away from the stop screw, millimeters, or 0 for none."""

Name = TypeVar("Name", str, _Place)


def _adjusters(changed: Sequence[Change]) -> Table:
    """Couplers by how far they are from the stop screw, since numbers differ from engine to engine."""
    asked: dict[_Place, int] = defaultdict(int)
    slips: dict[_Place, list[Slip]] = defaultdict(list)
    for change in changed:
        layout = change.after.layout
        for place in {_place(layout, one) for one in adjusters(layout) if kind_at(layout, one).at_idle}:
            asked[place] += 1
        if (slip := _named(change)) is not None:
            slips[_place(layout, slip.suspect)].append(slip)
    rows = [
        (_label(place), *_slipped_of(slips[place], asked.get(place, len(changed))))
        for place in sorted({*asked, *slips}, key=lambda n: (-len(slips[n]) / max(1, asked.get(n, 1)), n))
    ]
    return Table(Slug.ADJUSTERS, tuple(rows), bar=3, share=True, of=1, some=2)


def _slipped_of(slips: Sequence[Slip], asked: int) -> tuple[Cell, ...]:
    size = round(100 * mean(abs(s.change) for s in slips), 1) if slips else None
    return asked, len(slips), _share(len(slips), asked), size


def _place(layout: Layout, suspect: object) -> _Place:
    match suspect:
        case Coupler(_, far):
            bank = layout.bank_of(far)
            return Label.COUPLER, abs(bank.bores.index(far) - bank.bores.index(bank.stop))
        case StopScrew():
            return Label.STOP_SCREW, 0
        case Bypass():
            return Label.BYPASS_SCREW, 0
        case OtherScrew():
            return Label.OTHER_SCREW, 0
        case Bore():
            return Label.BORE, 0
    return Label.LINK_ROD, 0


def _label(place: _Place) -> Reason:
    label, figure = place
    match label:
        case Label.COUPLER:
            return because(label, away=figure)
        case Label.SIZE | Label.SIZE_ESTIMATED:
            return because(label, mm=figure)
    return because(label)


def _by(slug: Slug, changed: Sequence[Change], name_of: Callable[[Change], str]) -> Table:
    return Table(slug, tuple(_counted(changed, name_of)), bar=3, share=True, of=1, some=2)


def _sizes(changed: Sequence[Change]) -> Table:
    """Returns by bore diameter, measured ones apart from estimates."""
    rows = sorted(_counted(changed, _bore_size), key=lambda row: (row[0][1], row[0][0]))
    return Table(Slug.HARDWARE, tuple((_label(size), *cells) for size, *cells in rows), bar=3, share=True, of=1, some=2)


def _bore_size(change: Change) -> _Place:
    figure = change.after.hardware.bore_diameter
    return Label.SIZE if figure.measured else Label.SIZE_ESTIMATED, round(figure.value / MM)


def _counted(changed: Sequence[Change], name_of: Callable[[Change], Name]) -> list[tuple[Name, int, int, float]]:
    """How many returns each name had, at how many of them something slipped, and their share; in order of the names."""
    counts: dict[Name, list[bool]] = defaultdict(list)
    for change in changed:
        slipped = change.assessment is not None and change.assessment.verdict is SlipVerdict.SLIPPED
        counts[name_of(change)].append(slipped)
    return [(name, len(all_), sum(all_), _share(sum(all_), len(all_))) for name, all_ in sorted(counts.items())]


def _lasts(changed: Sequence[Change]) -> Table:
    """How many came back as even as they left, by the time in between."""
    found: dict[tuple[int, int], list[Change]] = {span: [] for span in LASTED}
    for change in changed:
        months = _days(change.before.opened_at, change.after.opened_at) / DAYS_A_MONTH
        for span in LASTED:
            if span[0] <= months < span[1]:
                found[span].append(change)
    rows = []
    for (low, high), those in found.items():
        still = sum(
            c.after.found is not None and c.after.found.judged.verdict is not Conformity.NOT_EVEN for c in those
        )
        quiet = sum(c.assessment is not None and c.assessment.verdict is SlipVerdict.QUIET for c in those)
        label = (
            because(Label.MORE_MONTHS, low=low)
            if (low, high) == LAST_SPAN
            else because(Label.MONTHS, low=low, high=high)
        )
        rows.append((label, len(those), still, quiet, _share(still, len(those))))
    return Table(Slug.LASTS, tuple(rows), bar=4, share=True, of=1, some=2)


def _moves(left: Sequence[VisitSummary]) -> Table:
    counts: dict[int, int] = defaultdict(int)
    for visit in left:
        counts[len(visit.moves)] += 1
    most = max(counts, default=0)
    rows = tuple((n, counts[n], _share(counts[n], len(left))) for n in range(min(most, 20) + 1))
    return Table(Slug.MOVES, rows, bar=2, share=True, some=1)


def _work(slug: Slug, left: Sequence[VisitSummary], name_of: Callable[[VisitSummary], str]) -> Table:
    groups: dict[str, list[VisitSummary]] = defaultdict(list)
    for visit in left:
        groups[name_of(visit)].append(visit)
    rows: list[tuple[Cell, ...]] = []
    for name, those in sorted(groups.items()):
        spreads = [v.left.spread / v.left.judged.mean for v in those if v.left is not None]
        rows.append(
            (
                name,
                len(those),
                round(mean(len(v.moves) for v in those), 1),
                round(mean(v.rounds for v in those), 1),
                round(100 * median(spreads), 1) if spreads else None,
            )
        )
    return Table(slug, tuple(rows), bar=2, share=False)


def _share(some: int, all_: int) -> float:
    return round(some / all_, 3) if all_ else 0.0


def _days(before: str, after: str) -> float:
    return (datetime.fromisoformat(after) - datetime.fromisoformat(before)).total_seconds() / 86400
