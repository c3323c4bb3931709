"""The steps page of a phase: what is asked, what was recorded, and what a visit wants next."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from app.shop.assessment.assessment import Assessment, PhaseAssessment
from app.shop.assessment.leaks import leaks_told
from app.shop.assessment.progress import PhaseStatus
from app.shop.procedure.heat import GATE
from app.shop.procedure.held import BACK
from app.shop.procedure.items import Item, Phase
from app.shop.procedure.limits import beyond, open_stops
from app.shop.procedure.parts import parts_of
from app.shop.procedure.phases import COLD_PRESET
from app.shop.procedure.running import SEEN_RUNNING, may_run, run_out, state_of
from app.shop.record.entries import CheckEntry, MoveEntry
from app.shop.record.measures import RECORDED, Units
from app.shop.record.visit_record import VisitRecord, cold_setting_of, made_cold
from app.web.presenters.offers import SNAP, offers
from app.wording.cold_setting import set_cold
from app.wording.message import say
from app.wording.reasons import in_words
from app.wording.work import adjusters
from app.wording.work.corrections import CORRECTED, POWER_WAS_OFF
from app.wording.work.next_step import leak_words, step_words
from app.wording.work.phases import item_choices, item_figure, item_label, unit_label
from app.wording.work.telephone import Prompt, ToldFirst, item_prompt
from app.wording.work.visit import (
    ADJUSTED_SINCE,
    AT_START,
    HELD,
    PUT_BACK,
    READ_BORE,
    READ_DRIFT_CHECK,
    SIGN_OFF,
    STARTED_SINCE,
    STILL_MISSING,
    STOPPED,
    STOPPED_BY_IT,
    items_open,
)


@dataclass(frozen=True, slots=True)
class CheckLine:
    """One item of a phase, with what was recorded and what is typed now.

    ``stale`` when it is to be recorded again, ``again`` why; ``needed`` when the phase lacks it as long as it is not
    recorded. Figures are in ``units``, and ``offers`` those that a tap fills in.
    """

    item: Item
    label: str
    row: CheckEntry | None
    stale: bool
    typed: str
    problem: str
    needed: bool = True
    units: Units = RECORDED
    again: str = ""
    offers: tuple[str, ...] = ()

    @property
    def unit(self) -> str:
        """The unit beside the box."""
        return unit_label(self.item.unit_in(self.units))

    @property
    def shown(self) -> str:
        """What stands in the box of a figure: what is typed, or what was recorded unless it is asked for again."""
        if self.typed or self.row is None or self.row.number is None or self.item.over_time or self.stale:
            return self.typed
        return self.item.shown(self.row.number, self.units)

    @property
    def choices(self) -> list[tuple[str, str]]:
        """What may be chosen where the item offers choices, and its words."""
        return item_choices(self.item)

    @property
    def last(self) -> str:
        """The newest figure of one that is kept over time."""
        if self.row is None or self.row.number is None or not self.item.over_time:
            return ""
        return item_figure(self.item, self.row.number, self.units)

    @property
    def done(self) -> bool:
        """Whether nothing is asked of it any more. A figure that is kept over time is asked on and on, and so is one
        that is offered anew."""
        return self.row is not None and not self.stale and not self.item.over_time and not self.offers

    @property
    def due(self) -> bool:
        """Whether it is recorded once more, or for the first time where the phase needs it."""
        return self.stale or (self.row is None and self.needed)

    @property
    def optional(self) -> bool:
        """Whether it is asked only where it applies, and nothing was recorded."""
        return self.row is None and not self.stale and not self.needed and not self.offers


@dataclass(frozen=True, slots=True)
class CheckGroup:
    """Lines of a checklist that belong together, below their ``title``; the first group has none."""

    title: str
    lines: tuple[CheckLine, ...]


def in_groups(lines: tuple[CheckLine, ...]) -> tuple[CheckGroup, ...]:
    """The lines as they are done: the list itself, what is off, what comes at the start, what is put back."""
    groups: dict[str, list[CheckLine]] = {"": [], say(HELD): [], say(AT_START): [], say(PUT_BACK): []}
    for line in lines:
        groups[_title_of(line.item)].append(line)
    return tuple(CheckGroup(title, tuple(those)) for title, those in groups.items() if those)


def _title_of(item: Item) -> str:
    if item.at_start:
        return say(AT_START)
    if item.puts_back and not item.before_running:
        return say(PUT_BACK)
    return say(HELD) if item.slug in BACK and not item.needed else ""


@dataclass(frozen=True, slots=True)
class AskedLine:
    """The one line of a checklist that is asked for now, and those that come behind it.

    ``passed`` is the slug of the item that was left for later, empty when none was.
    """

    line: CheckLine
    behind: tuple[CheckLine, ...]
    passed: str


def starts_first(judged: PhaseAssessment, item: Item, lines: Sequence[CheckLine]) -> bool:
    """Whether an item can only be told of a running engine, and the engine may be started for it now: it does not run
    yet, and all that comes before a start is checked."""
    before = all(line.done or line.optional for line in lines if line.item.before_running)
    return (judged.phase.slug, item.slug) in SEEN_RUNNING and before and not may_run(judged.record)


def ask_of(lines: tuple[CheckLine, ...], passed: str = "", asked: str = "") -> AskedLine | None:
    """What is asked for: the first line due behind the item ``passed``, and round again; None once nothing is due.

    One that was ``asked`` for and refused is asked for once more. Lines that are filled in together, again and again,
    are asked for by the list.
    """
    if any(line.offers and not line.due for line in lines):
        return None
    ordered = [line for group in in_groups(lines) for line in group.lines]
    slugs = [line.item.slug for line in ordered]
    start = slugs.index(asked) if asked in slugs else slugs.index(passed) + 1 if passed in slugs else 0
    due = [line for line in (*ordered[start:], *ordered[:start]) if line.due]
    return AskedLine(due[0], tuple(due[1:]), passed) if due else None


MANY = 3
"""Lines that are open, from which on the rest of them is ticked by one tap."""


def the_rest(lines: tuple[CheckLine, ...]) -> str:
    """The slugs of the open lines that one tap ticks together, with spaces between; empty for a few."""
    slugs = [line.item.slug for line in lines if line.item.in_a_row and (line.stale or line.row is None)]
    return " ".join(slugs) if len(slugs) >= MANY else ""


def check_lines(
    judged: PhaseAssessment, values: Mapping[str, str], problems: Mapping[str, str], units: Units
) -> tuple[CheckLine, ...]:
    """The items of a phase in their order, figures in ``units``; once it is signed off, those recorded."""
    record, phase = judged.record, judged.phase
    lines, parts = [], parts_of(record.layout)
    for item in judged.items:
        row = record.checks.get((phase.slug, item.slug))
        if row is None and (item.aside or record.sign_off is not None):
            continue
        stale = item.slug in judged.stale
        needed = record.visit.place in item.needed
        typed, problem = values.get(item.slug, ""), problems.get(item.slug, "")
        again = _why_again(judged, item, row) if stale and row is not None else ""
        offered = offers(judged, item, units) if row is None or stale or item.slug.startswith(SNAP) else ()
        label = item_label(item, parts)
        lines.append(CheckLine(item, label, row, stale, typed, problem, needed, units, again, offered))
    return tuple(lines)


def _why_again(judged: PhaseAssessment, item: Item, row: CheckEntry) -> str:
    """Why an item is recorded once more."""
    if beyond(judged.record, row):
        return say(STOPPED_BY_IT)
    return say(STARTED_SINCE if item in run_out(judged.record, judged.phase) else ADJUSTED_SINCE)


@dataclass(frozen=True, slots=True)
class Left:
    """How much of a checklist is not recorded yet, in a few words; ``all_recorded`` when nothing is."""

    words: str
    all_recorded: bool


def left_of(standing: PhaseStatus, lines: tuple[CheckLine, ...]) -> Left:
    """How much of what is asked was not recorded yet; no words where nothing is asked."""
    open_ones = [line for line in lines if line.due]
    if standing.not_needed_because or not lines:
        return Left("", all_recorded=False)
    required = sum(line.item.required for line in open_ones)
    return Left(items_open(len(open_ones), required), all_recorded=not open_ones)


def missing_besides_items(standing: PhaseStatus) -> str:
    """What a phase lacks besides its items, in a sentence without its stop."""
    items = {item.slug for item in standing.phase.items}
    lacks = [in_words(m.reason) for m in standing.missing if m.slug not in items and m.slug not in ("stop", GATE)]
    return say(STILL_MISSING, what="; ".join(lacks)) if lacks else ""


def ready_to_read(standing: PhaseStatus, place: str) -> bool:
    """Whether nothing stands before the readings any more, at that place."""
    before = {GATE, *(item.slug for item in standing.phase.items if item.comes_first(place) or item.ahead)}
    figures = {item.slug for item in standing.phase.items if item.stops}
    waits = (m for m in standing.missing if m.slug in before or (m.must and m.slug in figures))
    return not standing.stops and next(waits, None) is None


def next_prompt(judged: PhaseAssessment, lines: tuple[CheckLine, ...]) -> Prompt | None:
    """What to read out next over the telephone; None at the bench, and once everything asked for is recorded."""
    record = judged.record
    if record.visit.place != "telephone" or record.sign_off is not None:
        return None
    due = next((line for line in lines if line.problem and line.typed), None)
    due = due or next((line for line in lines if line.due), None)
    if due is None:
        return None
    told = ToldFirst(
        preset=judged.preset.turns if judged.preset is not None else 0.0,
        pulls=round(record.settings.pulls),
        columns=record.meter.quantity == "vacuum",
    )
    return item_prompt(due.item, parts_of(record.layout), record.settings.base_blade, due.units, told)


def leak_lines(record: VisitRecord, phase: Phase) -> tuple[str, ...]:
    """What the vacuum recorded in a phase says of leaks, each in a sentence or two."""
    return tuple(map(leak_words, leaks_told(record))) if phase.rounds == "fine" else ()


def done_lines(record: VisitRecord, phase: Phase) -> tuple[str, ...]:
    """The moves made in a phase, each as a sentence."""
    made = (made_words(m, record) for m in record.moves if m.phase == phase.slug)
    return (*cold_lines(record), *made) if phase is COLD_PRESET else tuple(made)


def recorded_here(record: VisitRecord, phase: Phase) -> bool:
    """Whether a phase has a reading or a move to correct."""
    slugs = {*(move.phase for move in record.all_moves), *(one.row.phase for one in record.rounds if one.readings)}
    return phase.slug in slugs


def made_words(move: MoveEntry, record: VisitRecord) -> str:
    """An adjustment as it counts: whether it was corrected is said."""
    said = move_words(move, record)
    return say(CORRECTED, made=said) if move.supersedes_id is not None else said


def cold_lines(record: VisitRecord) -> tuple[str, ...]:
    """The plates set cold, one sentence for those on feelers of one thickness."""
    by_size: dict[float, list[int]] = {}
    for made in {made.bore: made for made in record.set_cold}.values():
        by_size.setdefault(made.gap, []).append(made.bore)
    gauged = any(made.gauged for made in record.set_cold)
    return tuple(set_cold(bores, gap, gauged, record.units) for gap, bores in by_size.items())


def move_words(move: MoveEntry, record: VisitRecord) -> str:
    """An adjustment that was made, as a sentence."""
    if made_cold(move):
        made = cold_setting_of(move, record.layout)
        return set_cold([made.bore], made.gap, False, record.units)
    said = adjusters.made(move, record.layout, record.units)
    return say(POWER_WAS_OFF, made=said) if move.power_off else said


def resume_url(assessment: Assessment) -> str:
    """The address where the visit goes on: a phase's steps, or its readings once nothing has to come before them."""
    record, undone = assessment.record, assessment.goes_on
    home = f"/visits/{record.visit.ident}"
    if record.mistaken is not None:
        return f"/engines/{record.engine.ident}"
    if record.sign_off is not None:
        return f"{home}/sheet"
    if open_stops(record):
        return f"{home}/stop"
    if undone is None:
        return f"{home}/sign-off"
    phase = undone.phase
    if phase.rounds in ("coarse", "fine") and state_of(record).stands is not None:
        return f"{home}/start"
    reads = any(m.slug == "round" for m in undone.missing)
    return (
        f"{home}/{phase.slug}/readings"
        if reads and ready_to_read(undone, record.visit.place)
        else f"{home}/{phase.slug}"
    )


def wanted_next(assessment: Assessment) -> str:
    """What the visit wants next, in a few words for the list of engines."""
    undone = assessment.goes_on
    if open_stops(assessment.record):
        return say(STOPPED)
    if undone is None:
        return say(SIGN_OFF)
    first = undone.missing[0]
    if first.slug == "stop":
        return say(STOPPED)
    if first.slug != "round":
        return in_words(first.reason)
    judged = assessment.of(undone.phase)
    step, due = judged.step, judged.due
    if step.kind == "measure" and due.bore is not None:
        return say(READ_DRIFT_CHECK if due.kind == "closing" else READ_BORE, bore=step.bores[0])
    return in_words(first.reason) if step.kind == "done" else step_words(judged)[0]
