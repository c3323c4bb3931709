"""What of a running engine still counts: a stop, a pause or a clock put back ends what was true of it before.

Rows stand in their order by ids; a pause alone is told by the clock. It counts as a stop, since no row says what the
engine did meanwhile, and only a start that is recorded ends it.
"""

import math
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import timedelta
from functools import lru_cache
from itertools import pairwise

from app.shop.procedure.items import Item, Phase
from app.shop.procedure.limits import StopCause, ended_stops
from app.shop.procedure.parts import parts_of
from app.shop.procedure.phases import FIRST_FIRE, HEAT_SOAKED, PHASES
from app.shop.procedure.requirements import RanOut
from app.shop.reasons import Reason, because
from app.shop.record.entries import CheckEntry, EngineEventEntry
from app.shop.record.rounds import Round, seconds
from app.shop.record.visit_record import VisitRecord
from app.sync.engine.units import MINUTE

STARTED, STOPPED = "started", "stopped"

CLOCK_SLACK = 2 * MINUTE
"""By how much the shop computer's clock may be set back without anything being asked again [s] (our judgement)."""

SENT_AT_ONCE = 1.0
"""What was done less than this before it came in was not held by a tablet [s] (our judgement)."""


@dataclass(frozen=True, slots=True)
class OffMark:
    """The engine was off: since when [s], and the newest check and reading before that."""

    at: float
    check: int
    reading: int


@dataclass(frozen=True, slots=True)
class EngineState:
    """Where an engine stands by what was recorded of it.

    ``stands`` says why it counts as stopped and was not started since, None while it may be running. ``off`` is when it
    was last off, ``start`` the newest start that was recorded. ``cold`` is the newest start after it was off for longer
    than a pause, when nothing that was read before counts as heat; ``pause`` a pause that no start has ended yet.
    """

    stands: Reason | None = None
    off: OffMark | None = None
    start: EngineEventEntry | None = None
    cold: EngineEventEntry | None = None
    pause: OffMark | None = None


def as_done(record: VisitRecord, at: str) -> VisitRecord:
    """The record as something done at ``at`` is judged by.

    What a tablet held is judged by the later of that time and the newest row, so that no claimed age reaches back past
    what is known since.
    """
    done = seconds(at)
    if record.now is not None and record.now - done <= SENT_AT_ONCE:
        return record
    return record.judged_at(max(done, _newest(record)))


def time_of(record: VisitRecord) -> float:
    """The time that a record is judged by [s]: when it was asked for, else that of its newest row, at which it stands
    still once the visit is signed off."""
    return record.now if record.now is not None and record.sign_off is None else _newest(record)


def events_of(record: VisitRecord) -> tuple[EngineEventEntry, ...]:
    """The starts and stops of an engine, without stops that never were: a mistyped figure recorded one, the first event
    after it, and the engine ran on."""
    if not record.stop_ends:
        return record.engine_events
    ran_on = [stop.check for end, stops in ended_stops(record) if end.cause == StopCause.RAN_ON for stop in stops]
    void = {next((e.ident for e in record.engine_events if e.after_check >= check.ident), 0) for check in ran_on}
    return tuple(event for event in record.engine_events if event.ident not in void)


@lru_cache(maxsize=16)
def state_of(record: VisitRecord) -> EngineState:
    """Where the engine of a visit stands; once it is signed off, nothing runs out any more."""
    events, limit = events_of(record), math.inf if record.simulated else record.settings.pause
    stop = next((event for event in reversed(events) if event.what == STOPPED), None)
    start = next((event for event in reversed(events) if event.what == STARTED), None)
    cold = next(
        (
            later
            for earlier, later in reversed([*pairwise(events)])
            if (earlier.what, later.what) == (STOPPED, STARTED)
            and not 0 <= seconds(later.at) - seconds(earlier.at) <= limit
        ),
        None,
    )
    if record.sign_off is not None:
        return EngineState(start=start, cold=cold)
    off = OffMark(seconds(stop.at), stop.after_check, stop.after_reading) if stop is not None else None
    if stop is not None and stop is events[-1]:
        return EngineState(because(RanOut.STOPPED), off, start, cold)
    times = _signs(record, start)
    pause = _pause(record, times)
    if pause is None:
        return EngineState(None, off, start, cold)
    mark = _mark(record, pause[0])
    why = because(RanOut.PAUSED, time=timedelta(seconds=pause[1])) if pause[1] else because(RanOut.CLOCK_BACK)
    return EngineState(why, mark, start, cold, mark)


def never_ran(record: VisitRecord) -> bool:
    """Whether nothing says that the engine ever ran in this visit."""
    return not record.engine_events and not _signs(record, None)


def may_run(record: VisitRecord) -> bool:
    """Whether the engine ran in this visit and nothing says that it stands."""
    return state_of(record).stands is None and not never_ran(record)


def counts(record: VisitRecord, check: CheckEntry) -> bool:
    """Whether what was checked for a start still counts: the engine was not off since."""
    state = state_of(record)
    if state.pause is not None:
        return seconds(check.at) > state.pause.at
    return state.off is None or check.ident > state.off.check


def of_each_start(phase: Phase, item: Item) -> bool:
    """Whether an item is checked anew for every start: what keeps people from harm while the engine runs, and not what
    a fresh engine is asked once or what was put back."""
    once = item.fresh or item.when == "fresh" or item.puts_back != ""
    return phase.rounds != "none" and item.kind == "tick" and item.required and not once


