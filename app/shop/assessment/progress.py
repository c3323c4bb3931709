"""How far a visit is: what each phase still lacks, worked out from what was recorded, and what may be done now."""

import re
from dataclasses import dataclass, field
from functools import cache

from app.shop.assessment import snap
from app.shop.assessment.leaks import LEAK_CHECK, leak_items, to_check_again
from app.shop.assessment.snap import snap_items
from app.shop.assessment.verdicts import (
    accepted_round,
    balance_of,
    balanced,
    held_off,
    needs_preset,
    passes,
    visit_parts,
)
from app.shop.procedure.heat import GATE, HeatSoak, soak_of, was_soaked
from app.shop.procedure.held import without_what_was_not_held
from app.shop.procedure.items import Item, Phase
from app.shop.procedure.limits import beyond, open_stops
from app.shop.procedure.opening_speed import over_rev_limit, read_without
from app.shop.procedure.parts import Part
from app.shop.procedure.phases import BANK_BALANCE, COLD_PRESET, HEAT_SOAKED, PHASES, phase_named
from app.shop.procedure.read_order import next_opening, was_shut
from app.shop.procedure.recheck import reasons
from app.shop.procedure.requirements import NotNeeded, Requirement
from app.shop.procedure.running import run_out
from app.shop.reasons import Reason, because
from app.shop.record.entries import CheckEntry, WaiverEntry
from app.shop.record.visit_record import SPEEDS, VisitRecord
from app.sync.engine.units import REV_PER_MIN
from app.sync.planning.evaluation import SPEED_WINDOW

POPPING = re.compile(r"\b(pop|spit|cough)", re.IGNORECASE)
"""What a complaint of banks that do not open together sounds like."""


SPEED = "speed"
"""What is missing where the idle speed was recorded and does not count, or is far from the one wanted."""


@dataclass(frozen=True, slots=True)
class Missing:
    """One thing a phase still lacks by its ``slug``: item, gate, round or idle speed, and why.

    ``must``: it cannot be waived.
    """

    slug: str
    reason: Reason
    must: bool = False


@dataclass(frozen=True, slots=True)
class PhaseStatus:
    """Where a phase stands.

    ``items`` are what it asks for of this engine in this place; ``not_needed_because`` says why nothing is asked of it
    this time, None when something is.

    ``stops`` are figures outside the shop's limits; they are among what is missing. ``heat`` is how far the engine is
    heat-soaked, where the phase waits for that. ``done``: nothing is missing, or what is may be waived and was.
    """

    phase: Phase
    items: tuple[Item, ...]
    missing: tuple[Missing, ...]
    override: WaiverEntry | None
    not_needed_because: Reason | None = None
    stops: tuple[Reason, ...] = ()
    heat: HeatSoak | None = None
    done: bool = field(init=False)

    def __post_init__(self) -> None:
        waived = self.override is not None and not any(m.must for m in self.missing)
        object.__setattr__(self, "done", not self.missing or waived)


def progress(record: VisitRecord) -> tuple[PhaseStatus, ...]:
    """The five phases in order, each with what it lacks."""
    return tuple(status_of(record, one) for one in PHASES)


def status_of(record: VisitRecord, phase: Phase) -> PhaseStatus:
    """How far one phase is."""
    override, items = waiver_of(record, phase), items_of(record, phase)
    if not_needed := why_not_needed(record, phase):
        return PhaseStatus(phase, items, (), override, not_needed)
    stops, heat = stops_in(record, phase), soak_of(record) if phase.rounds == "fine" else None
    lacks = [Missing("stop", stop, must=True) for stop in stops]
    asked = [i for i in items if not i.aside]
    lacks += [
        Missing(i.slug, item_asked(phase, i), must_have(record, phase, i))
        for i in asked
        if lacks_item(record, phase, i)
    ]
    rounds = _missing_rounds(record, phase)
    if heat is not None and heat.lacks and (rounds or not was_soaked(record)):
        lacks.append(Missing(GATE, because(Requirement.HEAT_SOAK, lacks=heat.lacks)))
    lacks += [*_lacks_of_speed(record, phase, items), *rounds]
    return PhaseStatus(phase, items, tuple(lacks), override, None, stops, heat)


