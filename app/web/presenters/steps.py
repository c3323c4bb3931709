"""The steps page of a phase: what is asked, what was recorded, and what a visit wants next, in words."""

from collections.abc import Mapping
from dataclasses import dataclass

from app.shop.assessment.advising import next_step
from app.shop.assessment.progress import PhaseStatus, items_of, next_status, progress
from app.shop.procedure.heat import GATE
from app.shop.procedure.items import Item, Phase
from app.shop.procedure.read_order import next_reading
from app.shop.record.entries import CheckEntry, MoveEntry
from app.shop.record.measures import RECORDED, Units
from app.shop.record.visit_record import VisitRecord
from app.wording import words
from app.wording.reasons import in_words
from app.wording.step_words import said
from app.wording.telephone import Prompt, item_prompt


@dataclass(frozen=True, slots=True)
class CheckLine:
    """One item of a phase, with what was recorded and what is typed now.

    ``stale`` when a move came after it; ``needed`` when the phase lacks it as long as it is not recorded. Figures are
    in ``units``.
    """

    item: Item
    row: CheckEntry | None
    stale: bool
    typed: str
    problem: str
    needed: bool = True
    units: Units = RECORDED

    @property
    def unit(self) -> str:
        """The unit beside the box."""
        return self.item.unit_in(self.units)

    @property
    def shown(self) -> str:
        """What stands in the box of a figure: what is typed, or what was recorded unless it is asked for again."""
        if self.typed or self.row is None or self.row.number is None or self.item.over_time:
            return self.typed
        return self.item.shown(self.row.number, self.units)

    @property
    def last(self) -> str:
        """The newest figure of one that is kept over time."""
        if self.row is None or self.row.number is None or not self.item.over_time:
            return ""
        return self.item.says(self.row.number, self.units)


def check_lines(
    record: VisitRecord, phase: Phase, values: Mapping[str, str], problems: Mapping[str, str], units: Units
) -> tuple[CheckLine, ...]:
    """The items of a phase in their order, figures in ``units``."""
    lines = []
    for item in items_of(record, phase):
        row = record.checks.get((phase.slug, item.slug))
        stale = row is not None and item.fresh and row.after_move < record.last_move
        needed = record.visit.place in item.needed
        lines.append(CheckLine(item, row, stale, values.get(item.slug, ""), problems.get(item.slug, ""), needed, units))
    return tuple(lines)


def left_of(standing: PhaseStatus, lines: tuple[CheckLine, ...]) -> str:
    """How much of what is asked was not recorded yet, in a few words."""
    open_ones = [line for line in lines if line.stale or (line.row is None and line.needed)]
    must = sum(line.item.must for line in open_ones)
    if standing.not_needed_because or not lines:
        return ""
    if not open_ones:
        return "All recorded"
    return f"{len(open_ones)} left" + (f", {must} may not be skipped" if must else "")


def beyond(standing: PhaseStatus) -> str:
    """What a phase lacks besides its items, in a sentence without its stop."""
    items = {item.slug for item in standing.phase.items}
    lacks = [in_words(m.reason) for m in standing.missing if m.slug not in items and m.slug not in ("stop", GATE)]
    return "Still missing: " + "; ".join(what[0].lower() + what[1:] for what in lacks) if lacks else ""


def ready_to_read(standing: PhaseStatus) -> bool:
    """Whether nothing stands before the readings any more."""
    before = {GATE, *(item.slug for item in standing.phase.items if item.before_running)}
    return not standing.stops and not any(m.slug in before for m in standing.missing)


def to_say(record: VisitRecord, lines: tuple[CheckLine, ...]) -> Prompt | None:
    """What to read out next over the telephone; None at the bench, and once everything asked for is recorded."""
    if record.visit.place != "telephone" or record.sign_off is not None:
        return None
    due = next((line for line in lines if line.problem and line.typed), None)
    due = due or next((line for line in lines if line.stale or (line.row is None and line.needed)), None)
    return item_prompt(due.item, record.settings.base_blade, due.units) if due else None


def done_lines(record: VisitRecord, phase: Phase) -> tuple[str, ...]:
    """The moves made in a phase, each as a sentence."""
    return tuple(move_words(m, record.units.metric) for m in record.moves if m.phase == phase.slug)


def move_words(move: MoveEntry, metric: bool = False) -> str:
    """A move that was made, as a sentence; ``metric`` for blades in millimetres."""
    if move.kind == "blade":
        return f"Coupler {move.near}–{move.far} reset on {words.blade(move.amount, metric)}."
    way = "in" if (move.amount > 0) != (move.kind == "bypass") else "out"
    if move.kind == "screw":
        return f"Screw of coupler {move.near}–{move.far} {way} by {words.turns(abs(move.amount))}."
    if move.kind == "stop":
        return f"Stop screw of bank {move.bank} {way} by {words.turns(abs(move.amount))}."
    if move.kind == "bypass":
        return f"Bypass screw of bore {move.near} {way} by {words.turns(abs(move.amount))}."
    way = "earlier" if move.amount > 0 else "later"
    return f"Link of bank {move.bank} turned {abs(move.amount):g} flats, to open {way}."


def lands_on(record: VisitRecord) -> str:
    """The address where the visit goes on: a phase's steps, or its readings once nothing has to come before them."""
    home = f"/visits/{record.visit.ident}"
    if record.sign_off is not None:
        return f"{home}/sheet"
    undone = next_status(record, progress(record))
    if undone is None:
        return f"{home}/sign-off"
    phase = undone.phase
    reads = any(m.slug == "round" for m in undone.missing)
    return f"{home}/{phase.slug}/readings" if reads and ready_to_read(undone) else f"{home}/{phase.slug}"


def wanted_next(record: VisitRecord) -> str:
    """What the visit wants next, in a few words for the board."""
    undone = next_status(record, progress(record))
    if undone is None:
        return "Sign it off"
    first = undone.missing[0]
    if first.slug == "stop":
        return "Stopped: outside the shop's limits"
    if first.slug != "round":
        return in_words(first.reason)
    step, now = next_step(record, undone.phase), next_reading(record, undone.phase)
    if step.kind == "measure" and now.bore is not None:
        return f"Read bore {step.bores[0]}{' again to close the round' if now.kind == 'closing' else ''}"
    return in_words(first.reason) if step.kind == "done" else said(record, undone.phase, step)[0]
