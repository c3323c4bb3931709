"""What follows the handover sheet where it is asked for: every round in numbers, with the moves between."""

from dataclasses import dataclass

from app.shop.assessment.assessment import Assessment
from app.shop.procedure.running import STARTED, ended_by_stop, events_of
from app.shop.record.rounds import Round
from app.shop.record.visit_record import VisitRecord
from app.sync.engine.units import REV_PER_MIN
from app.web.presenters.drawing import shown
from app.web.presenters.filters import moment
from app.web.presenters.steps import cold_lines, made_words, move_words
from app.wording.language import to_the_customer
from app.wording.message import say
from app.wording.office import paper
from app.wording.quantities import feeler as feeler_words
from app.wording.quantities import unit_of
from app.wording.stored import as_stored
from app.wording.work.phases import phase_title


@dataclass(frozen=True, slots=True)
class FileRound:
    """One round in a line: values in the order of the bores, the drift check after them; empty where none was read.
    ``title`` says in which phase, at which opening and when it was started, and how even it was."""

    number: int
    title: str
    values: tuple[str, ...]
    drift_check: str
    spread: str


@dataclass(frozen=True, slots=True)
class FileLine:
    """One line of the page: a round, or what was done in between."""

    round: FileRound | None
    words: str = ""


@dataclass(frozen=True, slots=True)
class FilePage:
    """The readings of a visit for the file. ``remarks`` are what was corrected, skipped or waived, and why."""

    unit: str
    bores: tuple[int, ...]
    lines: tuple[FileLine, ...]
    remarks: tuple[str, ...]


@to_the_customer()
def file_page(assessment: Assessment) -> FilePage:
    """The readings of a visit, round by round, with the moves between them."""
    record = assessment.record
    lines = [FileLine(None, words) for words in cold_lines(record)]
    waiting = list(record.moves)
    for one in record.rounds:
        if one.entered:
            begun = min(r.ident for r in one.entered)
            lines += [FileLine(None, made_words(m, record)) for m in waiting if m.after_reading < begun]
            waiting = [m for m in waiting if m.after_reading >= begun]
            lines.append(FileLine(_round(assessment, one)))
    lines += [FileLine(None, made_words(m, record)) for m in waiting]
    unit, remarks = unit_of(record.meter).name, tuple(_remarks(record))
    return FilePage(unit, record.layout.bores, tuple(lines), remarks)


def _round(assessment: Assessment, one: Round) -> FileRound:
    record, latest = assessment.record, one.latest
    values = [r.value for r in latest.values() if r.value is not None]
    return FileRound(
        number=one.row.number,
        title=_title(assessment, one),
        values=tuple(shown(latest[b].value, record.meter) if b in latest else "" for b in record.layout.bores),
        drift_check=shown(one.closing.value, record.meter) if one.closing else "",
        spread=shown(max(values) - min(values), record.meter) if len(values) > 1 else "",
    )


def _title(assessment: Assessment, one: Round) -> str:
    phase, at = phase_title(one.row.phase), moment(one.row.begun_at)
    if one.row.opening:
        message = paper.ROUND_FROM_OPEN if one.row.from_above else paper.ROUND_AT_OPENING
        phase = say(message, phase=phase, feeler=feeler_words(one.row.opening, assessment.record.units))
    if speed := assessment.record.speed_in(one):
        phase = say(paper.ROUND_SPEED, phase=phase, speed=round(speed.speed / REV_PER_MIN))
    if ended_by_stop(assessment.record, one):
        return say(paper.ROUND_VOID, phase=phase, at=at)
    if not one.closed or one.row.opening:
        return say(paper.ROUND, phase=phase, at=at)
    verdict = assessment.fine_evenness(one).verdict
    return say(paper.ROUND_RESULT, phase=phase, at=at, verdict=say(paper.VERDICTS[verdict]))


def _remarks(record: VisitRecord) -> list[str]:
    said = []
    for one in record.rounds:
        rows = {r.ident: r for r in one.entered}
        for row in one.entered:
            old = rows.get(row.supersedes_id or 0)
            where = {"round": one.row.number, "bore": row.bore, "by": row.by, "at": moment(row.at)}
            where["why"] = as_stored(row.why, "reading.why")
            if row.value is None:
                said.append(say(paper.REMARK_SKIPPED, **where))
            elif old is not None and old.value is not None:
                message = paper.REMARK_REPLACED_WHY if row.why else paper.REMARK_REPLACED
                said.append(
                    say(message, now=shown(row.value, record.meter), was=shown(old.value, record.meter), **where)
                )
    said += _corrected_moves(record)
    said += [
        say(paper.REMARK_ENGINE_STARTED if e.what == STARTED else paper.REMARK_ENGINE_STOPPED, by=e.by, at=moment(e.at))
        for e in events_of(record)
    ]
    said += [
        say(
            paper.REMARK_WAIVED,
            phase=phase_title(o.phase),
            by=o.by,
            why=o.why,
            missing=as_stored(o.missing, "override.missing"),
        )
        for o in record.overrides
    ]
    return said


def _corrected_moves(record: VisitRecord) -> list[str]:
    """The adjustments that were recorded wrong: what was recorded, and by whom it was taken back or changed."""
    told = {move.ident: move for move in record.all_moves}
    said = []
    for row in record.all_moves:
        if row.supersedes_id is not None:
            was = move_words(told[row.supersedes_id], record)
            message = paper.REMARK_TAKEN_BACK if row.taken_back else paper.REMARK_CHANGED
            said.append(say(message, was=was, now=move_words(row, record), by=row.by, at=moment(row.at)))
    return said
