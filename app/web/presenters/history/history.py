"""An engine's visits as lines to read in a second, and this visit set against how the engine was left."""

import math
from collections import Counter
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from app.shop.assessment.assessment import Assessment
from app.shop.assessment.visit_summary import Moved, VisitSummary
from app.shop.record.entries import MeterEntry, MoveEntry
from app.shop.record.intake import differs
from app.sync.engine.adjusters.registry import kind_of
from app.web.presenters.history.slip_report import SlipReport
from app.wording import names
from app.wording.message import say
from app.wording.office import slips
from app.wording.office.handover import largest
from app.wording.office.intake import different, intake_line
from app.wording.quantities import Unit, unit_named, unit_of
from app.wording.work import adjusters


@dataclass(frozen=True, slots=True)
class VisitCard:
    """One visit: as found and as left the largest difference of a bore from the average, in per cent as the
    sheet has it; empty without such a round.

    ``moves`` counts them and ``moved`` says what they were; ``slipped`` is what had slipped by the time it began.
    ``with_time`` where another visit was opened on that day. ``mistaken`` says why it should never have been opened,
    and ``end`` is where one is ended that has nothing in it.
    """

    number: int
    opened_at: str
    place: str
    why: str
    job: str
    found: str
    left: str
    unit: str
    moves: int
    moved: str
    href: str
    sheet: str
    by: str
    signed: str
    slipped: str
    intake: str
    with_time: bool = False
    mistaken: str = ""
    end: str = ""


@dataclass(frozen=True, slots=True)
class ReadingChange:
    """One bore as it was left, as it was found, and the change, in the meter's unit with its sign."""

    bore: int
    left: str
    found: str
    change: str


@dataclass(frozen=True, slots=True)
class SinceLeft:
    """This visit's first round against the last one left."""

    visit_number: int
    unit: str
    changes: tuple[ReadingChange, ...]
    sentence: str


def history(
    visits: Sequence[VisitSummary], reports: Mapping[int, SlipReport], shown: slice = slice(None)
) -> tuple[VisitCard, ...]:
    """Those ``shown`` of the visits of an engine, newest first. ``reports`` of what slipped by visit id."""
    days = Counter(names.day(visit.opened_at) for visit in visits)
    return tuple(
        _line(visit, reports.get(visit.visit_id), days[names.day(visit.opened_at)] > 1)
        for visit in reversed(visits[shown])
    )


def unit_remembered(visit: VisitSummary) -> Unit:
    """The unit that a visit was read in."""
    return unit_named(visit.unit, visit.step, visit.unit_name)


def since_left(assessment: Assessment) -> SinceLeft | None:
    """What changed since the engine was last left; None before this visit's first round, and on a first visit.

    Another meter, such as a customer's own, has a scale of its own: it is estimated from all bores together and
    corrected, so that the rest is what one bore did against the others.
    """
    record, before = assessment.record, assessment.record.before
    found, left = assessment.as_found, assessment.left_before
    if found is None or before is None or left is None or not _comparable(before.meter, record.meter):
        return None
    then, now = ({one.bore: one.value for one in result.standings} for result in (left, found))
    unit = unit_of(record.meter)
    shared = [bore for bore in record.layout.bores if then.get(bore, 0.0) > 0 and now.get(bore, 0.0) > 0]
    if not shared:
        return None
    scale = 1.0
    if before.meter.ident != record.meter.ident:
        scale = math.exp(sum(math.log(now[b] / then[b]) for b in shared) / len(shared))
        then = {b: scale * then[b] for b in shared}
    changes = tuple(
        ReadingChange(b, unit.show(then[b]), unit.show(now[b]), unit.change(now[b] - then[b])) for b in shared
    )
    most = max(shared, key=lambda b: abs(now[b] - then[b]))
    common = sum(now[b] - then[b] for b in shared) / len(shared)
    other_meter = before.meter.ident != record.meter.ident
    sentence = say(
        slips.CHANGED_MOST_OTHER_METER if other_meter else slips.CHANGED_MOST,
        bore=most,
        change=unit.change(now[most] - then[most]),
        common=unit.change(common),
        unit=unit.name,
        scale=f"{scale:.2f}",
    )
    if differs(before.intake, record.intake):
        sentence = f"{sentence} {different(before.intake, record.intake)}"
    return SinceLeft(before.visit.number, unit.name, changes, sentence)


def _comparable(one: MeterEntry, other: MeterEntry) -> bool:
    return (one.quantity, one.absolute) == (other.quantity, other.absolute)


def _line(visit: VisitSummary, slip: SlipReport | None, with_time: bool) -> VisitCard:
    here = f"/visits/{visit.visit_id}"
    return VisitCard(
        number=visit.number,
        opened_at=visit.opened_at,
        place=names.place(visit.place),
        why=visit.why,
        job=visit.job,
        found=largest(visit.found.judged) if visit.found else "",
        left=largest(visit.left.judged) if visit.left else _without_a_round(visit),
        unit=visit.unit_name,
        moves=len(visit.moves),
        moved=_moved(visit),
        href=f"{here}/heat-soaked-recheck" if visit.signed else here,
        sheet=f"{here}/sheet" if visit.signed and not visit.mistaken else "",
        by=visit.by,
        signed=visit.signed,
        slipped=slip.title if slip else "",
        intake=intake_line(visit.intake),
        with_time=with_time,
        mistaken=visit.mistaken,
        end=f"{here}/sign-off#mistaken" if visit.untouched else "",
    )


def _without_a_round(visit: VisitSummary) -> str:
    """What stands in the place of how an engine was left; empty for a visit that should never have been opened."""
    if visit.mistaken:
        return ""
    return say(slips.NOT_READ if visit.signed else slips.IN_PROGRESS)


def _moved(visit: VisitSummary) -> str:
    """What was adjusted, each once: couplers 2–3, 3–4, stop screw A."""
    moves = sorted(visit.moves, key=lambda move: (move.bank or "", move.near or 0))
    return ", ".join(adjusters.adjusted((move.kind, where(move)) for move in moves))


def where(move: Moved | MoveEntry) -> str:
    """The letter or numbers of what was adjusted: `A`, `2–3`, `4`."""
    if move.far is not None:
        return f"{move.near}–{move.far}"
    return str(move.near) if kind_of(move.kind).sits == "bore" else move.bank or ""
