"""What an engine's page says of its past: visits, what slipped before each, the charts, what to look at first."""

from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass

from app.shop.queries.engine_history import Change, VisitSummary, changes, creep
from app.shop.queries.history_cache import EngineMemory
from app.sync.slips.creep import Creep
from app.web.presenters.history.drift_chart import DriftCharts, drift_charts
from app.web.presenters.history.history import VisitLine, history, unit_remembered
from app.web.presenters.history.slip_report import SlipReport, creeping_words, slip_report, suspect_name

SHOWN = 3
"""What slipped is shown with its working at this many of the latest returns; each has a page of its own besides."""

FEWEST = 3
"""Visits that it takes to speak of creep."""


@dataclass(frozen=True, slots=True)
class Slipped:
    """What had slipped by the time a visit began."""

    number: int
    opened_at: str
    before: int
    telling: SlipReport
    now: bool
    href: str
    shown: bool


@dataclass(frozen=True, slots=True)
class Past:
    """Everything an engine's page says of its past. ``slips`` newest first; ``tends`` is what keeps moving."""

    lines: tuple[VisitLine, ...]
    slips: tuple[Slipped, ...]
    charts: DriftCharts | None
    tends: str
    first: str


def past_of(memory: EngineMemory) -> Past:
    """The past of an engine, from its memory."""
    changed = changes(memory.visits)
    tellings = {one: slip_report(change, unit_remembered(change.after)) for one, change in changed.items()}
    slips = tuple(
        Slipped(
            c.after.number,
            c.after.opened_at,
            c.before.number,
            tellings[c.after.visit_id],
            not c.after.signed,
            f"/visits/{c.after.visit_id}/slipped",
            at < SHOWN,
        )
        for at, c in enumerate(reversed(changed.values()))
    )
    ordered = list(changed.values())
    return Past(
        lines=history(memory.visits, tellings),
        slips=slips,
        charts=drift_charts(memory.visits, changed),
        tends=_tends(memory.visits, ordered),
        first=_first(memory.visits, ordered, slips),
    )


def _tends(visits: Sequence[VisitSummary], changed: Sequence[Change]) -> str:
    """What keeps moving: an adjuster that creeps, or the one that was named most often."""
    if found := _creep(changed):
        told = [one for one in changed if one.assessment is not None and one.same_fitting]
        return creeping_words(found, visits[-1].layout, told[min(found.since, len(told) - 1)].after.number)
    named = _named(changed)
    if not named:
        return "Nothing that one visit could tell has slipped so far." if changed else ""
    suspect, times = named.most_common(1)[0]
    often = f"{times} of {len(changed)} visits" if len(changed) > 1 else "the last visit"
    return f"{suspect[:1].upper()}{suspect[1:]} had slipped before {often}."


def _creep(changed: Sequence[Change]) -> Creep | None:
    """What creeps over several visits without ever having been named at one of them."""
    found = creep(changed)
    if found is None or len(changed) < FEWEST or suspect_name(found.adjuster) in _named(changed):
        return None
    return found


def _named(changed: Sequence[Change]) -> Counter[str]:
    return Counter(suspect_name(c.assessment.named.suspect) for c in changed if c.assessment and c.assessment.named)


def _first(visits: Sequence[VisitSummary], changed: Sequence[Change], slips: Sequence[Slipped]) -> str:
    """What to look at first this time."""
    if not visits:
        return ""
    newest = visits[-1]
    if not newest.signed and slips and slips[0].number == newest.number:
        return slips[0].telling.look
    whys: dict[str, list[str]] = {}
    if found := _creep(changed):
        whys.setdefault(suspect_name(found.adjuster), []).append("creeps")
    if named := _named(changed):
        whys.setdefault(named.most_common(1)[0][0], []).append("slipped before")
    if resets := [move for visit in visits for move in visit.moves if move.kind in ("blade", "screw")]:
        whys.setdefault(f"coupler {resets[-1].near}–{resets[-1].far}", []).append("was reset last")
    said = [f"{name}, which {' and '.join(why)}" for name, why in whys.items()]
    if not said:
        return "Nothing stands out. Read a round before anything is turned."
    return f"Read a round before anything is turned; then look at {said[0]}" + (
        f", and at {said[1]}." if len(said) > 1 else "."
    )
