"""The handover sheet: what the customer is told of a visit, gathered from its record."""

from collections.abc import Mapping
from dataclasses import dataclass, field

import segno
from markupsafe import Markup

from app.shop.assessment.assessment import Assessment
from app.shop.commands.corrections import issue_of
from app.shop.cross_check.weighing import CrossCheck
from app.shop.procedure.limits import NOTHING_WRONG, Stop, StopCause, ended_stops
from app.shop.procedure.phases import BANK_BALANCE
from app.shop.queries.hours import JobTime
from app.shop.queries.search import tag_of
from app.shop.record.entries import StopEndEntry, WaiverEntry
from app.shop.record.meter_studies import NOT_STUDIED, Provenance
from app.shop.record.visit_record import VisitRecord
from app.sync.engine.units import REV_PER_MIN
from app.sync.estimation.evenness import RoundResult
from app.web.presenters.filters import moment
from app.web.presenters.history.history import where
from app.web.presenters.paper.causes_found import CausesFound, causes_found
from app.web.presenters.paper.chart import Chart, chart_of
from app.web.presenters.paper.issues import issued, replaces
from app.web.presenters.paper.left_code import left_code
from app.web.presenters.paper.record_page import RecordPage, record_page
from app.web.presenters.paper.result import result_of
from app.web.presenters.paper.settings_left import NextCheck, hardware, next_check, read_at, settings
from app.wording.language import to_the_customer
from app.wording.message import Message, say
from app.wording.names import begin
from app.wording.office import handover, paper
from app.wording.quantities import feeler as feeler_words
from app.wording.quantities import listed, unit_of
from app.wording.work.adjusters import adjusted
from app.wording.work.bank_balance import percent as percent_apart
from app.wording.work.phases import phase_title
from app.wording.work.requirements import cause_in_full
from app.wording.work.safety import SafetyWords
from app.wording.work.visit import stop_figure


@dataclass(frozen=True, slots=True)
class Waived:
    """A phase that was waived, and what that may mean."""

    phase: str
    waiver: WaiverEntry
    may_mean: str


@dataclass(frozen=True, slots=True)
class Printing:
    """What a sheet needs to know besides its visit: the head of the shop, the names behind initials, where the figures
    of the meter come from, the time of the job, what its cross-check found, and when it is printed."""

    at: str
    shop_name: str = ""
    shop_address: tuple[str, ...] = ()
    people: Mapping[str, str] = field(default_factory=dict)
    meter: Provenance = NOT_STUDIED
    job: JobTime | None = None
    cross_check: CrossCheck | None = None


@dataclass(frozen=True, slots=True)
class Sheet:
    """Everything on the handover sheet: its first page, then its ``record`` with the result in the shop's words."""

    printing: Printing
    unit: str
    mark: str
    headline: str
    evidence: str
    chart: Chart | None
    done: tuple[str, ...]
    causes: CausesFound
    read_at: str
    next_check: NextCheck
    see_record: str
    replaces: str
    warnings: tuple[SafetyWords, ...]
    qr: Markup
    record: RecordPage
    title: str
    sentence: str
    banks: tuple[str, ...]
    settings: tuple[tuple[str, str], ...]
    initials: str
    worker: str
    waived: tuple[Waived, ...]
    stops: tuple[str, ...]
    hardware: str
    issued: tuple[str, ...]
    foot: str


@to_the_customer()
def sheet_of(assessment: Assessment, printing: Printing) -> Sheet:
    """The sheet of a visit."""
    record, as_left = assessment.record, assessment.as_left
    result, causes = result_of(assessment), causes_found(printing.cross_check)
    tightened = record.read_after_tightening
    return Sheet(
        printing=printing,
        unit=unit_of(record.meter).name,
        mark=result.mark,
        headline=handover.headline(as_left, tightened),
        evidence=handover.evidence(as_left, _came_in(assessment), tightened, record.settings.pass_probability),
        chart=chart_of(record.layout, assessment.as_found, as_left),
        done=(*_done(record), *causes.repaired),
        causes=causes,
        read_at=read_at(record),
        next_check=next_check(record),
        see_record=_see_record(record),
        replaces=replaces(record),
        warnings=paper.warnings(),
        qr=qr_code(left_code(assessment)),
        record=record_page(assessment, printing.meter, printing.job),
        title=result.title,
        sentence=result.sentence,
        banks=_banks(assessment),
        settings=settings(record),
        initials=_initials(record, printing.people),
        worker=printing.people.get(record.visit.by, record.visit.by),
        waived=tuple(Waived(phase_title(o.phase), o, say(handover.MAY_MEAN[o.phase])) for o in record.overrides),
        stops=_ended_stops(record),
        hardware=hardware(record),
        issued=issued(record),
        foot=_foot(record, printing.at),
    )


def _came_in(assessment: Assessment) -> RoundResult | None:
    """How even the engine was found, where that is another round than it was left by."""
    found, left = assessment.record.as_found(), assessment.record.as_left()
    return assessment.as_found if found is not None and found is not left else None


