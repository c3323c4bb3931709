"""What is believed of an engine at idle, and how readings and moves change it.

The belief is Gaussian over two numbers per bore and two for the engine: the edge gap, what leaks past beside it (as an
area, with all that is particular to the bore), the meter's scale and the engine's demand, both as logarithms; and what
a turn of each coupler's screw and bypass screw does, where there are such (``gears``). A reading narrows it, by an
iterated extended Kalman step through the flow model; the tachometer is a reading of all the air together. A move shifts
it: a stop turn every gap of its bank, a blade sets one gap outright and carries what lies beyond, so that it forgets
the old gap and keeps the leak, which is how a blade is a measurement too. Gaps are not independent to begin with: the
error of a coupler is shared by every bore beyond it.

Source of the step: B. M. Bell and F. W. Cathey, "The iterated Kalman filter update as a Gauss-Newton method", IEEE
Transactions on Automatic Control 38 (1993) 294-297.
"""

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from app.sync.air import ATMOSPHERE
from app.sync.breathing import Breathing, Settled, Slopes, settle, slopes
from app.sync.events import (
    BladeReset,
    BypassTurn,
    Event,
    IdleSpeed,
    LinkTurn,
    Meter,
    Move,
    Reading,
    ScrewTurn,
    StopTurn,
)
from app.sync.gears import BYPASS_BASE, SURE_OF_WAY, geared, usual_gains
from app.sync.hardware import Hardware
from app.sync.layout import Adjuster, Bank, Bypass, Coupler, Layout, StopScrew
from app.sync.linkage import BYPASS_AREA, IDLE_GAP, coupler_rotation, gap_width, stop_rotation
from app.sync.plate import FIT, closed_leakage, gap_rate
from app.sync.repeats import believed
from app.sync.units import THOU

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]
Bools = NDArray[np.bool_]

# What is believed before anything was read; all this program's choice, the spreads as scatter usually found.
BANK_SPREAD = 0.008  # rad, common to a bank
COUPLER_SPREAD = 0.010  # rad, of each coupler, carried by everything beyond it
SHAFT_SPREAD = 0.004  # rad, between two plates on one shaft
LEAK_SPREAD = 0.45  # of the usual leak
SCALE_SPREAD = 0.10  # of the meter against another
DEMAND_SPREAD = 0.15  # of the engine against others of its size

# How well a hand and a screw do what was asked.
HAND = 0.4 * THOU
TURN = 0.012  # of a turn
TRAVEL_SPREAD = 0.05  # of what the drawing says a turn does
REST = 0.06 * THOU  # where the plates of a handled bank come to rest
HEAT = 0.04 * THOU  # what heat moves every plate by between two moves

WANDER = 0.007  # of the idle, from one round to the next
ROUND_DRIFT = 0.01  # of the idle over one round
SPEED_SPREAD = 0.008  # tachometer and wander together

MOST_STEPS = 4
STILL = 0.5 * THOU
"""A change of gap below which the flow model is straight enough not to be linearised again."""

LEAST_GAP = 0.1 * THOU
SURPRISE = 2.2
"""Standard deviations from what was foretold at which it is asked whether the move before moved anything."""

NOT_MOVED = 3.0
"""Log-likelihood by which "it did not move" must lead over "it moved" before that is believed (odds of 20)."""


