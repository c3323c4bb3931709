"""What an engine's page says of its past: visits, what slipped before each, the charts, what to check first."""

from collections import Counter
from collections.abc import Mapping, Sequence
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
from app.web.presenters.lists import PER_PAGE, Part
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
    """What an engine's page says of its past: ``lines``, ``slips``, newest first, and charts of the visits of one
    ``part``, ``spreads`` round by round of the newest of them; ``tends``, what keeps moving, of all."""

    part: Part
    lines: tuple[VisitCard, ...]
    slips: tuple[Slipped, ...]
    charts: DriftCharts | None
    spreads: tuple[SpreadChart, ...]
    tends: str
    first: str


def past_of(memory: EngineMemory, part: Part, metric: bool = False) -> Past:
    """A part of the past of an engine, from its memory; gaps in millimeters where ``metric``."""
    visits, changed = memory.visits, changes(memory.visits)
    last = len(visits) - part.first
    shown = slice(max(0, last - PER_PAGE), last)
    slips_shown = {
        visit.visit_id: _slipped(changed, visit.visit_id, metric)
        for visit in reversed(visits[shown])
        if visit.visit_id in changed
    }
    return Past(
        part=part,
        lines=history(visits, {one: slip.report for one, slip in slips_shown.items()}, shown),
        slips=tuple(slips_shown.values()),
        charts=drift_charts(visits, changed, shown),
        spreads=spread_charts(visits[shown]),
        tends=_tends(visits, list(changed.values())),
        first=_first(visits, changed, metric),
    )


def slipped_before(memory: EngineMemory, visit_id: int, metric: bool = False) -> Slipped | None:
    """What had slipped by the time that visit began; None where there is no earlier one to compare it with."""
    changed = changes(memory.visits)
    return _slipped(changed, visit_id, metric) if visit_id in changed else None


def first_to_check(memory: EngineMemory, metric: bool = False) -> str:
    """What to check first this time; empty before the first visit."""
    return _first(memory.visits, changes(memory.visits), metric)


def _slipped(changed: Mapping[int, Change], visit_id: int, metric: bool) -> Slipped:
    one = changed[visit_id]
    return Slipped(
        one.after.number,
        one.after.opened_at,
        one.before.number,
        slip_report(one, unit_remembered(one.after), metric),
        not one.after.signed,
        f"/visits/{visit_id}/slipped",
        visit_id in list(changed)[-SHOWN:],
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
    found = creep(tuple(changed))
    if found is None or len(changed) < FEWEST or found.adjuster in _named(changed):
        return None
    return found


def _named(changed: Sequence[Change]) -> Counter[Suspect]:
    return Counter(slip.suspect for c in changed if c.assessment for slip in c.assessment.named_with)


def _first(visits: Sequence[VisitSummary], by_visit: Mapping[int, Change], metric: bool) -> str:
    if not visits:
        return ""
    newest, changed = visits[-1], list(by_visit.values())
    if not newest.signed and newest.visit_id in by_visit:
        return _slipped(by_visit, newest.visit_id, metric).report.look
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