def items_of(record: VisitRecord, one: Phase) -> tuple[Item, ...]:
    """What a phase asks of this engine in this place."""
    mine = tuple(
        [i for i in asked_from_the_start(record, one) if not i.no_longer or (one.slug, i.slug) in record.checks]
    )
    return mine + leak_items(record) + snap_items(record) if one.rounds == "fine" else mine


def asked_from_the_start(record: VisitRecord, one: Phase) -> tuple[Item, ...]:
    """Those of the items that are asked for from the start, whatever was read; the others stop nothing."""
    asked, held = _asked(one.slug, record.visit.place, visit_parts(record))
    return without_what_was_not_held(record, asked) if held else asked


@cache
def _asked(slug: str, place: str, has: frozenset[Part]) -> tuple[tuple[Item, ...], bool]:
    """What a phase asks of an engine that has those parts, and whether some of it depends on what was held."""
    asked = tuple(i for i in phase_named(slug).items if i.when in has and place in i.where)
    return asked, any(item.puts_back for item in asked)


def leads_to_banks(record: VisitRecord) -> bool:
    """Whether the complaint leads straight to the bank balance, before anything is evened.

    Popping at light throttle comes from banks that do not open together. As found is read hot first, because evening
    moves plates and would change what is looked for; banks that open together end the short cut.
    """
    if not record.layout.linked or not POPPING.search(record.visit.why):
        return False
    found = [r for r in record.rounds if r.row.phase == HEAT_SOAKED.slug and r.closed]
    return bool(found) and not stops_in(record, HEAT_SOAKED)


def next_status(record: VisitRecord, statuses: tuple[PhaseStatus, ...]) -> PhaseStatus | None:
    """The phase to go on with: the first one with something missing, or the banks where the complaint leads there."""
    undone = [s for s in statuses if not s.done]
    banks = next((s for s in undone if s.phase is BANK_BALANCE), None)
    if banks is not None and undone[0].phase is HEAT_SOAKED and leads_to_banks(record):
        return banks
    return next(iter(undone), None)


def waiver_of(record: VisitRecord, one: Phase) -> WaiverEntry | None:
    """The newest waiver of the whole phase."""
    return next((o for o in reversed(record.overrides) if o.phase == one.slug and not o.gate), None)


def stops_in(record: VisitRecord, one: Phase) -> tuple[Reason, ...]:
    asked = {item.slug for item in asked_from_the_start(record, one)}
    found = [s.reason for s in open_stops(record) if s.check.phase == one.slug and s.check.item in asked]
    found += [fast] if one.rounds == "openings" and (fast := over_rev_limit(record)) is not None else []
    return tuple(found)


def why_not_needed(record: VisitRecord, one: Phase) -> Reason | None:
    if one is COLD_PRESET and not needs_preset(record):
        runs = record.fitted_before != record.fitting.ident
        return because(NotNeeded.ENGINE_RUNS if runs else NotNeeded.PRESET_EARLIER)
    if one.rounds == "openings" and len(record.layout.banks) < 2:
        return because(NotNeeded.ONE_BANK)
    if one.rounds == "openings" and record.layout.electronic:
        return because(NotNeeded.ELECTRONIC)
    return None


def _lacks_of_speed(record: VisitRecord, one: Phase, items: tuple[Item, ...]) -> list[Missing]:
    """The idle speed of a phase where it was recorded, but an adjustment may have changed it or it is far off."""
    wanted, most = [round(speed / REV_PER_MIN) for speed in (record.engine.idle_speed, SPEED_WINDOW)]
    lacks = []
    for item in [item for item in items if item.slug in SPEEDS]:
        check = record.checks.get((one.slug, item.slug))
        if check is None or check.number is None:
            continue
        if _is_stale(record, item, check):
            lacks.append(Missing(SPEED, because(Requirement.IDLE_AGAIN)))
        elif abs(check.number - wanted) > most:
            off = because(Requirement.IDLE_OFF, speed=round(check.number), wanted=wanted, most=most)
            lacks.append(Missing(SPEED, off))
    return lacks


def stale_items(record: VisitRecord, phase: Phase, items: tuple[Item, ...]) -> frozenset[str]:
    """Those of a phase's items, by slug, that are to be recorded again: an adjustment was made since, the engine was
    off since, or the figure stopped it."""
    recorded = [(item, record.checks.get((phase.slug, item.slug))) for item in items]
    again = run_out(record, phase)
    return frozenset(
        [
            item.slug
            for item, check in recorded
            if check is not None and (item in again or _is_stale(record, item, check) or beyond(record, check))
        ]
    )