@dataclass(frozen=True, slots=True, eq=False)
class Belief:
    """A Gaussian over gaps [m], leaks [m2], gains, ln(meter scale) and ln(demand), in this order; bores as walked.

    Gains are what a turn of each of ``gears.geared`` does. ``mean`` has shape (2 bores + gains + 2,), ``cov`` its
    square; ``places`` is where each bore stands. ``unmoved`` counts for each adjuster how many times in a row it was
    moved and the readings say that nothing moved.
    """

    layout: Layout
    hardware: Hardware
    engine: Breathing
    mean: Floats
    cov: Floats
    places: Mapping[int, int]
    unmoved: dict[Adjuster, int] = field(default_factory=dict)

    @property
    def bores(self) -> int:
        """How many bores there are."""
        return len(self.places)

    @property
    def gaps(self) -> Floats:
        """Edge gaps [m], none less than a plate that leaks only."""
        return np.maximum(self.mean[: self.bores], LEAST_GAP)

    @property
    def leaks(self) -> Floats:
        """Areas beside the gaps [m2]."""
        return self.mean[self.bores : 2 * self.bores]

    @property
    def width(self) -> float:
        """Area that one metre of gap opens [m]: half the bore's circumference, to 0.5 % at idle."""
        return gap_width(self.hardware)

    @property
    def areas(self) -> Floats:
        """Open areas [m2], above 0."""
        return np.maximum(self.width * self.gaps + self.leaks, self.width * LEAST_GAP)

    @property
    def log_demand(self) -> float:
        """What the engine needs beyond the nominal demand, as a logarithm."""
        return float(self.mean[-1])

    def row(self, bore: int) -> int:
        """Where a bore stands in walking order. Raises KeyError for a bore there is not."""
        return self.places[bore]

    def at_gain(self, screw: Coupler | Bypass) -> int:
        """Where in the state it stands what a turn of a screw does. Raises ValueError for one there is not."""
        return 2 * self.bores + geared(self.layout).index(screw)

    def knows_way(self, coupler: Coupler) -> bool:
        """Whether it is known which way the screw of a coupler opens what lies beyond."""
        at = self.at_gain(coupler)
        return abs(float(self.mean[at])) > SURE_OF_WAY * math.sqrt(float(self.cov[at, at]))


class Misfit(NamedTuple):
    """Readings less what a belief foretells, relative to it; how that answers to the state; and the noise."""

    off: Floats
    answer: Floats
    noise: Floats

    def spread(self, cov: Floats) -> Floats:
        """Covariance of the misfit under a belief of covariance ``cov``."""
        return np.asarray(self.answer @ cov @ self.answer.T + self.noise)


def usual_belief(layout: Layout, hardware: Hardware, engine: Breathing) -> Belief:
    """What is believed of an engine nobody has read: physics, and the scatter of parts.

    Parameters: ``layout`` of the engine; ``hardware`` fitted; ``engine`` how it draws air.
    """
    n = len(layout.bores)
    rate = gap_rate(IDLE_GAP, hardware.bore_diameter.value, hardware.closed_angle.value)
    leak = FIT * closed_leakage(hardware.bore_diameter.value)
    gains, gain_cov = usual_gains(layout, hardware)
    size = 2 * n + len(gains) + 2
    cov = np.zeros((size, size))
    for bank in layout.banks:
        rows = [layout.bores.index(bore) for bore in bank.bores]
        cov[np.ix_(rows, rows)] += (BANK_SPREAD * rate) ** 2
        for joint in bank.outward:
            rows = [layout.bores.index(bore) for bore in bank.beyond(joint)]
            cov[np.ix_(rows, rows)] += ((SHAFT_SPREAD if joint.kind == "shaft" else COUPLER_SPREAD) * rate) ** 2
    cov[range(n, 2 * n), range(n, 2 * n)] = (LEAK_SPREAD * leak) ** 2
    bypass = np.array([BYPASS_BASE * BYPASS_AREA if bore in layout.bypass else 0.0 for bore in layout.bores])
    cov[range(n, 2 * n), range(n, 2 * n)] += bypass**2 / 4
    cov[2 * n : -2, 2 * n : -2] = gain_cov
    cov[-2, -2], cov[-1, -1] = SCALE_SPREAD**2, DEMAND_SPREAD**2
    width = gap_width(hardware)
    usual = engine.demand / n / (engine.conductance * 0.64) / width - (leak + bypass) / width
    mean = np.concatenate([np.maximum(usual, 2 * THOU), leak + bypass, gains, [0.0, 0.0]])
    return Belief(layout, hardware, engine, mean, cov, {bore: at for at, bore in enumerate(layout.bores)})