def _done(record: VisitRecord) -> tuple[str, ...]:
    """What was done, for the customer: no adjuster by its number or letter, each kind once."""
    said = [say(handover.SET_COLD)] if record.cold_settings else []
    for kind in dict.fromkeys(move.kind for move in record.moves):
        places = dict.fromkeys(where(move) for move in record.moves if move.kind == kind)
        if kind in handover.DONE:
            said.append(say(handover.DONE[kind], count=len(places)))
        else:
            said.append(say(handover.DONE_OTHERWISE, what=", ".join(adjusted((kind, place) for place in places))))
    said = said or [say(handover.MEASURED_ONLY)]
    if record.read_after_tightening and record.moves:
        said.append(say(handover.READ_AGAIN, count=len(record.layout.bores)))
    return tuple(said)


def _see_record(record: VisitRecord) -> str:
    """That a phase was waived or the engine stopped, in a line; empty for neither."""
    said = []
    if record.overrides:
        phases = dict.fromkeys(phase_title(one.phase) for one in record.overrides)
        said.append(say(handover.WAIVED, phases=listed(list(phases))))
    mistyped = sum(end.cause in NOTHING_WRONG for end in record.stop_ends)
    if stops := len(record.stop_ends) - mistyped:
        said.append(say(handover.STOPPED_ONCE, count=stops))
    if mistyped:
        said.append(say(handover.MISTYPED_ONCE, count=mistyped))
    return " ".join([say(handover.SEE_RECORD), *said[:1], *map(begin, said[1:])]) if said else ""


def _foot(record: VisitRecord, at: str) -> str:
    message = handover.FOOT if record.sign_off else handover.FOOT_OF_DRAFT
    values = {"serial": record.engine.serial, "number": record.visit.number, "issue": issue_of(record)}
    return say(message, at=moment(at), tag=tag_of(record.engine.key), **values)


def qr_code(text: str) -> Markup:
    """A text as a QR code, drawn with the quiet zone of four modules that ISO/IEC 18004 asks for."""
    return Markup(segno.make(text, error="m").svg_inline(scale=3, border=4, omitsize=True))


def _banks(assessment: Assessment) -> tuple[str, ...]:
    """How the banks differ at part throttle, a sentence an opening; nothing for one bank."""
    record = assessment.record
    if len(record.layout.banks) < 2:
        return ()
    found = assessment.of(BANK_BALANCE).banks
    if found is None:
        return (say(paper.NO_PART_THROTTLE),)
    unit, (first, second) = unit_of(record.meter), found.banks
    speeds = {one.lever: kept.speed for one in record.rounds if (kept := record.speed_in(one))}
    told = []
    for one in found.differences[1:]:
        sentence = say(
            paper.PART_THROTTLE_FROM_OPEN if one.from_above else paper.PART_THROTTLE,
            first=first,
            second=second,
            difference=unit.change(one.difference),
            unit=unit.name,
            percent=percent_apart(one),
            feeler=feeler_words(one.lever_travel, record.units),
        )
        speed = speeds.get((one.lever_travel, one.from_above))
        if speed is not None:
            sentence += " " + say(paper.PART_THROTTLE_SPEED, speed=round(speed / REV_PER_MIN))
        told.append(sentence)
    return tuple(told)


def _initials(record: VisitRecord, people: Mapping[str, str]) -> str:
    """The names behind the initials on the sheet, as far as the shop's list has them."""
    made = (*record.cold_settings, *record.moves)
    used = [record.visit.by, *(c.by for c in record.checks.values()), *(m.by for m in made)]
    used += [*(o.by for o in record.overrides), *(e.by for e in record.stop_ends), *(c.by for c in record.corrections)]
    said = (say(paper.NAMED, initials=one, name=people[one]) for one in dict.fromkeys(used) if one in people)
    return ", ".join(said)


def _ended_stops(record: VisitRecord) -> tuple[str, ...]:
    """Every stop in full: the figures beyond a limit, what caused them, what was done, by whom."""
    return tuple(
        say(
            _how_it_ended(end),
            figures=", ".join(_stop_figure(stop, record) for stop in stops),
            at=moment(stops[0].check.at if stops else end.at),
            cause=cause_in_full(end.cause, end.cause_text),
            remedy=end.remedy.rstrip("."),
            by=end.by,
            ended=moment(end.at),
        )
        for end, stops in ended_stops(record)
    )


def _how_it_ended(end: StopEndEntry) -> Message:
    """What is printed of a stop: its remedy, or that the figure was wrong."""
    if end.remedy:
        return paper.STOPPED
    return paper.NEVER_STOPPED if end.cause == StopCause.RAN_ON else paper.STOPPED_MISTYPED


def _stop_figure(stop: Stop, record: VisitRecord) -> str:
    what, figure = stop_figure(stop, record.units)
    return say(paper.STOP_FIGURE, what=what, figure=figure)
