"""The record of the handover sheet, for the workshop: readings, every adjustment, how it was measured and checked."""

from collections.abc import Sequence
from dataclasses import dataclass, replace
from datetime import datetime

from app.shop.assessment.assessment import Assessment
from app.shop.procedure.held import seen_to_work
from app.shop.procedure.items import Item
from app.shop.procedure.left_out import values_of
from app.shop.procedure.parts import parts_of
from app.shop.queries.hours import JobTime
from app.shop.record.entries import CheckEntry, MoveEntry, Repeats
from app.shop.record.intake import differs
from app.shop.record.meter_studies import Provenance
from app.shop.record.meter_visits import shown_to
from app.shop.record.rounds import Round
from app.shop.record.visit_record import VisitRecord
from app.sync.estimation.evenness import BoreResult, RoundResult
from app.sync.planning.advice import AdviceKind
from app.web.presenters.drawing import by_bore, shown
from app.web.presenters.filters import clock, day, moment
from app.web.presenters.history.history import where
from app.web.presenters.paper.settings_left import COUNTERS, SETTINGS
from app.web.presenters.steps import cold_lines, made_words, move_words
from app.wording.message import say
from app.wording.office import handover
from app.wording.office.hours import job_time, like_jobs
from app.wording.office.intake import different, intake_line
from app.wording.quantities import feeler, percent, signed, unit_of
from app.wording.stored import as_stored
from app.wording.work.phases import item_figure, item_label, phase_title

MOST_MOVES = 24
"""Adjustments that the second page has room for."""

OF_THE_WORK = frozenset(
    {"battery-off", "battery-back", "fire-ready", "not-alone", "guarded", "protected"}
    | {"oil-primed", "base-timing", "mixture-safe"}
)
"""Checks that make the work safe and say nothing of the engine as it is handed over: they stay in the records."""


@dataclass(frozen=True, slots=True)
class RecordLine:
    """A bore: its readings as found and left, each with its per cent of the mean, and how well the last is known."""

    bore: int
    found: str
    found_share: str
    left: str
    left_share: str
    known: str


@dataclass(frozen=True, slots=True)
class RecordBank:
    """The bores of a bank, front first; its name is empty where it is the only one."""

    name: str
    lines: tuple[RecordLine, ...]


@dataclass(frozen=True, slots=True)
class Checks:
    """What was checked in a phase: statements of one person each, with initials and the time of the last one."""

    phase: str
    said: tuple[tuple[str, str, str], ...]


@dataclass(frozen=True, slots=True)
class RecordPage:
    """The second page, and what runs on to a third: ``moves_on``."""

    banks: tuple[RecordBank, ...]
    means: str
    moves: tuple[str, ...]
    moves_on: tuple[str, ...]
    net: str
    meter: str
    intake: str
    checks: tuple[Checks, ...]
    put_back: str
    job_time: str


def record_page(assessment: Assessment, known: Provenance, job: JobTime | None = None) -> RecordPage:
    """The record of a visit; ``known`` says where the figures of its meter come from, ``job`` what time it took."""
    record = assessment.record
    moves = moves_of(record)
    return RecordPage(
        banks=_banks(assessment),
        means=_means(assessment),
        moves=moves[:MOST_MOVES],
        moves_on=moves[MOST_MOVES:],
        net=_net(record),
        meter=_meter(record, known),
        intake=intake_of(record),
        checks=_checks(assessment),
        put_back="; ".join(item_label(item, parts_of(record.layout)) for item in _seen_to_work(record)),
        job_time=f"{job_time(job)} {like_jobs(job.like)}" if job is not None else "",
    )


def intake_of(record: VisitRecord) -> str:
    """What sat on the intakes, and that it was something else at the visit before; empty where it was not told."""
    line, before = intake_line(record.intake), record.before
    if before is not None and differs(before.intake, record.intake):
        return f"{line}. {different(before.intake, record.intake)}"
    return line


def moves_of(record: VisitRecord) -> tuple[str, ...]:
    """Every adjustment with its time, in their order; plates set cold come first, by the time of the last one."""
    cold = max((m.at for m in record.cold_settings), default="")
    lines = [(cold, line) for line in cold_lines(record)]
    lines += [(m.at, made_words(m, record)) for m in record.moves]
    return tuple(say(handover.AT, time=_time(at, record), made=made) for at, made in lines)


def _time(at: str, record: VisitRecord) -> str:
    """The hour, with the day where it is another one than that of the opening."""
    local, opened = (datetime.fromisoformat(one).astimezone().date() for one in (at, record.visit.opened_at))
    return clock(at) if local == opened else moment(at)


def _banks(assessment: Assessment) -> tuple[RecordBank, ...]:
    """The readings by bank. A lone bore has neither a per cent of the others nor how well that is known."""
    record, left = assessment.record, by_bore(assessment.as_left)
    found = _cells(record, record.as_found(), assessment.as_found)
    as_left = _cells(record, record.as_left(), assessment.as_left)
    banks = []
    for bank in record.layout.banks:
        lines = [
            RecordLine(bore, *found[bore], *as_left[bore], _known(left.get(bore) if len(left) > 1 else None))
            for bore in bank.bores
        ]
        banks.append(RecordBank(bank.name if len(record.layout.banks) > 1 else "", tuple(lines)))
    return tuple(banks)