def run_out(record: VisitRecord, phase: Phase) -> tuple[Item, ...]:
    """The items of a phase that were checked for an earlier start."""
    if state_of(record).off is None:
        return ()
    parts, place = parts_of(record.layout), record.visit.place
    asked = (item for item in phase.items if item.when in parts and place in item.where and of_each_start(phase, item))
    checks = ((item, record.checks.get((phase.slug, item.slug))) for item in asked)
    return tuple(item for item, check in checks if check is not None and not counts(record, check))


def round_ran_out(record: VisitRecord, one: Round) -> bool:
    """Whether an open round cannot be read on: the engine was off since, or its readings stand too far apart.

    One that was left for a further round ran out only if that was begun too late: time that passes after it changes
    nothing of what it says.
    """
    if one.closed or not one.entered:
        return False
    if ended_by_stop(record, one):
        return True
    later = [further for further in record.rounds if further.row.ident > one.row.ident and further.entered]
    if later:
        return bool(_pauses(record, one.times, later[0].times[0]))
    return record.sign_off is None and _pause(record, one.times) is not None


def ended_by_stop(record: VisitRecord, one: Round) -> bool:
    """Whether the engine was stopped or started, as recorded, between the first reading of a round and its last.

    A round that was left for an adjustment ended with it; the engine is stopped to make one.
    """
    if one.closed or not one.entered or not record.engine_events:
        return False
    first, last = one.entered[0].ident, one.ended if _left_for_adjustment(record, one) else math.inf
    return any(first <= event.after_reading < last for event in events_of(record))


def _left_for_adjustment(record: VisitRecord, one: Round) -> bool:
    """Whether an adjustment was made after a round and before a further one was begun."""
    later = (further.entered[0].ident for further in record.rounds if further.entered)
    begun = min((ident for ident in later if ident > one.ended), default=math.inf)
    return any(one.ended <= move.after_reading < begun for move in record.moves)


def cooled_after(record: VisitRecord) -> int:
    """The newest reading before the engine cooled last, 0 where it did not: what was read before is another state."""
    cold = state_of(record).cold
    return cold.after_reading if cold is not None else 0


def holds_until(record: VisitRecord) -> float:
    """The next moment at which something runs out of itself [s]; infinite where nothing does."""
    if record.sign_off is not None:
        return math.inf
    state, pause = state_of(record), record.settings.pause
    times = _signs(record, state.start)
    looks = [check for (phase, _), check in record.checks.items() if phase == HEAT_SOAKED.slug and check.number]
    ends = [seconds(look.text or look.at) + record.settings.heat.lasts for look in looks if look.item in LOOKS]
    ends += [time + pause for time in times[-1:]]
    ends += [one.times[-1] + pause for one in record.rounds[-1:] if one.entered]
    ends += [state.off.at + pause] if state.off is not None else []
    now = time_of(record)
    return min([end for end in ends if end >= now], default=math.inf)


def _newest(record: VisitRecord) -> float:
    """The time of the newest row [s]; 0 before there is one."""
    times = [seconds(row.at) for rows in (record.all_checks, record.all_moves, record.engine_events) for row in rows]
    return max([*times, *[one.times[-1] for one in record.rounds if one.entered]], default=0.0)


@lru_cache(maxsize=16)
def _signs(record: VisitRecord, start: EngineEventEntry | None) -> tuple[float, ...]:
    """When something was read or checked since the newest start, or else since the engine first ran, in order [s]."""
    check, reading = (start.after_check, start.after_reading) if start is not None else (0, 0)
    checks = [c for c in record.all_checks if c.ident > check]
    read = list[float]()
    for one in record.rounds:
        if one.newest > reading:
            begun_before = one.entered[0].ident <= reading
            read += [seconds(r.at) for r in one.entered if r.ident > reading] if begun_before else one.times
    ran = [*read, *[seconds(c.at) for c in checks if (c.phase, c.item) in SEEN_RUNNING]]
    if start is None and not ran:
        return ()
    first = seconds(start.at) if start is not None else min(ran)
    times = [first, *read, *[seconds(c.at) for c in checks]]
    return tuple(sorted([time for time in times if time >= first]))


def _pause(record: VisitRecord, times: Sequence[float]) -> tuple[float, float] | None:
    """When the newest pause beyond the limit began and how long it is [s], 0 for a clock put back; None for none."""
    if not times:
        return None
    if record.now is not None and record.now < times[-1] - CLOCK_SLACK and not record.simulated:
        return times[-1], 0.0
    return next(reversed(_pauses(record, times, time_of(record))), None)


def _pauses(record: VisitRecord, times: Sequence[float], until: float) -> list[tuple[float, float]]:
    """The pauses beyond the limit between any two of these times, in order, and ``until``: when each began and how long
    it is [s]. Simulated engines wait for ever."""
    limit = math.inf if record.simulated else record.settings.pause
    pairs = pairwise((*times, max(until, times[-1])))
    return [(begin, end - begin) for begin, end in pairs if end - begin > limit]


def _mark(record: VisitRecord, began: float) -> OffMark:
    """The rows from before a pause that began then."""
    checks = (c.ident for c in record.all_checks if seconds(c.at) <= began)
    readings = (r.ident for one in record.rounds for r in one.entered if seconds(r.at) <= began)
    return OffMark(began, max(checks, default=0), max(readings, default=0))


LOOKS = frozenset(item.slug for item in HEAT_SOAKED.items if item.over_time)
"""The items of a look at the gauges."""

SEEN_RUNNING = frozenset(
    (phase.slug, item.slug)
    for phase in PHASES
    for item in phase.items
    if (phase is FIRST_FIRE and not item.before_running) or (phase is HEAT_SOAKED and item.over_time)
)
"""The items that cannot be recorded before the engine runs."""
