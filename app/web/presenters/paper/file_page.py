"""The second page of the handover sheet, for the file: every round in numbers, with the moves where they were made."""

from dataclasses import dataclass

from app.shop.procedure.phases import phase_named
from app.shop.record.visit_record import Round, VisitRecord
from app.web.presenters.drawing import unit_of
from app.web.presenters.filters import moment
from app.web.presenters.history.history import judged
from app.web.presenters.steps import move_words
from app.wording import words
from app.wording.requirements import missing_as_stored


@dataclass(frozen=True, slots=True)
class FileRound:
    """One round in a line: values in the order of the bores, the closing one after them; empty where none was read."""

    number: int
    title: str
    at: str
    values: tuple[str, ...]
    closing: str
    spread: str
    verdict: str


@dataclass(frozen=True, slots=True)
class FileLine:
    """One line of the page: a round, or what was done in between."""

    round: FileRound | None
    words: str = ""


@dataclass(frozen=True, slots=True)
class FilePage:
    """The readings of a visit for the file. ``remarks`` are what was corrected, skipped or passed over, and why."""

    unit: str
    bores: tuple[int, ...]
    lines: tuple[FileLine, ...]
    remarks: tuple[str, ...]


def file_page(record: VisitRecord) -> FilePage:
    """The readings of a visit, round by round, with the moves between them."""
    lines: list[FileLine] = []
    waiting = list(record.moves)
    for one in record.rounds:
        if one.entered:
            begun = min(r.ident for r in one.entered)
            lines += [FileLine(None, move_words(m, record.units.metric)) for m in waiting if m.after_reading < begun]
            waiting = [m for m in waiting if m.after_reading >= begun]
            lines.append(FileLine(_round(record, one)))
    lines += [FileLine(None, move_words(m, record.units.metric)) for m in waiting]
    return FilePage(unit_of(record.meter).name, record.layout.bores, tuple(lines), tuple(_remarks(record)))


def _round(record: VisitRecord, one: Round) -> FileRound:
    unit = unit_of(record.meter)

    def shown(value: float | None) -> str:
        return "" if value is None else f"{value:.{unit.decimals}f}"

    latest = one.latest
    values = [r.value for r in latest.values() if r.value is not None]
    title = phase_named(one.row.phase).title
    if one.row.opening:
        title += f", {words.opening(one.row.opening, bool(one.row.from_above), record.units.metric)}"
    found = judged(record, one) if one.closed and one.row.opening == 0 else None
    return FileRound(
        number=one.row.number,
        title=title,
        at=moment(one.row.begun_at),
        values=tuple(shown(latest[b].value) if b in latest else "" for b in record.layout.bores),
        closing=shown(one.closing.value) if one.closing else "",
        spread=shown(max(values) - min(values)) if len(values) > 1 else "",
        verdict=words.verdict_title(found) if found else "",
    )


def _remarks(record: VisitRecord) -> list[str]:
    said = []
    unit = unit_of(record.meter)
    for one in record.rounds:
        rows = {r.ident: r for r in one.entered}
        for row in one.entered:
            old = rows.get(row.supersedes_id or 0)
            where = f"Round {one.row.number}, bore {row.bore}"
            if row.value is None:
                said.append(f"{where}: skipped, {row.why}. {row.by}.")
            elif old is not None and old.value is not None:
                why = f" {row.why}." if row.why else ""
                said.append(
                    f"{where}: {row.value:.{unit.decimals}f} put in the place of {old.value:.{unit.decimals}f}.{why} "
                    f"{row.by}, {moment(row.at)}."
                )
    said += [
        f"{phase_named(o.phase).title} passed over by {o.by}: {o.why} (missing: {missing_as_stored(o.missing)})"
        for o in record.overrides
    ]
    return said