def _is_stale(record: VisitRecord, item: Item, check: CheckEntry) -> bool:
    if item.slug == LEAK_CHECK:
        return to_check_again(record)
    if item.slug in SPEEDS:
        return check.after_move < record.last_idle_move
    return item.fresh and check.after_move < record.last_move


def item_asked(phase: Phase, item: Item) -> Reason:
    return because(Requirement.ITEM, phase=phase.slug, item=item.slug)


def lacks_item(record: VisitRecord, one: Phase, item: Item) -> bool:
    """Whether an item still has to be recorded."""
    check = record.checks.get((one.slug, item.slug))
    if check is None:
        return record.visit.place in item.needed and not _asked_too_late(record, one, item)
    return (item.stops != "" and beyond(record, check)) or (item.fresh and _is_stale(record, item, check))


def must_have(record: VisitRecord, one: Phase, item: Item) -> bool:
    """Whether an item that is missing cannot be waived: what keeps from harm, and a figure that stopped the engine.

    What guards an opened lever is not missed where no bank was read: an engine that is given up before that is handed
    over by what lock-down asks. It still comes before the first reading there.
    """
    if one.rounds == "openings" and not any(r.entered or r.speeds for r in record.rounds if r.row.phase == one.slug):
        return False
    check = record.checks.get((one.slug, item.slug)) if item.stops else None
    return item.required or (check is not None and beyond(record, check))


def _asked_too_late(record: VisitRecord, one: Phase, item: Item) -> bool:
    """Whether an item never recorded was not asked for when its phase was passed, in a visit from before it was.

    A sign-off, or a reading in a later phase, says that everything asked for then was recorded or waived. Banks may be
    read ahead of the heat-soaked phase.
    """
    if record.sign_off is None and record.phases_read.isdisjoint(_phases_after(one.slug)):
        return False
    if record.sign_off is not None and record.mistaken is not None:
        return False
    return record.newest_check(one.slug, item.slug) is None and (item.required or waiver_of(record, one) is None)


@cache
def _phases_after(slug: str) -> frozenset[str]:
    """The phases that are read only once that one was passed."""
    later = PHASES.index(phase_named(slug)) + 1
    return frozenset(p.slug for p in PHASES[later:] if slug != HEAT_SOAKED.slug or p is not BANK_BALANCE)


def _missing_rounds(record: VisitRecord, one: Phase) -> list[Missing]:
    accepted = accepted_round(record, one)
    match one.rounds:
        case "coarse":
            if needs_preset(record) and accepted is None:
                return [_round(Requirement.QUICK_ROUND)]
        case "fine" | "last":
            if accepted is None:
                never = one.rounds == "fine" and not any(r.closed for r in record.rounds if r.row.phase == one.slug)
                return [_round(Requirement.ROUND_AFTER_ADJUSTMENT, must=never and bool(reasons(record)))]
            if not passes(record, one, accepted):
                return [_round(Requirement.EVEN_ROUND)]
            if one.rounds == "fine":
                return [Missing(item, why) for item, why in snap.lacks_of(record)]
        case "openings":
            return _missing_openings(record, one)
        case "none":
            pass
    return []


def _missing_openings(record: VisitRecord, one: Phase) -> list[Missing]:
    match next_opening(record, [r for r in record.rounds if r.row.phase == one.slug]):
        case None:
            pass
        case 0.0:
            return [_round(Requirement.IDLE_ROUND)]
        case opening:
            shut = was_shut(record, one, (opening, False))
            return [_round(Requirement.LEVER_SHUT if shut else Requirement.OPENING_ROUNDS)]
    found, lacks = balance_of(record), list[Missing]()
    if read_without(record, one):
        lacks.append(Missing("opening-speed", because(Requirement.OPENING_SPEED)))
    if found is None or not balanced(record, found):
        return [_round(Requirement.BANKS_TOGETHER), *lacks]
    if bank := held_off(record):
        return [Missing("round", because(Requirement.BANK_ON_STOP, bank=bank)), *lacks]
    return lacks


def _round(code: Requirement, *, must: bool = False) -> Missing:
    return Missing("round", because(code), must)
