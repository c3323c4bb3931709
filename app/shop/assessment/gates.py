"""What stands before a phase: why nothing may be recorded in it now, or the engine not be read."""

import math
from collections.abc import Callable, Collection
from functools import partial
from typing import NamedTuple

from app.shop.assessment.progress import (
    PhaseStatus,
    asked_from_the_start,
    item_asked,
    lacks_item,
    leads_to_banks,
    must_have,
    status_of,
    stops_in,
    waiver_of,
    why_not_needed,
)
from app.shop.errors import RejectedError
from app.shop.procedure.heat import in_this_run, lacks_of, was_soaked
from app.shop.procedure.items import Item, Phase
from app.shop.procedure.limits import open_stops, why_ended
from app.shop.procedure.phases import BANK_BALANCE, COLD_PRESET, HEAT_SOAKED, PHASES, phase_named
from app.shop.procedure.requirements import Runs, Waiting
from app.shop.procedure.running import holds_until, run_out, state_of
from app.shop.reasons import Reason, because
from app.shop.record.visit_record import VisitRecord


class Gate(NamedTuple):
    """Why nothing may be recorded in a phase now, and why the engine may not be read in it; None where it may.

    ``at`` is when that was judged, None without a clock, ``until`` when something next runs out of itself [s].
    """

    closed: Reason | None
    waits: Reason | None
    at: float | None = None
    until: float = math.inf

    def holds(self, now: float | None) -> bool:
        """Whether it still is what stands before the phase at ``now`` [s]."""
        return now == self.at or (now is not None and self.at is not None and self.at <= now <= self.until)


def gate_of(record: VisitRecord, slug: str, status: Callable[[Phase], PhaseStatus] | None = None) -> Gate:
    """What stands before a phase. No reading taken in that phase or a later one changes it.

    ``status`` has how far each phase is, where that was worked out already.
    """
    closed = _why_closed(record, slug, status or partial(status_of, record))
    waits = None if closed else why_waiting(record, phase_named(slug))
    return Gate(closed, waits, record.now, holds_until(record))


def require_open(record: VisitRecord, slug: str) -> Phase:
    """The phase named, when something may be recorded in it now.

    Raises RejectedError once the visit is signed off, for a phase that does not exist, and while an earlier phase still
    lacks something: this is the order of the phases, and nothing else says it.
    """
    return through(_why_closed(record, slug, partial(status_of, record)), slug)


def through(closed: Reason | None, slug: str) -> Phase:
    """The phase named, when nothing closes it. Raises RejectedError with what does."""
    if closed is not None:
        raise RejectedError({"phase" if closed.code is Waiting.NO_SUCH_PHASE else "": closed})
    return phase_named(slug)


def require_ready(record: VisitRecord, phase: Phase) -> None:
    """Raises RejectedError while the engine may not be read in an open phase: stopped, or not yet safe to run."""
    if waits := why_waiting(record, phase):
        raise RejectedError({"value": waits})


def why_waiting(record: VisitRecord, phase: Phase) -> Reason | None:
    """What has to be done before the engine is read in an open phase; None for nothing. No reading changes it."""
    if why_not_needed(record, phase):
        return None
    stops = stops_in(record, phase)
    return stops[0] if stops else unready(record, phase)


def unready(record: VisitRecord, phase: Phase) -> Reason | None:
    """The same of a phase that is needed where no stop counts: as while the speed of an engine is recorded that ran too
    fast."""
    if phase.rounds != "none" and (why := state_of(record).stands):
        return because(Waiting.ENGINE_STANDS, why=why)
    if cold := _why_cold(record, phase):
        return cold
    again, waived = run_out(record, phase), waiver_of(record, phase) is not None
    for item in asked_from_the_start(record, phase):
        if item in again or _comes_first(record, phase, item, waived=waived):
            return because(Waiting.CHECK_FIRST, item=item_asked(phase, item))
    return None


def _read_already(record: VisitRecord, phase: Phase, item: Item) -> bool:
    """Whether a phase was read before an item stood ahead of its readings; what comes at the start still does."""
    return not item.at_start and any(one.row.phase == phase.slug and one.entered for one in record.rounds)


def comes_before(record: VisitRecord, phase: Phase, item: Item, given: Collection[str]) -> Item | None:
    """What has to be recorded before an item of a phase, with those ``given`` or ahead of them; None for nothing."""
    for one in asked_from_the_start(record, phase):
        before_key = item.at_start and one.before_running and one.required
        if (before_key or one.slug in item.after) and one.slug not in given and lacks_item(record, phase, one):
            return one
    return None


def _comes_first(record: VisitRecord, phase: Phase, item: Item, *, waived: bool) -> bool:
    """Whether an item that is missing comes before the readings: what must be safe, a figure that stopped the engine,
    and what stands ahead of them, unless it was ``waived`` with its phase."""
    if item.required:
        before = item.comes_first(record.visit.place) or (item.ahead and not _read_already(record, phase, item))
    elif item.stops and must_have(record, phase, item):
        before = True
    else:
        before = item.ahead and not waived and not _read_already(record, phase, item)
    return before and lacks_item(record, phase, item)


def _why_cold(record: VisitRecord, phase: Phase) -> Reason | None:
    """What an engine that is read hot in this phase lacks of its heat."""
    waiver = waiver_of(record, HEAT_SOAKED)
    if phase.rounds not in ("fine", "openings", "last") or (waiver is not None and in_this_run(record, waiver)):
        return None
    lacks = lacks_of(record)
    if not lacks:
        return None
    ran_out = phase is not HEAT_SOAKED or was_soaked(record)
    return because(Waiting.HEAT_RAN_OUT if ran_out else Waiting.NOT_HEAT_SOAKED, lack=lacks[0])


def _why_closed(record: VisitRecord, slug: str, status_of: Callable[[Phase], PhaseStatus]) -> Reason | None:
    if ended := why_ended(record):
        return ended
    wanted = next((phase for phase in PHASES if phase.slug == slug), None)
    if wanted is None:
        return because(Waiting.NO_SUCH_PHASE)
    if wanted is COLD_PRESET and record.visit.runs == Runs.RUNS:
        return because(Waiting.PRESET_DESTROYS)
    if stops := open_stops(record):
        return because(Waiting.STOPPED, stop=stops[0].reason)
    for one in PHASES[: PHASES.index(wanted)]:
        if one is HEAT_SOAKED and wanted is BANK_BALANCE and leads_to_banks(record):
            continue
        status = status_of(one)
        if not status.done:
            return because(Waiting.EARLIER_PHASE, phase=one.slug, missing=status.missing[0].reason)
    return None