def follow(belief: Belief, meter: Meter, events: Sequence[Event]) -> Belief:
    """What is believed after all of this happened.

    Readings between two moves are taken together, because nothing stood elsewhere meanwhile. Where they say that the
    move before them moved nothing, that is believed and counted.

    Parameters: ``belief`` before; ``meter`` read with; ``events`` oldest first.
    """
    before: Belief | None = None
    moved: Move | None = None
    pending: list[Reading | IdleSpeed] = []
    for event in events:
        if isinstance(event, Reading | IdleSpeed):
            pending.append(event)
            continue
        belief = _learn(belief, before, moved, meter, pending)
        pending, before, moved = [], belief, event
        belief = after_move(belief, event)
    return _learn(belief, before, moved, meter, pending)


def after_move(belief: Belief, move: Move) -> Belief:
    """What is believed once a move was made, before anything is read.

    Parameters: ``belief`` before; ``move`` made. A link does nothing at idle.
    """
    match move:
        case StopTurn():
            return _after_stop(belief, move)
        case BladeReset():
            return _after_blade(belief, move)
        case ScrewTurn():
            return _after_screw(belief, move)
        case BypassTurn():
            return _after_bypass(belief, move)
        case LinkTurn():
            return belief


def observe(belief: Belief, meter: Meter, seen: Sequence[Reading | IdleSpeed]) -> Belief:
    """What is believed once readings were taken with nothing moved between them.

    Parameters: ``belief`` before; ``meter`` read with; ``seen`` at least one, in the order taken.
    """
    taken = _taken(belief, seen)
    misfit = _misfit(belief, meter, taken)
    return _settled_on(belief, meter, taken, misfit, misfit.spread(belief.cov))


def shown_by(belief: Belief, meter: Meter) -> tuple[Floats, Floats]:
    """What the meter is to show at each bore [kg/s or Pa], and how well that is known (standard deviation).

    Parameters: ``belief`` about the engine; ``meter`` read with. The meter's own noise comes on top.
    """
    told = _foretold(belief, meter)
    known = np.sqrt(np.maximum(np.diag(told.answer @ belief.cov @ told.answer.T), 0.0))[:-1]
    return told.values[:-1], known * told.values[:-1]


def rates(belief: Belief, gaps: Floats) -> Floats:
    """``app.sync.plate.gap_rate`` of many gaps at once [m/rad].

    Parameters: ``belief`` about the engine; ``gaps`` [m].
    """
    diameter, closed = belief.hardware.bore_diameter.value, belief.hardware.closed_angle.value
    cosine = math.cos(closed) * (1 - 2 * gaps / diameter)
    return np.asarray(diameter / 2 * np.sqrt(1 - cosine**2) / math.cos(closed))


def turned(belief: Belief, gaps: Floats, rotation: Floats | float) -> Floats:
    """Gaps [m] after their plates turned, closed at the least.

    Parameters: ``belief`` about the engine; ``gaps`` [m] before; ``rotation`` [rad], positive opening.
    """
    diameter, closed = belief.hardware.bore_diameter.value, belief.hardware.closed_angle.value
    angle = np.arccos(math.cos(closed) * (1 - 2 * gaps / diameter)) + rotation
    return np.maximum(diameter / 2 * (1 - np.cos(np.maximum(angle, closed)) / math.cos(closed)), LEAST_GAP)


def rotation_between(belief: Belief, before: Floats | float, after: Floats | float) -> Floats:
    """Angle [rad] that takes plates from one gap to another, positive opening.

    Parameters: ``belief`` about the engine; ``before`` and ``after``, gaps [m].
    """
    diameter, closed = belief.hardware.bore_diameter.value, belief.hardware.closed_angle.value
    cosine = math.cos(closed)
    return np.asarray(
        np.arccos(cosine * (1 - 2 * np.asarray(after) / diameter))
        - np.arccos(cosine * (1 - 2 * np.asarray(before) / diameter))
    )


def turn_noise(belief: Belief, turns: Floats | float) -> Floats:
    """Standard deviation of the angle [rad] that so many turns of a stop screw give.

    Parameters: ``belief`` about the engine; ``turns`` of the screw.
    """
    return np.abs(stop_rotation(1.0, belief.hardware) * np.hypot(TURN, TRAVEL_SPREAD * np.asarray(turns)))


