"""Across engines: what slips most, how long a sync lasts, how many moves an engine takes, by meter and by person.

Every table is plain rows, counts beside every share: a share of few says little, and a person sees how few. Nothing
here is an advice; two people or two meters may simply have had other engines.
"""

from collections import defaultdict
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from datetime import datetime
from statistics import mean, median

from sqlmodel import Session, col, func, select

from app.shop.queries import history_cache
from app.shop.queries.engine_history import Change, VisitSummary, changes
from app.shop.store.tables import Practice, Visit
from app.sync.engine.layout import Adjuster, Bypass, Coupler, Layout, StopScrew
from app.sync.engine.units import MM
from app.sync.slips.slip_detection import Bore, Slip

MOST_ENGINES = 200
"""Engines that are looked at, those worked on last."""
DAYS_A_MONTH = 30.44
LASTED = ((0, 3), (3, 6), (6, 12), (12, 24), (24, 600))
"""Months between as left and as found, from and to."""

Cell = str | int | float


@dataclass(frozen=True, slots=True)
class Table:
    """One table: ``columns`` with their units, ``rows`` of as many cells.

    ``bar`` is the column that a plot draws; ``share`` says that it is a part of 1, ``of`` which column counts what it
    is a share of (0 when that is the same for all).
    """

    slug: str
    title: str
    columns: tuple[str, ...]
    rows: tuple[tuple[Cell, ...], ...]
    bar: int
    share: bool
    of: int = 0
    note: str = ""


def gather(session: Session) -> list[tuple[VisitSummary, ...]]:
    """The visits of the engines worked on last, oldest first within each engine; none of those to practise on."""
    newest = func.max(Visit.id)
    real = select(Visit.engine_id).where(col(Visit.engine_id).not_in(select(Practice.engine_id)))
    latest = real.group_by(col(Visit.engine_id)).order_by(newest.desc()).limit(MOST_ENGINES)
    ids = session.exec(latest).all()
    rows = session.exec(
        select(Visit).where(col(Visit.engine_id).in_(ids)).order_by(col(Visit.engine_id), col(Visit.number))
    ).all()
    visits = history_cache.of_visits(session, rows)
    engines: dict[int, list[VisitSummary]] = defaultdict(list)
    for row, visit in zip(rows, visits, strict=True):
        engines[row.engine_id].append(visit)
    return [tuple(one) for one in engines.values()]


def tables(engines: Sequence[Sequence[VisitSummary]]) -> tuple[Table, ...]:
    """Every table over these engines, each given as its visits, oldest first."""
    changed = [change for visits in engines for change in changes(visits).values() if change.assessment is not None]
    left = [visit for visits in engines for visit in visits if visit.signed]
    return (
        _adjusters(changed),
        _by("layouts", "Which layouts slip most", "Layout", changed, lambda c: layout_name(c.after.layout)),
        _by("hardware", "Which bore sizes slip most", "Bore [mm]", changed, _bore_size),
        _lasts(changed),
        _moves(left),
        _work("meters", "Moves a visit, by meter", "Meter", left, lambda v: f"{v.meter_name}, {v.unit}"),
        _work("people", "Moves a visit, by person", "Initials", left, lambda v: v.by),
    )


def layout_name(layout: Layout) -> str:
    """A layout by its banks: 4 + 4."""
    return " + ".join(str(len(bank.bores)) for bank in layout.banks)


def _named(change: Change) -> Slip | None:
    return change.assessment.named if change.assessment else None


