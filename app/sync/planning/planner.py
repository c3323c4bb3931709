"""The one next move at idle: which adjuster, how far, or which bore to read first.

The posterior of the engine (``filter``) is put against the cheapest set of moves (``optimize``), of which only the
first is advised; after each reading and each move everything is thought through again. A bore is read before two
minutes are spent on it when its chance of standing outside is undecided, and after a feeler when more feelers wait
beyond it; everything else waits for the last round, most doubtful bore first, so that what failed shows early.
"""

import math
from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass, replace
from functools import partial

import numpy as np

from app.sync.engine.adjusters.kind import ScrewWithGain
from app.sync.engine.adjusters.registry import kind_at, own_adjuster, own_screws
from app.sync.engine.events import Event, IdleSpeed, Meter, Move, Reading
from app.sync.engine.hardware import Hardware
from app.sync.engine.idle_flow import solve_idle
from app.sync.engine.layout import Adjuster, Layout, StopScrew
from app.sync.engine.work_minutes import READ_MINUTES
from app.sync.estimation.column_sharing import sharing_learned
from app.sync.estimation.conformity import LIMIT_PROBABILITY, Conformity, Decision
from app.sync.estimation.depth_start import depth_learned, read_by_columns
from app.sync.estimation.evenness import evenness
from app.sync.estimation.posterior import Posterior, start_prior
from app.sync.estimation.uncertain_gains import A_LITTLE
from app.sync.estimation.visit_hypotheses import Judged, bands_after, judged
from app.sync.planning.advice import (
    MOST_THEN,
    Advice,
    AdviceKind,
    AdviceReason,
    Expected,
    good_word,
    held_to_range,
    move_of,
    step_kind,
    why_turned,
)
from app.sync.planning.contradictions import nothing_helps, to_read_again
from app.sync.planning.evaluation import (
    SIXTEENTH,
    Evaluation,
    PlanningProblem,
    achievable_tolerance,
    all_bores_inside,
    idle_is_off,
    no_change,
    outcomes,
    plausible_stacks,
)
from app.sync.planning.faults import fault_to_name
from app.sync.planning.optimize import Plan, first_at, optimize
from app.sync.planning.recent_events import (
    first_tried,
    idle_as_read,
    last_move,
    moves_at,
    not_back,
    recently_turned,
    since_last_move,
    to_and_fro,
    weariness,
)
from app.sync.planning.uncertain_screws import as_if_known, opened_by, screw_room
from app.sync.readings.carried import as_judged
from app.sync.readings.observation import own_of
from app.sync.readings.untouched import Untouched, beyond_a_round, ends_with, untouched

ENOUGH = 0.88
"""Chance that everything is inside at which to stop: below, engines leave uneven, above, minutes go into noise
(our judgement)."""

DEAR = 2.0  # our judgement
RISING = 1.0
"""Price of leaving a bore as it is against one that was set and missed, and how it grows with each reading past a whole
round with no move, so that dithering ends (our judgement)."""

SURE_TO_LEAVE = 0.90
"""Chance that every bore is inside, by all that was read and moved, from which an engine with a good verdict is left:
below, what was read since the last move alone flatters it (our judgement)."""

LOST = 0.65
"""Chance of being outside from which no reading will help any more: the price then grows until some move pays
(our judgement)."""

UNDECIDED = (0.15, 0.85)
"""Chance of standing outside between which a bore is read before a feeler is spent on it (our judgement)."""

DOUBT_AFTER_BLADE = 0.25
"""Chance of having missed from which a bore is read before the next feeler: what it teaches of this engine's gain
aims that one better (our judgement)."""

MOST_EXTRA = 10
"""Readings past a whole round with no move after which no further one is asked for, and as many more as there are bores
where the verdict says that they would decide it (our judgement)."""

SEATED = 1 / 4
"""Turns left to a screw that meets an end from which it is taken to have come to it: what is left of them moves too
little to go back and forth for (our judgement)."""