def _after_stop(belief: Belief, move: StopTurn) -> Belief:
    bank = belief.layout.bank(move.bank)
    rows = [belief.row(bore) for bore in bank.bores]
    before = belief.gaps[rows]
    after = turned(belief, before, stop_rotation(move.turns, belief.hardware))
    rate_after = rates(belief, after)
    stretch = rate_after / rates(belief, before)
    shaken = rate_after * turn_noise(belief, move.turns)
    mean, cov = belief.mean.copy(), belief.cov.copy()
    mean[rows] = after
    cov[rows] *= stretch[:, None]
    cov[:, rows] *= stretch
    cov[np.ix_(rows, rows)] += np.outer(shaken, shaken)
    _unsettle(belief, cov, bank)
    return replace(belief, mean=mean, cov=cov)


def _after_blade(belief: Belief, move: BladeReset) -> Belief:
    bank = belief.layout.bank_of(move.far)
    rows = [belief.row(bore) for bore in bank.beyond(Coupler(move.near, move.far))]
    before = belief.gaps[rows]
    after = turned(belief, before, rotation_between(belief, before[0], move.gap))
    after[0] = move.gap
    rate_before, rate_after = rates(belief, before), rates(belief, after)
    stretch, follow_first = (rate_after / rate_before)[:, None], (rate_after / rate_before[0])[:, None]
    hand = HAND * rate_after / rate_after[0]
    mean, cov = belief.mean.copy(), belief.cov.copy()
    mean[rows] = after
    for side in (cov, cov.T):  # what lies beyond keeps its distance from the first, which forgets where it was
        side[rows] = stretch * side[rows] - follow_first * side[rows[0]]
        side[rows[0]] = 0.0
    cov[np.ix_(rows, rows)] += np.outer(hand, hand)
    _unsettle(belief, cov, bank)
    cov[rows[0], rows[0]] = HAND**2
    return replace(belief, mean=mean, cov=cov)


def _after_screw(belief: Belief, move: ScrewTurn) -> Belief:
    coupler = Coupler(move.near, move.far)
    bank, gain = belief.layout.bank_of(move.far), belief.at_gain(coupler)
    rows = [belief.row(bore) for bore in bank.beyond(coupler)]
    before = belief.gaps[rows]
    after = turned(belief, before, float(belief.mean[gain]) * move.turns)
    rate_after = rates(belief, after)
    change = np.eye(len(belief.mean))[rows]
    change[range(len(rows)), rows] = rate_after / rates(belief, before)
    change[:, gain] = rate_after * move.turns
    mean, cov = belief.mean.copy(), belief.cov.copy()
    mean[rows] = after
    within = change @ belief.cov @ change.T
    cov[rows] = change @ cov
    cov[:, rows] = cov[rows].T
    shaken = rate_after * TURN * gain_size(belief, coupler)
    cov[np.ix_(rows, rows)] = within + np.outer(shaken, shaken)
    _unsettle(belief, cov, bank)
    return replace(belief, mean=mean, cov=cov)


def _after_bypass(belief: Belief, move: BypassTurn) -> Belief:
    leak, cov = belief.bores + belief.row(move.bore), belief.cov.copy()
    if move.bore not in belief.layout.bypass:  # kept before it was known what is fitted: nobody knows what it did
        cov[leak, leak] += (2 * BYPASS_AREA * move.turns) ** 2
        return replace(belief, cov=cov)
    screw = Bypass(move.bore)
    mean, gain = belief.mean.copy(), belief.at_gain(screw)
    mean[leak] = max(mean[leak] + mean[gain] * move.turns, 0.0)
    cov[leak] += move.turns * cov[gain]
    cov[:, leak] += move.turns * cov[:, gain]
    cov[leak, leak] += (TURN * gain_size(belief, screw)) ** 2
    cov[range(belief.bores), range(belief.bores)] += HEAT**2
    return replace(belief, mean=mean, cov=cov)