def _known(one: BoreResult | None) -> str:
    return f"±{percent((one.high - one.low) / 2)}" if one is not None else "–"


def _cells(record: VisitRecord, one: Round | None, judged: RoundResult | None) -> dict[int, tuple[str, str]]:
    """Reading and per cent of each bore in a round; a dash where none was read."""
    standings, cells = by_bore(judged), {}
    values = values_of(record, one) if one is not None else {}
    for bore in record.layout.bores:
        row, standing = values.get(bore), standings.get(bore) if len(standings) > 1 else None
        value = "–" if row is None else shown(row.value, record.meter) or "–"
        cells[bore] = value, f"{signed(100 * standing.share, 0)}\u00a0%" if standing is not None else "–"
    return cells


def _means(assessment: Assessment) -> str:
    found, left, unit = assessment.as_found, assessment.as_left, unit_of(assessment.record.meter)
    if left is None:
        return say(handover.PER_CENT)
    values = {"left": unit.show(left.mean), "unit": unit.name}
    said = say(handover.MEANS, found=unit.show(found.mean), **values) if found else say(handover.MEAN_LEFT, **values)
    return said if left.alone else f"{said} {say(handover.PER_CENT)}"


def _net(record: VisitRecord) -> str:
    """How the adjusters were left against how they were found: turns added up, a coupler on the feeler it had last."""
    by_place: dict[tuple[str, str, int | None, int | None], list[MoveEntry]] = {}
    for move in record.moves:
        by_place.setdefault((move.kind, move.bank, move.near, move.far), []).append(move)
    net = [_added_up(moves) for moves in by_place.values()]
    on_feelers: dict[str, list[str]] = {}
    for move in net:
        if move.kind == AdviceKind.BLADE:
            on_feelers.setdefault(move.leaves, []).append(where(move))
    said = [
        say(handover.ON_FEELER, count=len(places), places=", ".join(places), feeler=feeler(_gap(leaves), record.units))
        for leaves, places in on_feelers.items()
    ]
    said += [move_words(m, record) for m in net if m.kind != AdviceKind.BLADE and (m.leaves or round(m.amount, 4))]
    return say(handover.NET, made=" ".join(said)) if said else say(handover.ALL_AS_FOUND)


def _gap(leaves: str) -> float:
    return sum(map(float, leaves.split()))


def _added_up(moves: Sequence[MoveEntry]) -> MoveEntry:
    return moves[-1] if moves[-1].leaves else replace(moves[-1], amount=sum(move.amount for move in moves))


def _meter(record: VisitRecord, known: Provenance) -> str:
    meter, seen = record.meter, shown_to(record.visit)
    if record.repeatability is not None and seen is not None and record.repeatability == Repeats(seen.own, seen.limit):
        source = say(handover.BY_VISITS)
    elif record.repeatability is not None and known.readings:
        source = say(handover.STUDIED, count=known.readings, day=day(known.at))
    else:
        source = as_stored(meter.repeatability_from, "meter.repeatability_from")
    repeats = percent(record.meter_as_read().repeatability, 1)
    values = {"meter": meter.name, "step": meter.step, "unit": meter.unit_name, "source": source.rstrip(".")}
    said = say(handover.METER, repeats=repeats, **values)
    if known.other:
        return f"{said} {say(handover.COMPARED, other=known.other, day=day(known.compared_at))}"
    return f"{said} {say(handover.NOT_COMPARED)}"


def _seen_to_work(record: VisitRecord) -> list[Item]:
    return [item for item in seen_to_work(record) if item.slug not in OF_THE_WORK]


def _checks(assessment: Assessment) -> tuple[Checks, ...]:
    """Everything that was checked of the engine, in the words of the checklist, person by person."""
    record, found = assessment.record, []
    elsewhere = {(phase, item) for _, figures_of in SETTINGS for phase, item, _ in figures_of}
    elsewhere |= {("lock-down", item) for item in COUNTERS}
    left_out = OF_THE_WORK.union(*({item.slug, item.puts_back} for item in seen_to_work(record)))
    for status in assessment.statuses:
        by: dict[str, list[tuple[str, CheckEntry]]] = {}
        for item in status.items:
            check = record.checks.get((status.phase.slug, item.slug))
            if check is None or (status.phase.slug, item.slug) in elsewhere or item.slug in left_out:
                continue
            said = item_label(item, parts_of(record.layout))
            if check.number is not None:
                said = say(handover.FIGURE_OF, what=said, figure=item_figure(item, check.number, record.units))
            by.setdefault(check.by, []).append((said, check))
        lines = [
            ("; ".join(said for said, _ in own), initials, _time(own[-1][1].at, record)) for initials, own in by.items()
        ]
        if lines:
            found.append(Checks(phase_title(status.phase), tuple(lines)))
    return tuple(found)
