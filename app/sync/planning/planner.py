"""The one next move at idle: which adjuster, how far, or which bore to read first.

What is believed of the engine (``estimate``) is put against the cheapest set of moves (``plan``), of which only the
first is advised; after each reading and each move everything is thought through again. A bore is read before two
minutes are spent on it when its chance of standing outside is undecided, and after a blade when more blades wait beyond
it; everything else waits for the last round, most doubtful bore first, so that what failed shows early.
"""

import math
from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass, replace
from functools import lru_cache
from itertools import takewhile

from app.sync.engine.events import BladeReset, BypassTurn, Event, IdleSpeed, Meter, Reading, ScrewTurn, StopTurn
from app.sync.engine.hardware import Hardware
from app.sync.engine.idle_flow import usual_breathing
from app.sync.engine.layout import Adjuster, Bypass, Coupler, Layout, StopScrew
from app.sync.estimation.filter import predicted_readings, run_filter
from app.sync.estimation.posterior import Posterior, prior_for
from app.sync.estimation.predict import adjuster_of, predict
from app.sync.estimation.uncertain_gains import A_LITTLE
from app.sync.planning.advice import MOST_THEN, Advice, AdviceKind, AdviceReason, Expected, move_of
from app.sync.planning.evaluation import (
    READ_MINUTES,
    SIXTEENTH,
    Evaluation,
    PlanningProblem,
    achievable_tolerance,
    no_change,
    outcomes,
    plausible_stacks,
)
from app.sync.planning.optimize import Plan, optimize
from app.sync.planning.recent_events import SEEN, moves_at, remembered, since_last_move, since_last_seen
from app.sync.planning.uncertain_screws import EIGHTH, as_if_known, bypass_room, turned_out
from app.sync.readings.repeat_checks import excess_scatter, inconsistent
from app.sync.readings.rounds import outliers, reading_sd

ENOUGH = 0.88
"""Chance that everything is inside at which to stop: below, engines leave uneven, above, minutes go into noise."""

DEAR = 2.0
RISING = 1.0
"""Price of leaving a bore as it is against one that was set and missed, and how it grows with each reading past a whole
round with no move, so that dithering ends."""

LOST = 0.65
"""Chance of being outside from which no reading will help any more: the price then grows until some move pays."""

UNDECIDED = (0.15, 0.85)
"""Chance of standing outside between which a bore is read before a blade is spent on it."""

DOUBT_AFTER_BLADE = 0.25
"""Chance of having missed from which a bore is read before the next blade: what it teaches of this engine's gain
aims that one better."""

MOST_EXTRA = 10
"""Readings past a whole round with no move after which what stands is called the finest that can be reached."""

MOST_UNMOVED = 2
"""Moves of one adjuster in a row that moved nothing, after which the cause is looked for."""

SEATED = 1 / 4
"""Turns left to a bypass screw from which it is taken to have come to its end: what is left of them moves too little to
go back and forth for."""

_TURNS = (StopTurn, ScrewTurn, BypassTurn)

ENOUGH_FOR_SLOP = 4
"""Readings of one bore with nothing moved that have to scatter before slack is spoken of."""


@dataclass(frozen=True)
class _PlanningContext:
    """All that one piece of advice is drawn from. ``read`` are the bores read since the last move, in order."""

    posterior: Posterior
    meter: Meter
    task: PlanningProblem
    standing: Evaluation
    events: Sequence[Event]
    read: Sequence[int]

    @property
    def layout(self) -> Layout:
        return self.posterior.layout

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
) -> Advice:
    """The one next step towards an even idle.

    Parameters: ``layout`` of the engine; ``hardware`` fitted; ``meter`` read with; ``events`` so far, oldest first;
    ``wanted_speed`` [rev/s]; ``blades`` owned, single leaves [m]; ``window`` half width as a fraction of the mean;
    ``displacement`` [m3] of the whole engine, above 0; ``start`` the prior from earlier visits, the usual one when
    None.
    """
    if displacement <= 0:
        raise ValueError("an engine has a displacement")
    read_ever = {e.bore for e in events if isinstance(e, Reading)}
    unread = tuple(bore for bore in layout.bores if bore not in read_ever)
    if unread:
        return Advice(AdviceKind.MEASURE, AdviceReason.FIRST_ROUND, bores=unread)
    since = [e for e in since_last_move(events) if isinstance(e, Reading)]
    if again := _to_read_again(layout, meter, since):
        return again
    if since and not any(e.closing for e in since) and not moves_at(events):
        return Advice(AdviceKind.MEASURE, AdviceReason.CLOSE_ROUND, bores=(since[0].bore,))
    if start is None:
        start = start_prior(layout, hardware, displacement, wanted_speed)
    posterior = _followed(start, meter, tuple(remembered(events, layout)))
    extra = max(len(since) - len(layout.bores) - 1, 0)
    reachable = max(window, achievable_tolerance(posterior))
    task = PlanningProblem(
        plausible_stacks(blades, posterior),
        reachable,
        any(isinstance(e, IdleSpeed) for e in events),
        DEAR + RISING * extra,
        READ_MINUTES * len({e.bore for e in since}),
        _opened(start, events),
        no_way=_recently_turned(events),
    )
    standing = outcomes(posterior, task, [no_change(layout)])
    bench = _PlanningContext(posterior, meter, task, standing, events, [e.bore for e in since])
    if standing.all_inside[0] < ENOUGH and (plan := _plan(bench)):
        first = _first_of(plan, bench)
        return first if move_of(first) is None else replace(first, then=_then(plan, bench))
    return _last_round(bench, any(e.closing for e in since), finer=window < reachable)