def gain_size(belief: Belief, screw: Coupler | Bypass) -> float:
    """How much a turn of a screw is believed to do, whichever way: radians at the plates, or square metres.

    Parameters: ``belief`` about the engine; ``screw`` one of ``gears.geared``.
    """
    if isinstance(screw, Coupler) and not belief.knows_way(screw):
        return coupler_rotation(1.0, belief.hardware)
    return abs(float(belief.mean[belief.at_gain(screw)]))


def adjuster_of(move: Move) -> Adjuster | None:
    """What a move was made at; None for a link, which does nothing at idle.

    Parameters: ``move`` made.
    """
    match move:
        case StopTurn(bank):
            return StopScrew(bank)
        case BladeReset(near, far) | ScrewTurn(near, far):
            return Coupler(near, far)
        case BypassTurn(bore):
            return Bypass(bore)
        case LinkTurn():
            return None


def _unsettle(belief: Belief, cov: Floats, bank: Bank) -> None:
    """Add to ``cov`` what handling a bank and the heat meanwhile do."""
    handled = [belief.row(bore) for bore in bank.bores]
    every = range(belief.bores)
    cov[handled, handled] += REST**2
    cov[every, every] += HEAT**2


def _learn(
    belief: Belief, before: Belief | None, move: Move | None, meter: Meter, seen: Sequence[Reading | IdleSpeed]
) -> Belief:
    """Observe what was read after a move, or after the start."""
    if not seen:
        return belief
    taken = _taken(belief, _believable(seen, meter))
    misfit = _misfit(belief, meter, taken)
    spread = misfit.spread(belief.cov)
    adjuster = None if move is None else adjuster_of(move)
    if before is None or adjuster is None:
        return _settled_on(belief, meter, taken, misfit, spread)
    unmoved = dict(belief.unmoved)
    if (misfit.off**2 > SURPRISE**2 * np.diag(spread)).any():  # a cheap look before the dear one
        other = _misfit(before, meter, taken)
        spread_before = other.spread(before.cov)
        if _log_density(other.off, spread_before) - _log_density(misfit.off, spread) > NOT_MOVED:
            unmoved[adjuster] = unmoved.get(adjuster, 0) + 1
            return replace(_settled_on(before, meter, taken, other, spread_before), unmoved=unmoved)
    unmoved.pop(adjuster, None)
    return replace(_settled_on(belief, meter, taken, misfit, spread), unmoved=unmoved)


def _believable(seen: Sequence[Reading | IdleSpeed], meter: Meter) -> Sequence[Reading | IdleSpeed]:
    """Without the readings that others of the same bore speak against."""
    by_bore: dict[int, list[float]] = {}
    for one in seen:
        if isinstance(one, Reading):
            by_bore.setdefault(one.bore, []).append(one.value)
    if all(len(values) < 3 for values in by_bore.values()):
        return seen
    kept = {bore: believed(values, meter) for bore, values in by_bore.items()}
    return [one for one in seen if isinstance(one, IdleSpeed) or one.value in kept[one.bore]]


def _settled_on(belief: Belief, meter: Meter, taken: "_Taken", misfit: Misfit, spread: Floats) -> Belief:
    """The belief once readings with that misfit are taken in, linearised again until it stands still."""
    prior, cov = belief.mean, belief.cov
    mean = prior
    for left in reversed(range(MOST_STEPS)):
        from_prior = misfit._replace(off=misfit.off - misfit.answer @ (prior - mean))
        new, narrowed = combined(prior, cov, from_prior, spread)
        new[: belief.bores] = np.maximum(new[: belief.bores], LEAST_GAP)
        still = np.abs(new - mean)[: belief.bores].max() < STILL
        mean = new
        if still or not left:
            break
        misfit = _misfit(replace(belief, mean=mean), meter, taken)
        spread = misfit.spread(cov)
    return replace(belief, mean=mean, cov=(narrowed + narrowed.T) / 2)


