"""The stop screen, and the list that is checked before every start."""

from dataclasses import dataclass

from app.shop.assessment.assessment import Assessment
from app.shop.procedure.limits import ITEMS, Stop, StopCause, open_stops
from app.shop.procedure.parts import parts_of
from app.shop.procedure.phases import FIRST_FIRE
from app.shop.procedure.read_order import next_reading
from app.shop.procedure.requirements import Requirement
from app.shop.procedure.running import round_ran_out, run_out, state_of
from app.shop.record.visit_record import VisitRecord
from app.web.presenters.filters import clock
from app.wording.message import say
from app.wording.reasons import in_words
from app.wording.work import visit as words
from app.wording.work.phases import item_label, unit_label
from app.wording.work.reading_page import ENTERED_BY
from app.wording.work.requirements import STOP_CAUSES

OF_HEAT = frozenset({StopCause.THERMOSTAT, StopCause.FAN_OR_AIR})
"""Causes that take no oil pressure away."""


@dataclass(frozen=True, slots=True)
class StopView:
    """One figure beyond a limit: what, how much, what to do now, and who entered it. A figure that
    was mistyped is corrected in the field ``corrected``, in ``unit``."""

    name: str
    figure: str
    sentence: str
    who: str
    corrected: str
    unit: str


@dataclass(frozen=True, slots=True)
class StartTick:
    """One thing to check for a start; ``typed`` where it is ticked, ``problem`` what is wrong with it."""

    slug: str
    label: str
    typed: bool
    problem: str


@dataclass(frozen=True, slots=True)
class StartView:
    """Why the engine counts as stopped, what is checked before its start and once it runs, and what besides ran out."""

    why: str
    before: tuple[StartTick, ...]
    after: tuple[StartTick, ...]
    besides: tuple[str, ...]


def stop_views(record: VisitRecord) -> tuple[StopView, ...]:
    """The stops of a visit that stand open."""
    return tuple(_stop_view(stop, record) for stop in open_stops(record))


def causes(record: VisitRecord) -> list[tuple[str, str]]:
    """The causes that a person chooses from, each with its words: those of heat only where a figure is too hot."""
    hot = any(stop.reason.code is not Requirement.OIL_PRESSURE_LOW for stop in open_stops(record))
    offered = [code for code in StopCause if code is not StopCause.RAN_ON]  # that comes with the right figure
    return [(code, say(STOP_CAUSES[code])) for code in offered if hot or code not in OF_HEAT]


def start_view(assessment: Assessment, ticked: frozenset[str], problems: dict[str, str]) -> StartView | None:
    """The list before a start; None while the engine may be running."""
    record = assessment.record
    why = state_of(record).stands
    if why is None:
        return None
    parts, items = parts_of(record.layout), run_out(record, FIRST_FIRE)
    ticks = [
        (item, StartTick(item.slug, item_label(item, parts), item.slug in ticked, problems.get(item.slug, "")))
        for item in items
    ]
    return StartView(
        in_words(why),
        tuple(tick for item, tick in ticks if item.before_running),
        tuple(tick for item, tick in ticks if not item.before_running),
        tuple(_besides(assessment)),
    )


def _besides(assessment: Assessment) -> list[str]:
    """What a start does not bring back: an open round, and the heat."""
    record, phase = assessment.record, assessment.current
    mine = [one for one in record.rounds if one.row.phase == phase.slug]
    said = []
    if mine and round_ran_out(record, mine[-1]):
        due = next_reading(record, phase)
        said.append(say(words.ROUND_VOID, round=mine[-1].row.number, bore=due.bore))
    if phase.rounds in ("fine", "openings", "last"):
        said.append(say(words.HEAT_AGAIN))
    return said


def _stop_view(stop: Stop, record: VisitRecord) -> StopView:
    name, figure = words.stop_figure(stop, record.units)
    who = say(ENTERED_BY, by=stop.check.by, time=clock(stop.check.at))
    unit = unit_label(ITEMS[stop.check.phase, stop.check.item].unit_in(record.units))
    return StopView(name, figure, in_words(stop.reason), who, f"check-{stop.check.ident}", unit)