@lru_cache(maxsize=64)
def start_prior(layout: Layout, hardware: Hardware, displacement: float, wanted_speed: float) -> Posterior:
    """What is believed of an engine of that size before anybody read it; the same object for the same engine.

    Parameters: ``layout`` of the engine; ``hardware`` fitted; ``displacement`` [m3] of the whole engine, above 0;
    ``wanted_speed`` [rev/s].
    """
    return prior_for(layout, hardware, usual_breathing(len(layout.bores), displacement, wanted_speed, layout.plenum))


def _followed(start: Posterior, meter: Meter, events: tuple[Event, ...]) -> Posterior:
    """``run_filter``, with what was believed before the last move kept from when it was asked before."""
    moves = moves_at(events)
    return (
        run_filter(_before_move(start, meter, events[: moves[-1]]), meter, events[moves[-1] :])
        if moves
        else run_filter(start, meter, events)
    )


_before_move = lru_cache(maxsize=256)(_followed)


def _to_read_again(layout: Layout, meter: Meter, since: Sequence[Reading]) -> Advice | None:
    """A bore whose readings cannot all be right, before anything is believed."""
    by_bore = {bore: [e.value for e in since if e.bore == bore] for bore in layout.bores}
    for bore, values in by_bore.items():
        if len(values) >= ENOUGH_FOR_SLOP and excess_scatter(values, meter):
            return Advice(AdviceKind.CANNOT, AdviceReason.SCATTER, about=(bore,))
        if inconsistent(values, meter):
            return Advice(AdviceKind.MEASURE, AdviceReason.DISAGREE, bores=(bore,))
    odd = outliers({bore: values[0] for bore, values in by_bore.items() if values})
    once = tuple(bore for bore in layout.bores if bore in odd and len(by_bore[bore]) == 1)
    return Advice(AdviceKind.MEASURE, AdviceReason.MISREAD, bores=once) if once else None


def _plan(bench: _PlanningContext) -> Plan:
    """The cheapest moves; where a bore is lost without one, the price of leaving it grows until some move pays."""
    helpless = frozenset(bore for bore in bench.layout.bores if _why_unadjustable(bore, bench))
    task, posterior = replace(bench.task, helpless=helpless), as_if_known(bench.posterior)
    helped = (bench.outside(bore) for bore in bench.layout.bores if bore not in helpless)
    if max([*helped, float(bench.standing.off_speed[0])]) <= LOST:
        return optimize(posterior, task)
    task = replace(task, restart=0.0)
    for _ in range(5):
        if plan := optimize(posterior, task):
            break
        task = replace(task, dearness=1.6 * task.dearness)
    return plan


def _first_of(plan: Plan, bench: _PlanningContext) -> Advice:
    """The first move of a plan, or the reading to take before it."""
    last = _last_move(bench)
    if isinstance(last, ScrewTurn) and last.far not in bench.read and _first_tried(last, bench):
        return Advice(AdviceKind.MEASURE, AdviceReason.AFTER_MOVE, bores=(last.far,))
    if plan.turns:
        name, sixteenths = plan.turns[0]
        if _has_no_effect(StopScrew(name), bench):
            return Advice(AdviceKind.CANNOT, AdviceReason.NO_EFFECT, bank=name, about=(bench.layout.bank(name).stop,))
        moved = bench.layout.bank(name).bores
        why = AdviceReason.STOP_SPEED if bench.standing.off_speed[0] > 0.5 else AdviceReason.STOP_BANK
        return _with_expected(Advice(AdviceKind.STOP, why, bank=name, turns=sixteenths * SIXTEENTH, bores=moved), bench)
    places = bench.layout.couplers()
    if plan.blades or plan.screws:
        coupler, amount = min((*plan.blades, *plan.screws), key=lambda one: places.index(one[0]))
        return _at_coupler(coupler, amount, bench)
    bore, eighths = plan.bypass[0]
    if first := _read_before(bore, bench):
        return first
    if _has_no_effect(Bypass(bore), bench):
        return Advice(AdviceKind.CANNOT, AdviceReason.NO_EFFECT, near=bore, about=(bore,))
    why = _why_set(bore, bench)
    return _with_expected(Advice(AdviceKind.BYPASS, why, near=bore, turns=eighths * EIGHTH, bores=(bore,)), bench)