MOST_WEARY = 10.0
"""Minutes that a further move would have to bring from which none is made any more (our judgement)."""


@dataclass(frozen=True)
class _PlanningContext:
    """All that one piece of advice is drawn from. ``read`` are the bores read since the last move, in order; ``before``
    are those of readings that no move acted on since; ``inside`` is the chance that every bore is, as it stands."""

    layout: Layout
    posterior: Posterior
    meter: Meter
    task: PlanningProblem
    standing: Evaluation
    inside: float
    events: Sequence[Event]
    read: Sequence[int]
    before: Sequence[int]
    found: Judged

    @property
    def told(self) -> Sequence[int]:
        """The bore of every reading that tells how it stands."""
        return [*self.before, *self.read]

    @property
    def all_inside(self) -> float:
        """The chance that every bore and the speed are inside."""
        return self.inside * float(1 - self.standing.off_speed[0])

    def outside(self, bore: int) -> float:
        """Chance that a bore stands outside as it is."""
        return float(self.standing.outside[0, self.posterior.row(bore)])


def next_move(
    layout: Layout,
    hardware: Hardware,
    meter: Meter,
    events: Sequence[Event],
    wanted_speed: float,
    blades: Sequence[float],
    window: float,
    displacement: float,
    start: Posterior | None = None,
    decision: Decision | None = None,
    suspect: Adjuster | None = None,
) -> Advice:
    """The one next step towards an even idle; it is done when the verdict says so, and never before.

    Parameters: ``layout`` of the engine; ``hardware`` fitted; ``meter`` read with; ``events`` so far, oldest first;
    ``wanted_speed`` [rev/s]; ``blades`` owned, single leaves [m]; ``window`` half width as a fraction of the mean;
    ``displacement`` [m3] of the whole engine, above 0; ``start`` the prior from earlier visits, the usual one when
    None; ``decision`` what was decided of the readings since the last move, decided here when None; ``suspect`` the
    adjuster that slipped since the engine was left, where one is named: it is moved first.
    """
    if displacement <= 0:
        raise ValueError("an engine has a displacement")
    taken = [e for e in since_last_move(events) if isinstance(e, Reading)]
    closed = True in [e.closing for e in taken]
    events, narrow = as_judged(layout, meter, events, window)
    read_ever = {e.bore for e in events if isinstance(e, Reading)}
    if unread := tuple([bore for bore in layout.bores if bore not in read_ever]):
        return Advice(AdviceKind.MEASURE, AdviceReason.FIRST_ROUND, bores=unread)
    since = [e for e in since_last_move(events) if isinstance(e, Reading)]
    if since and not closed and not moves_at(events):
        close = Advice(AdviceKind.MEASURE, AdviceReason.CLOSE_ROUND, bores=(since[0].bore,))
        return to_read_again(layout, meter, since) or close
    start = read_by_columns(start or start_prior(layout, hardware, displacement, wanted_speed), meter, events)
    start = depth_learned(sharing_learned(start, meter, events), meter, events)
    found = judged(start, meter, tuple(events))
    posterior, as_told, meter = found.posterior, meter, found.meter
    before = [e for e in events if isinstance(e, Reading)][: -len(since) or None]
    if told := to_read_again(layout, meter, since, before) or fault_to_name(found, events):
        return told
    earlier = untouched(layout, events)
    bench = _bench(start, found, as_told, narrow, blades, events, earlier)
    shared, sd = posterior.engine.sharing, posterior.engine.sharing_sd
    decide = partial(evenness, layout, taken, meter, window, sharing=shared, sharing_sd=sd, earlier=earlier)
    asked = decision is None and closed and not set(layout.bores) - set(bench.told)  # before that it settles nothing
    decision = decide(ahead=False).decision if asked else decision
    even = decision is not None and decision.conformity is Conformity.EVEN and bench.standing.off_speed[0] <= LOST
    if not even and bench.all_inside < ENOUGH and (plan := _plan(bench)):
        if suspect is not None and not moves_at(events):
            plan = first_at(suspect, plan, as_if_known(bench.posterior), bench.task)
        advice = held_to_range(_towards(plan, bench), posterior, 1 + float(bench.standing.speed[0]))
    else:
        decision = decide().decision if asked else decision
        advice = _last_round(bench, closed, decision, finer=narrow < bench.task.window)
    return replace(advice, inside=bench.inside)


