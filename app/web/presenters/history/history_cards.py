"""What an engine's page says of its past: visits, what slipped before each, the charts, what to check first."""

from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass

from app.shop.assessment.since_left import Change
from app.shop.assessment.visit_summary import VisitSummary
from app.shop.queries.engine_history import changes, creep
from app.shop.queries.history_cache import EngineMemory
from app.sync.engine.adjusters.registry import kind_of
from app.sync.engine.layout import Coupler
from app.sync.slips.creep import Creep
from app.sync.slips.slip_detection import Suspect
from app.web.presenters.history.drift_chart import DriftCharts, drift_charts
from app.web.presenters.history.history import VisitCard, history, unit_remembered
from app.web.presenters.history.slip_report import SlipReport, creep_report, slip_report
from app.web.presenters.history.spread_chart import SpreadChart, spread_charts
from app.wording.message import Message, say
from app.wording.names import begin
from app.wording.office import slips
from app.wording.office.slips import suspect_name

SHOWN = 3
"""What slipped is shown with its evidence at this many of the latest returns; each has a page of its own besides."""

FEWEST = 3
"""Visits that it takes to speak of creep."""


@dataclass(frozen=True, slots=True)
class Slipped:
    """What had slipped by the time a visit began."""

    number: int
    opened_at: str
    before: int
    report: SlipReport
    now: bool
    href: str
    shown: bool


@dataclass(frozen=True, slots=True)
class Past:
    """Everything an engine's page says of its past. ``slips`` newest first; ``tends`` is what keeps moving; ``spreads``
    are those of the newest visits, round by round."""

    lines: tuple[VisitCard, ...]
    slips: tuple[Slipped, ...]
    charts: DriftCharts | None
    spreads: tuple[SpreadChart, ...]
    tends: str
    first: str


def past_of(memory: EngineMemory, metric: bool = False) -> Past:
    """The past of an engine, from its memory; gaps in millimeters where ``metric``."""
    changed = changes(memory.visits)
    reports = {one: slip_report(change, unit_remembered(change.after), metric) for one, change in changed.items()}
    slipped = tuple(
        Slipped(
            c.after.number,
            c.after.opened_at,
            c.before.number,
            reports[c.after.visit_id],
            not c.after.signed,
            f"/visits/{c.after.visit_id}/slipped",
            at < SHOWN,
        )
        for at, c in enumerate(reversed(changed.values()))
    )
    ordered = list(changed.values())
    return Past(
        lines=history(memory.visits, reports),
        slips=slipped,
        charts=drift_charts(memory.visits, changed),
        spreads=spread_charts(memory.visits),
        tends=_tends(memory.visits, ordered),
        first=_first(memory.visits, ordered, slipped),
    )


def _tends(visits: Sequence[VisitSummary], changed: Sequence[Change]) -> str:
    """What keeps moving: an adjuster that creeps, or the one that was named most often."""
    if found := _creep(changed):
        told = [one for one in changed if one.assessment is not None and one.same_fitting]
        return creep_report(found, visits[-1].layout, told[min(found.since, len(told) - 1)].after.number)
    named = _named(changed)
    if not named:
        return say(slips.NEVER_SLIPPED) if changed else ""
    suspect, times = named.most_common(1)[0]
    message = slips.SLIPPED_OFTEN if len(changed) > 1 else slips.SLIPPED_ONCE
    return say(message, suspect=begin(suspect_name(suspect)), count=times, visits=len(changed))


def _creep(changed: Sequence[Change]) -> Creep | None:
    """What creeps over several visits without ever having been named at one of them."""
    found = creep(changed)
    if found is None or len(changed) < FEWEST or found.adjuster in _named(changed):
        return None
    return found


def _named(changed: Sequence[Change]) -> Counter[Suspect]:
    return Counter(c.assessment.named.suspect for c in changed if c.assessment and c.assessment.named)


def _first(visits: Sequence[VisitSummary], changed: Sequence[Change], slipped: Sequence[Slipped]) -> str:
    """What to check first this time."""
    if not visits:
        return ""
    newest = visits[-1]
    if not newest.signed and slipped and slipped[0].number == newest.number:
        return slipped[0].report.look
    whys: dict[Suspect, list[Message]] = {}
    if found := _creep(changed):
        whys.setdefault(found.adjuster, []).append(slips.IS_CREEPING)
    if named := _named(changed):
        whys.setdefault(named.most_common(1)[0][0], []).append(slips.SLIPPED_BEFORE)
    for move in reversed([move for visit in visits for move in visit.moves]):
        if kind_of(move.kind).sits == "coupler" and move.near is not None and move.far is not None:
            whys.setdefault(Coupler(move.near, move.far), []).append(slips.RESET_LAST)
            break
    said = [
        say(slips.BECAUSE, suspect=suspect_name(suspect), why=", ".join(say(one) for one in why))
        for suspect, why in whys.items()
    ][:2]
    if not said:
        return say(slips.FIRST_NOTHING)
    if len(said) == 1:
        return say(slips.FIRST_ONE, one=said[0])
    return say(slips.FIRST_TWO, one=said[0], other=said[1])