def _then(plan: Plan, bench: _PlanningContext) -> tuple[Advice, ...]:
    """What follows the first move of a plan, in its order and at most ``MOST_THEN``."""
    layout, places = bench.layout, bench.layout.couplers()
    moves = [
        Advice(AdviceKind.STOP, AdviceReason.THEN, bank=bank, turns=sixteenths * SIXTEENTH)
        for bank, sixteenths in plan.turns
    ]
    for at, amount in sorted((*plan.blades, *plan.screws), key=lambda one: places.index(one[0])):
        if layout.by_screw(at):
            moves.append(
                Advice(AdviceKind.SCREW, AdviceReason.THEN, near=at.near, far=at.far, turns=amount * SIXTEENTH)
            )
        else:
            moves.append(
                Advice(AdviceKind.BLADE, AdviceReason.THEN, near=at.near, far=at.far, leaves=bench.task.stacks[amount])
            )
    moves += [
        Advice(AdviceKind.BYPASS, AdviceReason.THEN, near=bore, turns=eighths * EIGHTH) for bore, eighths in plan.bypass
    ]
    return tuple(moves[1 : 1 + MOST_THEN])


def _at_coupler(coupler: Coupler, amount: int, bench: _PlanningContext) -> Advice:
    """The move at a coupler, or the reading to take before it. ``amount`` as in ``Plan``."""
    near, far = coupler.near, coupler.far
    if first := _read_before(far, bench):
        return first
    if _has_no_effect(coupler, bench):
        return Advice(AdviceKind.CANNOT, AdviceReason.NO_EFFECT, near=near, far=far, about=(far,))
    moved, why = bench.layout.bank_of(far).beyond(coupler), _why_set(far, bench)
    if not bench.layout.by_screw(coupler):
        leaves = bench.task.stacks[amount]
        return _with_expected(Advice(AdviceKind.BLADE, why, near=near, far=far, leaves=leaves, bores=moved), bench)
    if bench.posterior.knows_way(coupler):
        turns = amount * SIXTEENTH
        return _with_expected(Advice(AdviceKind.SCREW, why, near=near, far=far, turns=turns, bores=moved), bench)
    return Advice(AdviceKind.SCREW, AdviceReason.DIRECTION, near=near, far=far, turns=A_LITTLE, bores=moved)


def _why_set(bore: int, bench: _PlanningContext) -> AdviceReason:
    """Why a bore is set: it is open or closed, or it follows others that are."""
    if bench.outside(bore) <= 0.5:
        return AdviceReason.FOLLOWS
    flows = bench.standing.flows[0]
    return AdviceReason.OPEN if flows[bench.posterior.row(bore)] > flows.mean() else AdviceReason.CLOSED


def _read_before(bore: int, bench: _PlanningContext) -> Advice | None:
    """The reading that is worth more than going straight on to a move that is to set this bore."""
    last = _last_move(bench)
    set_last = last.far if isinstance(last, BladeReset | ScrewTurn) else None
    if isinstance(last, BypassTurn):
        set_last = last.bore
    if set_last is not None and set_last not in bench.read and bench.outside(set_last) > DOUBT_AFTER_BLADE:
        return Advice(AdviceKind.MEASURE, AdviceReason.AFTER_MOVE, bores=(set_last,))
    low, high = UNDECIDED
    if low < bench.outside(bore) < high and bench.read.count(bore) < 2:
        return Advice(AdviceKind.MEASURE, AdviceReason.DOUBTFUL, bores=(bore,))
    return None


def _first_tried(turn: ScrewTurn, bench: _PlanningContext) -> bool:
    """Whether a screw of unknown way was turned for the first time: the reading after it is what it was turned for."""
    coupler = Coupler(turn.near, turn.far)
    before = [e for e in bench.events if isinstance(e, ScrewTurn) and (e.near, e.far) == (turn.near, turn.far)]
    return bench.layout.joint(coupler) == "screw" and len(before) == 1