def _bench(
    start: Posterior,
    found: Judged,
    told: Meter,
    window: float,
    blades: Sequence[float],
    events: Sequence[Event],
    earlier: Sequence[Untouched],
) -> _PlanningContext:
    """What a piece of advice is drawn from: the task at hand and how the engine stands to it."""
    posterior, meter = found.posterior, found.meter
    layout, read = posterior.layout, [e.bore for e in since_last_move(events) if isinstance(e, Reading)]
    before = [one.bore for state in earlier for one in state.readings]
    extra, weary = beyond_a_round(layout.bores, len(read), before), weariness(layout, events)
    seen, wanted = idle_as_read(events), posterior.engine.speed
    off = seen is not None and idle_is_off(seen, wanted)
    no_way = recently_turned(events)
    if not off:
        no_way |= to_and_fro(events)
    if seen is not None and not off:
        no_way |= not_back(events)
    task = PlanningProblem(
        plausible_stacks(blades, posterior),
        max(window, achievable_tolerance(posterior)),
        IdleSpeed in map(type, events),
        DEAR + (0.0 if weary else RISING * extra),
        weary,
        dict.fromkeys([*before, *read], READ_MINUTES),
        own_of(meter),
        opened_by(start, events),
        no_way=no_way,
        seen_beside=_seen_beside(start, told, events) if seen is None else 0.0,
    )
    standing = outcomes(posterior, task, [no_change(layout)])
    if seen is not None:
        standing = replace(standing, off_speed=np.array([float(off)]))
        if off:
            task = replace(task, seen_beside=math.log(seen / wanted / (1 + standing.speed[0])))
            standing = replace(standing, speed=np.array([seen / wanted - 1]))
    if standing.off_speed[0] > LOST:
        further = 1 if standing.speed[0] > 0 else -1
        task = replace(task, no_way=task.no_way | {(StopScrew(bank.name), further) for bank in layout.banks})
    inside = all_bores_inside(found.likely, found.chances, task)
    return _PlanningContext(layout, posterior, meter, task, standing, inside, events, read, before, found)


def _seen_beside(start: Posterior, told: Meter, events: Sequence[Event]) -> float:
    """ln of the idle speed that was read last over the one that the posterior made of everything then; 0 where none was
    read, or it was right."""
    last = next((at for at in reversed(range(len(events))) if isinstance(events[at], IdleSpeed)), None)
    read = events[last] if last is not None else None
    if last is None or not isinstance(read, IdleSpeed) or not idle_is_off(read.speed, start.engine.speed):
        return 0.0
    then = judged(start, told, tuple(events[: last + 1])).posterior
    log_speed = float(solve_idle(then.engine, then.areas, then.log_demand).log_speed)
    return math.log(read.speed / then.engine.speed) - log_speed


def _towards(plan: Plan, bench: _PlanningContext) -> Advice:
    """The first step of a plan, with the moves that follow in its order, at most ``MOST_THEN``."""
    first, later = _first_of(plan, bench), plan.moves[1 : 1 + MOST_THEN]
    return first if move_of(first) is None else replace(first, then=tuple([_as_advice(*one, bench) for one in later]))


