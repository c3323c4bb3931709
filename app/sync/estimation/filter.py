"""How readings narrow what is believed of an engine, and what is believed after a whole visit.

A reading is taken in by an iterated extended Kalman step through the flow model (``breathing``); the tachometer is a
reading of all the air together. What moves do to a belief stands in ``moved``.

Source of the step: B. M. Bell and F. W. Cathey, "The iterated Kalman filter update as a Gauss-Newton method", IEEE
Transactions on Automatic Control 38 (1993) 294-297.
"""

import math
from collections.abc import Sequence
from dataclasses import replace
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from app.sync.engine.air import ATMOSPHERE
from app.sync.engine.events import Event, IdleSpeed, Meter, Move, Reading
from app.sync.engine.idle_flow import Settled, Slopes, settle, slopes
from app.sync.engine.units import THOU
from app.sync.estimation.posterior import LEAST_GAP, Belief, Floats
from app.sync.estimation.predict import adjuster_of, after_move
from app.sync.readings.repeat_checks import believed

Ints = NDArray[np.int64]
Bools = NDArray[np.bool_]

WANDER = 0.007  # of the idle, from one round to the next
ROUND_DRIFT = 0.01  # of the idle over one round
SPEED_SPREAD = 0.008  # tachometer and wander together

MOST_STEPS = 4
STILL = 0.5 * THOU
"""A change of gap below which the flow model is straight enough not to be linearised again."""

SURPRISE = 2.2
"""Standard deviations from what was foretold at which it is asked whether the move before moved anything."""

NOT_MOVED = 5.0
"""Log-likelihood by which "it did not move" must lead over "it moved" before that is believed: odds of 150, as a move
that moves nothing is rare. At odds of 20 it was believed wrongly on 6 % of 400 engines of the benchmark, mostly of a
blade that landed where the one before it had."""


class Misfit(NamedTuple):
    """Readings less what a belief foretells, relative to it; how that answers to the state; and the noise."""

    off: Floats
    answer: Floats
    noise: Floats

    def spread(self, cov: Floats) -> Floats:
        """Covariance of the misfit under a belief of covariance ``cov``."""
        return np.asarray(self.answer @ cov @ self.answer.T + self.noise)


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