def _last_move(bench: _PlanningContext) -> Event | None:
    moves = moves_at(bench.events)
    return bench.events[moves[-1]] if moves else None


def _opened(start: Posterior, events: Sequence[Event]) -> dict[int, float]:
    """Turns by which each bypass screw stands out further than after the preset: as an earlier visit left it, and all
    turns of this one."""
    opened = turned_out(start)
    for event in events:
        if isinstance(event, BypassTurn):
            opened[event.bore] = opened.get(event.bore, 0.0) + event.turns
    return opened


def _recently_turned(events: Sequence[Event]) -> frozenset[tuple[Adjuster, int]]:
    """The screws that are not to be turned, each with the way: the sign of its turns.

    Neither way while nothing was seen since it was turned, and not back again where it went to and fro with nothing
    else moved: no more is known then than when it was turned, and that another turn looks better has only come out of
    the search.
    """
    found: set[tuple[Adjuster, int]] = set()
    for event in since_last_seen(events):
        if isinstance(event, _TURNS) and (place := adjuster_of(event)) is not None:
            found |= {(place, 1), (place, -1)}
    made = [event for event in reversed(events) if not isinstance(event, SEEN)]
    last = adjuster_of(made[0]) if made else None
    run = takewhile(lambda one: adjuster_of(one) == last, made)
    ways = [1 if one.turns > 0 else -1 for one in run if isinstance(one, _TURNS)]
    if last is not None and set(ways) == {1, -1}:
        found.add((last, -ways[0]))
    return frozenset(found)


def _why_unadjustable(bore: int, bench: _PlanningContext) -> AdviceReason | None:
    """Why no move can even a bore against the others; None where one can."""
    own = bench.layout.own_adjuster(bore)
    if own is None:
        return AdviceReason.NO_ADJUSTER
    if not isinstance(own, Bypass):
        return None
    least, most = bypass_room(bench.layout, bench.task.opened)[bench.layout.bypass_screws.index(own)]
    flows = bench.standing.flows[0]
    left = -least if flows[bench.posterior.row(bore)] > flows.mean() else most
    return AdviceReason.BYPASS_END if left * EIGHTH <= SEATED else None


def _last_round(bench: _PlanningContext, closed: bool, finer: bool) -> Advice:
    """Where no move pays: what is left to read, or that it is done."""
    by_doubt = sorted(bench.layout.bores, key=lambda bore: -bench.outside(bore))
    unread = tuple(bore for bore in by_doubt if bore not in bench.read)
    if unread:
        return Advice(AdviceKind.MEASURE, AdviceReason.LAST_ROUND, bores=unread)
    if not closed:
        return Advice(AdviceKind.MEASURE, AdviceReason.CLOSE_ROUND, bores=(bench.read[0],))
    if bench.standing.all_inside[0] >= ENOUGH:
        return Advice(AdviceKind.DONE, AdviceReason.FINEST if finer else AdviceReason.EVEN)
    for bore in by_doubt:
        if bench.outside(bore) > LOST and (why := _why_unadjustable(bore, bench)):
            return Advice(AdviceKind.CANNOT, why, near=bore, about=(bore,))
    if len(bench.read) - len(bench.layout.bores) - 1 >= MOST_EXTRA:
        return Advice(AdviceKind.DONE, AdviceReason.FINEST)
    times = Counter(bench.read)
    chances = {bore: bench.outside(bore) for bore in by_doubt}
    return Advice(
        AdviceKind.MEASURE,
        AdviceReason.DOUBTFUL,
        bores=(max(by_doubt, key=lambda b: chances[b] * (1 - chances[b]) / times[b]),),
    )


def _has_no_effect(adjuster: Adjuster, bench: _PlanningContext) -> bool:
    """Whether moving this one again has shown to be of no use."""
    return bench.posterior.no_effect_counts.get(adjuster, 0) >= MOST_UNMOVED


def _with_expected(advice: Advice, bench: _PlanningContext) -> Advice:
    """The advice with the reading to expect at each bore that moves, and its band in nine cases of ten."""
    move = move_of(advice)
    assert move is not None
    after = predict(bench.posterior, move)
    shown, spread = predicted_readings(after, bench.meter)
    found = {}
    for bore in advice.bores:
        value = float(shown[after.row(bore)])
        band = 1.645 * math.hypot(reading_sd(value, bench.meter), float(spread[after.row(bore)]))
        found[bore] = Expected(value, max(value - band, 0.0), value + band)
    return replace(advice, expected=found)
