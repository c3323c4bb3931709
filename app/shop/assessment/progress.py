"""How far a visit is: what each phase still lacks, worked out from what was recorded, and what may be done now."""

import re
from dataclasses import dataclass
from functools import cache

from app.shop.assessment import snap
from app.shop.assessment.snap import snap_items
from app.shop.assessment.verdicts import accepted_round, balance_of, balanced, held_off, needs_preset, passes
from app.shop.errors import RejectedError
from app.shop.procedure.heat import GATE, lacks_of
from app.shop.procedure.items import Item, Phase
from app.shop.procedure.limits import instruction
from app.shop.procedure.parts import Part, parts_of
from app.shop.procedure.phases import BANK_BALANCE, HEAT_SOAKED, LOCK_DOWN, PHASES, phase_named
from app.shop.procedure.read_order import next_opening
from app.shop.procedure.recheck import reasons
from app.shop.record.visit_record import VisitRecord
from app.shop.store.tables import Override
from app.wording.phases import item_label, phase_name

POPPING = re.compile(r"\b(pop|spit|cough)", re.IGNORECASE)
"""What a complaint of banks that do not open together sounds like."""


@dataclass(frozen=True, slots=True)
class Missing:
    """One thing a phase still lacks. ``must``: no override passes over it."""

    slug: str
    what: str
    must: bool = False


@dataclass(frozen=True, slots=True)
class PhaseStatus:
    """Where a phase stands. ``not_needed_because`` says why nothing is asked of it this time, empty when something is.

    ``stops`` are the instructions of figures outside the shop's limits; they are among what is missing.
    """

    phase: Phase
    missing: tuple[Missing, ...]
    override: Override | None
    not_needed_because: str = ""
    stops: tuple[str, ...] = ()

    @property
    def done(self) -> bool:
        """Nothing is missing, or what is may be passed over and was, with a reason."""
        return not self.missing or (self.override is not None and not any(m.must for m in self.missing))


def progress(record: VisitRecord) -> tuple[PhaseStatus, ...]:
    """The five phases in order, each with what it lacks."""
    return tuple(_standing(record, one) for one in PHASES)


def current_phase(record: VisitRecord) -> Phase:
    """The first phase that is not done; the last one when all are."""
    return next((s.phase for s in progress(record) if not s.done), LOCK_DOWN)


def items_of(record: VisitRecord, one: Phase) -> tuple[Item, ...]:
    """What a phase asks of this engine in this place."""
    mine = _asked_from_the_start(record, one)
    return mine + snap_items(record) if one.rounds == "fine" else mine


def _asked_from_the_start(record: VisitRecord, one: Phase) -> tuple[Item, ...]:
    """Those of the items that are asked for from the start, whatever was read; the others stop nothing."""
    return _asked(one.slug, record.visit.place, parts_of(record.layout))


@cache
def _asked(slug: str, place: str, has: frozenset[Part]) -> tuple[Item, ...]:
    return tuple(i for i in phase_named(slug).items if i.when in has and place in i.where)


def require_open(record: VisitRecord, slug: str) -> Phase:
    """The phase named, when something may be recorded in it now.

    Raises RefusedError once the visit is signed off, for a phase that does not exist, and while an earlier phase still
    lacks something: this is the order of the phases, and nothing else says it.
    """
    if record.sign_off is not None:
        raise RejectedError({"": "This visit is signed off. Open a new one to record more."})
    try:
        wanted = phase_named(slug)
    except KeyError:
        raise RejectedError({"phase": "There is no phase of that name."}) from None
    for one in PHASES:
        if one is wanted:
            return wanted
        if one is HEAT_SOAKED and wanted is BANK_BALANCE and leads_to_banks(record):
            continue
        standing = _standing(record, one)
        if not standing.done:
            what = standing.missing[0].what.rstrip(".")
            raise RejectedError({"": f"First finish {phase_name(standing.phase)}: {what}."})
    raise AssertionError("a phase outside the table")


def leads_to_banks(record: VisitRecord) -> bool:
    """Whether the complaint leads straight to the bank balance, before anything is evened.

    Popping at light throttle comes from banks that do not open together. As found is read hot first, because evening
    moves plates and would change what is looked for; banks that open together end the short cut.
    """
    if len(record.layout.banks) < 2 or not POPPING.search(record.visit.why):
        return False
    found = [r for r in record.rounds if r.row.phase == HEAT_SOAKED.slug and r.closed]
    return bool(found) and not _stops(record, HEAT_SOAKED)


def next_standing(record: VisitRecord) -> PhaseStatus | None:
    """The phase to go on with: the first one with something missing, or the banks where the complaint leads there."""
    undone = [s for s in progress(record) if not s.done]
    banks = next((s for s in undone if s.phase is BANK_BALANCE), None)
    if banks is not None and undone[0].phase is HEAT_SOAKED and leads_to_banks(record):
        return banks
    return next(iter(undone), None)


