"""The second page of the handover sheet, for the file: every round in numbers, with the moves where they were made."""

from dataclasses import dataclass

from app.shop.procedure.phases import phase_named
from app.shop.record.visit_record import Round, Story
from app.web.presenters.drawing import unit_of
from app.web.presenters.filters import moment
from app.web.presenters.history.history import judged
from app.web.presenters.steps import move_words
from app.wording import words


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


def file_page(story: Story) -> FilePage:
    """The readings of a visit, round by round, with the moves between them."""
    lines: list[FileLine] = []
    waiting = list(story.moves)
    for one in story.rounds:
        if one.entered:
            begun = min(r.ident for r in one.entered)
            lines += [FileLine(None, move_words(m, story.units.metric)) for m in waiting if m.after_reading < begun]
            waiting = [m for m in waiting if m.after_reading >= begun]
            lines.append(FileLine(_round(story, one)))
    lines += [FileLine(None, move_words(m, story.units.metric)) for m in waiting]
    return FilePage(unit_of(story.meter).name, story.layout.bores, tuple(lines), tuple(_remarks(story)))


def _round(story: Story, one: Round) -> FileRound:
    unit = unit_of(story.meter)

    def shown(value: float | None) -> str:
        return "" if value is None else f"{value:.{unit.decimals}f}"

    latest = one.latest
    values = [r.value for r in latest.values() if r.value is not None]
    title = phase_named(one.row.phase).title
    if one.row.opening:
        title += f", {words.opening(one.row.opening, bool(one.row.from_above), story.units.metric)}"
    found = judged(story, one) if one.closed and one.row.opening == 0 else None
    return FileRound(
        number=one.row.number,
        title=title,
        at=moment(one.row.begun_at),
        values=tuple(shown(latest[b].value) if b in latest else "" for b in story.layout.bores),
        closing=shown(one.closing.value) if one.closing else "",
        spread=shown(max(values) - min(values)) if len(values) > 1 else "",
        verdict=words.verdict_title(found) if found else "",
    )


def _remarks(story: Story) -> list[str]:
    said = []
    unit = unit_of(story.meter)
    for one in story.rounds:
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
        f"{phase_named(o.phase).title} passed over by {o.by}: {o.why} (missing: {o.missing})" for o in story.overrides
    ]
    return said