def combined(mean: Floats, cov: Floats, misfit: Misfit, spread: Floats) -> tuple[Floats, Floats]:
    """Mean and covariance of a Gaussian once readings were taken in that answer to it in a straight line.

    Parameters: ``mean`` of shape (n,) and ``cov`` (n, n) before; ``misfit`` of the readings from that mean; ``spread``
    its covariance, ``misfit.spread(cov)``.

    >>> near = Misfit(np.array([1.0]), np.array([[1.0]]), np.array([[1.0]]))  # read 1 higher, as well known as before
    >>> mean, cov = combined(np.array([10.0]), np.array([[1.0]]), near, near.spread(np.array([[1.0]])))
    >>> float(mean[0]), float(cov[0, 0])
    (10.5, 0.5)
    """
    gain = np.linalg.solve(spread, misfit.answer @ cov).T
    return mean + gain @ misfit.off, cov - gain @ (misfit.answer @ cov)


def _log_density(off: Floats, spread: Floats) -> float:
    """How well readings were foretold, up to a constant."""
    return float(-0.5 * (off @ np.linalg.solve(spread, off) + np.linalg.slogdet(spread)[1]))


class _Taken(NamedTuple):
    """Readings as numbers: the row of each bore, -1 for the tachometer; ``read`` tells those of the meter; ``shared``
    is the noise that they have in common, and that of the tachometer."""

    rows: Ints
    values: Floats
    read: Bools
    shared: Floats


def _taken(belief: Belief, seen: Sequence[Reading | IdleSpeed]) -> _Taken:
    rows = np.array([-1 if isinstance(one, IdleSpeed) else belief.row(one.bore) for one in seen])
    values = np.array([one.speed if isinstance(one, IdleSpeed) else one.value for one in seen])
    at = np.array([one.at for one in seen])
    read = rows >= 0
    ramp = read * (at - at.sum() / len(at)) / (float(at.max() - at.min()) or 1.0)
    shared = WANDER**2 * (read[:, None] & read) + ROUND_DRIFT**2 * ramp[:, None] * ramp
    each = np.arange(len(rows))
    shared[each, each] += np.where(read, 0.0, SPEED_SPREAD**2)
    return _Taken(rows, values, read, shared)


def _misfit(belief: Belief, meter: Meter, taken: _Taken) -> Misfit:
    told = _foretold(belief, meter)
    foretold = told.values[taken.rows]
    noise, each = taken.shared.copy(), np.arange(len(foretold))
    noise[each, each] += taken.read * (meter.repeatability**2 + (meter.step / foretold) ** 2 / 12)
    return Misfit(taken.values / foretold - 1, told.answer[taken.rows], noise)


class _Foretold(NamedTuple):
    """What is to be read at each bore and, last, on the tachometer; and its relative answer to the state."""

    values: Floats
    answer: Floats


def _foretold(belief: Belief, meter: Meter) -> _Foretold:
    n, areas = belief.bores, belief.areas
    settled = settle(belief.engine, areas, belief.log_demand)
    found = slopes(belief.engine, areas, settled)
    shown, by_area, by_demand = _shown(meter, settled, found)
    scale, speed = math.exp(float(belief.mean[-2])), math.exp(float(settled.log_speed))
    by = np.vstack([by_area, found.log_speed[:n]])
    answer = np.zeros((n + 1, len(belief.mean)))
    answer[:, :n], answer[:, n : 2 * n] = by * (belief.width / areas), by / areas
    answer[:n, -2] = 1.0
    answer[:n, -1], answer[n, -1] = by_demand, found.log_speed[n]
    return _Foretold(np.append(shown * scale, belief.engine.speed * speed), answer)


def _shown(meter: Meter, settled: Settled, found: Slopes) -> tuple[Floats, Floats, Floats]:
    """What a meter of scale 1 shows at each bore, and its relative answer to areas and to demand."""
    n = len(settled.flows)
    if meter.quantity == "flow":
        return settled.flows, found.flows[:, :n], found.flows[:, n]
    deep = ATMOSPHERE * (1 - settled.ratios)
    lever = -(settled.ratios / (1 - settled.ratios))
    return deep, lever[:, None] * found.ratios[:, :n], lever * found.ratios[:, n]