def _plan(bench: _PlanningContext, *, force: bool = False) -> Plan:
    """The cheapest moves; where a bore is lost without one, the price of leaving it grows until some move pays.

    ``force`` lets the price grow even where no bore is lost. It does not grow where so many moves were made that each
    further one has to bring more, except that an idle speed is set right.
    """
    helpless = frozenset([bore for bore in bench.layout.bores if _why_unadjustable(bore, bench)])
    task, posterior = replace(bench.task, helpless=helpless), as_if_known(bench.posterior)
    helped = max([bench.outside(bore) for bore in bench.layout.bores if bore not in helpless], default=0.0)
    weary = weariness(bench.layout, bench.events)
    lost, off = force or helped > LOST, bench.standing.off_speed[0] > LOST
    if weary >= MOST_WEARY and not off:
        return Plan((), float(bench.standing.cost[0]))
    if not off and (weary or not lost):
        return optimize(posterior, task)
    task = replace(task, weary=0.0, undone={})
    for _ in range(5):
        if plan := optimize(posterior, task):
            break
        task = replace(task, dearness=1.6 * task.dearness)
    return plan


def _first_of(plan: Plan, bench: _PlanningContext) -> Advice:
    """The first move of a plan, or the reading to take before it."""
    last = last_move(bench.events)
    if last is not None and last.place.sets not in bench.read and first_tried(bench.layout, bench.events):
        return Advice(AdviceKind.MEASURE, AdviceReason.AFTER_MOVE, bores=_set_by(last))
    adjuster, amount = plan.moves[0]
    kind = kind_at(bench.layout, adjuster)
    move, bores = _as_advice(adjuster, amount, bench), kind.reach(bench.layout, adjuster)
    if kind.effect == "turns a bank":
        fast, off = float(bench.standing.speed[0]), float(bench.standing.off_speed[0])
        return _with_expected(replace(move, why=why_turned(move.turns, fast, off), bores=bores), bench)
    assert move.place.sets is not None
    if first := read_before(move.place.sets, bench):
        return first
    if isinstance(kind, ScrewWithGain) and not bench.posterior.sign_known(adjuster):
        return replace(move, why=AdviceReason.DIRECTION, turns=A_LITTLE, bores=bores)
    return _with_expected(replace(move, why=_why_set(move.place.sets, bench), bores=bores), bench)


def _as_advice(adjuster: Adjuster, amount: int, bench: _PlanningContext) -> Advice:
    """A move of a plan, ``amount`` as it has it, without a reason yet."""
    kind = kind_at(bench.layout, adjuster)
    place = kind.place(adjuster)
    advice = Advice(step_kind(kind), AdviceReason.THEN, bank=place.bank or None, near=place.near, far=place.far)
    if kind.effect == "sets a gap":
        return replace(advice, leaves=bench.task.stacks[amount])
    return replace(advice, turns=amount * (kind.step if isinstance(kind, ScrewWithGain) else SIXTEENTH))


def _why_set(bore: int, bench: _PlanningContext) -> AdviceReason:
    """Why a bore is set: it is open or closed, or it follows others that are."""
    if bench.outside(bore) <= 0.5:
        return AdviceReason.FOLLOWS
    flows = bench.standing.flows[0]
    return AdviceReason.OPEN if flows[bench.posterior.row(bore)] > flows.mean() else AdviceReason.CLOSED


def read_before(bore: int, bench: _PlanningContext) -> Advice | None:
    """The reading that is worth more than going straight on to a move that sets a bore; None where none is.

    Parameters: ``bore`` to be set; ``bench``, all that the advice is drawn from.
    """
    last = last_move(bench.events)
    for set_last in _set_by(last) if last is not None else ():
        if set_last not in bench.read and bench.outside(set_last) > DOUBT_AFTER_BLADE:
            return Advice(AdviceKind.MEASURE, AdviceReason.AFTER_MOVE, bores=(set_last,))
    low, high = UNDECIDED
    if low < bench.outside(bore) < high and bench.told.count(bore) < 2:
        return Advice(AdviceKind.MEASURE, AdviceReason.DOUBTFUL, bores=(bore,))
    return None