def _adjusters(changed: Sequence[Change]) -> Table:
    """Couplers by how far they are from the stop screw, since numbers differ from engine to engine."""
    asked: dict[str, int] = defaultdict(int)
    slips: dict[str, list[Slip]] = defaultdict(list)
    for change in changed:
        layout = change.after.layout
        stops: list[Adjuster] = [StopScrew(bank.name) for bank in layout.banks]
        for name in {_place(layout, one) for one in (*layout.couplers(), *layout.bypass_screws, *stops)}:
            asked[name] += 1
        if (slip := _named(change)) is not None:
            slips[_place(layout, slip.suspect)].append(slip)
    rows = [
        (name, *_slipped_of(slips[name], asked.get(name, len(changed))))
        for name in sorted({*asked, *slips}, key=lambda n: (-len(slips[n]) / max(1, asked.get(n, 1)), n))
    ]
    return Table(
        "adjusters",
        "Which couplers and screws slip most",
        ("Adjuster", "Returns that had one", "Slipped", "Share", "Mean size [% of flow]"),
        tuple(rows),
        bar=3,
        share=True,
        of=1,
        note="A coupler is counted by its place outward from the stop screw. Slipped: named at a return, with the "
        "odds that the engine's page shows.",
    )


def _slipped_of(slips: Sequence[Slip], asked: int) -> tuple[Cell, ...]:
    size: Cell = round(100 * mean(abs(s.change) for s in slips), 1) if slips else ""
    return asked, len(slips), _share(len(slips), asked), size


def _place(layout: Layout, suspect: object) -> str:
    match suspect:
        case Coupler(_, far):
            bank = layout.bank_of(far)
            away = abs(bank.bores.index(far) - bank.bores.index(bank.stop))
            return f"coupler {away} from the stop screw"
        case StopScrew():
            return "stop screw"
        case Bypass():
            return "bypass screw"
        case Bore():
            return "bore itself"
    return "link"


def _by(slug: str, title: str, what: str, changed: Sequence[Change], name_of: Callable[[Change], str]) -> Table:
    counts: dict[str, list[bool]] = defaultdict(list)
    for change in changed:
        counts[name_of(change)].append(change.assessment is not None and change.assessment.verdict == "slipped")
    rows = tuple((name, len(all_), sum(all_), _share(sum(all_), len(all_))) for name, all_ in sorted(counts.items()))
    return Table(slug, title, (what, "Returns", "Something slipped", "Share"), rows, bar=3, share=True, of=1)


def _bore_size(change: Change) -> str:
    figure = change.after.hardware.bore_diameter
    return f"{figure.value / MM:.0f}{'' if figure.measured else ' (estimate)'}"


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
        still = sum(c.after.found is not None and c.after.found.judged.verdict != "not even" for c in those)
        quiet = sum(c.assessment is not None and c.assessment.verdict == "quiet" for c in those)
        name = f"{low} to {high} months" if high < 600 else f"over {low} months"
        rows.append((name, len(those), still, quiet, _share(still, len(those))))
    return Table(
        "lasts",
        "How long a sync lasts",
        ("Since as left", "Returns", "Not out of the window", "Nothing slipped", "Share not out of the window"),
        tuple(rows),
        bar=4,
        share=True,
        of=1,
        note="Engines that never came back are not in it: most of those may be well.",
    )


def _moves(left: Sequence[VisitSummary]) -> Table:
    counts: dict[int, int] = defaultdict(int)
    for visit in left:
        counts[len(visit.moves)] += 1
    most = max(counts, default=0)
    rows = tuple((n, counts[n], _share(counts[n], len(left))) for n in range(min(most, 20) + 1))
    return Table("moves", "How many moves a visit takes", ("Moves", "Visits", "Share"), rows, bar=2, share=True)


def _work(
    slug: str, title: str, what: str, left: Sequence[VisitSummary], name_of: Callable[[VisitSummary], str]
) -> Table:
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
                round(100 * median(spreads), 1) if spreads else "",
            )
        )
    columns = (what, "Visits", "Moves a visit", "Rounds a visit", "Median spread as left [% of mean]")
    return Table(slug, title, columns, tuple(rows), bar=2, share=False)


def _share(some: int, all_: int) -> float:
    return round(some / all_, 3) if all_ else 0.0


def _days(before: str, after: str) -> float:
    return (datetime.fromisoformat(after) - datetime.fromisoformat(before)).total_seconds() / 86400