def require_ready(record: VisitRecord, one: Phase) -> None:
    """Raises RefusedError while the engine may not be read in an open phase: stopped, or not yet safe to run."""
    if one.slug not in record.waits:
        record.waits[one.slug] = _waits(record, one)
    if waits := record.waits[one.slug]:
        raise RejectedError({"value": waits})


def _waits(record: VisitRecord, one: Phase) -> str:
    """What has to be seen to before the engine is read, as a sentence; empty for nothing. No reading changes it."""
    if _why_not_needed(record, one):
        return ""
    if stops := _stops(record, one):
        return stops[0]
    if one.rounds == "fine" and _override(record, one) is None and (lacks := lacks_of(record)):
        return f"Not hot right through yet: {lacks[0]}. The round opens by itself when it is."
    before = (item for item in _asked_from_the_start(record, one) if item.before_running and item.required)
    undone = next((item for item in before if _lacks(record, one, item)), None)
    return f"First see to it, and tick it: {item_label(undone, parts_of(record.layout))}." if undone else ""


def _standing(record: VisitRecord, one: Phase) -> PhaseStatus:
    """How far a phase is, worked out once for a story, and not again for readings taken in a phase after it."""
    if one.slug not in record.standings:
        record.standings[one.slug] = _worked_out(record, one)
    found: PhaseStatus = record.standings[one.slug]
    return found


def _worked_out(record: VisitRecord, one: Phase) -> PhaseStatus:
    override = _override(record, one)
    if not_needed_because := _why_not_needed(record, one):
        return PhaseStatus(one, (), override, not_needed_because)
    stops = _stops(record, one)
    lacks = [Missing("stop", stop, must=True) for stop in stops] + _missing(record, one)
    return PhaseStatus(one, tuple(lacks), override, "", stops)


def _override(record: VisitRecord, one: Phase) -> Override | None:
    """The newest override of the whole phase."""
    return next((o for o in reversed(record.overrides) if o.phase == one.slug and not o.gate), None)


def _stops(record: VisitRecord, one: Phase) -> tuple[str, ...]:
    said = []
    for item in _asked_from_the_start(record, one):
        check = record.checks.get((one.slug, item.slug)) if item.stops else None
        if check is not None and check.number is not None:
            said.append(instruction(item, check.number, record.settings.limits, record.units))
    return tuple(filter(None, said))


def _why_not_needed(record: VisitRecord, one: Phase) -> str:
    if one.slug == "cold-preset" and not needs_preset(record):
        return "Preset on an earlier visit, and nothing else was fitted since. As found comes before any move."
    if one.rounds == "openings" and len(record.layout.banks) < 2:
        return "One bank: there is nothing to balance."
    return ""


def _missing(record: VisitRecord, one: Phase) -> list[Missing]:
    return _missing_items(record, one) + _missing_rounds(record, one)


def _missing_items(record: VisitRecord, one: Phase) -> list[Missing]:
    parts = parts_of(record.layout)
    items = (item for item in items_of(record, one) if _lacks(record, one, item))
    lacks = [Missing(item.slug, item_label(item, parts), item.required) for item in items]
    if one.rounds == "fine" and (cold := lacks_of(record)):
        lacks.append(Missing(GATE, "Hot right through: " + ", ".join(cold)))
    return lacks


def _lacks(record: VisitRecord, one: Phase, item: Item) -> bool:
    """Whether an item still has to be recorded."""
    check = record.checks.get((one.slug, item.slug))
    if check is None:
        return record.visit.place in item.needed
    return item.fresh and check.after_move < record.last_move


def _missing_rounds(record: VisitRecord, one: Phase) -> list[Missing]:
    spoken = accepted_round(record, one)
    match one.rounds:
        case "coarse":
            if needs_preset(record) and spoken is None:
                return [Missing("round", "One quick round, closed")]
        case "fine" | "last":
            if spoken is None:
                never = one.rounds == "fine" and not any(r.closed for r in record.rounds if r.row.phase == one.slug)
                must = never and bool(reasons(record))
                return [Missing("round", "A closed round with nothing moved since", must)]
            if not passes(record, one, spoken):
                return [Missing("round", "A closed round that is even")]
            if one.rounds == "fine":
                return [Missing(item, what) for item, what in snap.lacks_of(record)]
        case "openings":
            mine = [r for r in record.rounds if r.row.phase == one.slug]
            match next_opening(record, mine):
                case None:
                    pass
                case 0.0:
                    return [Missing("round", "Idle read again, since a link was turned")]
                case _:
                    return [Missing("round", "A closed round at every opening, with no link turned since")]
            found = balance_of(record)
            if found is None or not balanced(record, found):
                return [Missing("round", "Banks that open together at every opening")]
            if bank := held_off(record):
                return [Missing("round", f"Bank {bank} back on its stop: its link holds it open at idle")]
        case "none":
            pass
    return []