def _set_by(move: Move) -> tuple[int, ...]:
    """The bore that a move was made for; none where it was made for a whole bank."""
    return () if move.place.sets is None else (move.place.sets,)


def _why_unadjustable(bore: int, bench: _PlanningContext) -> AdviceReason | None:
    """Why no move can even a bore against the others; None where one can."""
    own = own_adjuster(bench.layout, bore)
    if own is None:
        return AdviceReason.NO_ADJUSTER
    kind = kind_at(bench.layout, own)
    if not isinstance(kind, ScrewWithGain) or not kind.has_end:
        return None
    least, most = screw_room(bench.layout, bench.task.opened)[own_screws(bench.layout).index(own)]
    flows = bench.standing.flows[0]
    left = -least if flows[bench.posterior.row(bore)] > flows.mean() else most
    return AdviceReason.BYPASS_END if left * kind.step <= SEATED else None


def _last_round(bench: _PlanningContext, closed: bool, decision: Decision | None, finer: bool) -> Advice:
    """Where no move pays: what is left to read, that it is done, or what is done about a verdict that is not even."""
    by_doubt = sorted(bench.layout.bores, key=lambda bore: -bench.outside(bore))
    unread = tuple(bore for bore in by_doubt if bore not in bench.told)
    if unread:
        return Advice(AdviceKind.MEASURE, AdviceReason.LAST_ROUND, bores=unread)
    if not closed or decision is None:
        last = ends_with(bench.layout.bores, bench.read, bench.before) if bench.read else by_doubt[0]
        return Advice(AdviceKind.MEASURE, AdviceReason.CLOSE_ROUND, bores=(last,))
    if decision.unproved:
        return Advice(AdviceKind.MEASURE, AdviceReason.ONE_PROBE, bores=decision.unproved)
    if finer and bench.all_inside >= ENOUGH and decision.conformity is not Conformity.EVEN:
        return Advice(AdviceKind.DONE, AdviceReason.FINEST)
    extra = beyond_a_round(bench.layout.bores, len(bench.read), bench.before)
    good = good_word(decision)
    if good and (bench.inside >= SURE_TO_LEAVE or extra >= MOST_EXTRA or bench.meter.quantity != "flow"):
        return good
    for bore in () if good else by_doubt:
        if bench.outside(bore) > LOST and (why := _why_unadjustable(bore, bench)):
            return Advice(AdviceKind.CANNOT, why, near=bore, about=(bore,))
    undecided = decision.conformity is not Conformity.NOT_EVEN
    left = MOST_EXTRA + (0 if decision.rounds is None or good else len(bench.layout.bores)) - extra
    if undecided and left > 0:
        bores = decision.read_next[:1] if decision.rounds is not None else ()
        asked = bores or (_most_doubtful(bench),)
        return Advice(AdviceKind.MEASURE, AdviceReason.DOUBTFUL, bores=asked, readings=left)
    unlikely = decision.all_inside is None or decision.all_inside < LIMIT_PROBABILITY
    if unlikely and (plan := _plan(bench, force=True)):
        return _towards(plan, bench)
    if undecided:
        return Advice(AdviceKind.CANNOT, AdviceReason.TOO_CLOSE, about=tuple(by_doubt[:1]))
    return nothing_helps(sorted((*decision.above, *decision.below)) or by_doubt[:1], bench.told)


def _most_doubtful(bench: _PlanningContext) -> int:
    """The bore whose next reading tells most."""
    times, chances = Counter(bench.told), {bore: bench.outside(bore) for bore in bench.layout.bores}
    return max(bench.layout.bores, key=lambda b: chances[b] * (1 - chances[b]) / times[b])


def _with_expected(advice: Advice, bench: _PlanningContext) -> Advice:
    """The advice with the reading to expect at each bore that moves, and its band in nine cases of ten."""
    move = move_of(advice)
    assert move is not None
    bands = bands_after(bench.found, move, advice.bores)
    return replace(advice, expected={bore: Expected(*band) for bore, band in bands.items()})
