"""The mean of a pulsating runner, and how far it can be trusted.

A cylinder draws once in two turns of the engine, so that a reading swings with the cycle. Weighted by a Hann window
the swing cancels without knowing the engine speed, once eight cycles or so fit in.
"""

import math

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]

LEAST_WINDOW, CYCLES = 2.0, 8
"""Seconds that are averaged at the least, and cycles (our judgement: at 200 values a second a pulse of a third of the
cycle leaves about a thousandth of the mean)."""

WINDOWS = (2.0, 4.0, 8.0)
"""Seconds that are tried in turn, until the error is small enough (our judgement)."""

NOISE_BANDWIDTH = 1.5
"""Variance of a Hann-weighted mean of independent values over that of a plain one: the equivalent noise bandwidth of
the window (published: F. J. Harris, Proceedings of the IEEE 66 (1978) 51-83, table 1, from memory)."""

MOST_BLOCKS = 1000
"""Blocks of a window above which the cycle is no engine's but that of a tachometer that shows nonsense: 60,000 rpm over
eight seconds (our judgement)."""

BLOCK_CYCLES = 4
"""Cycles whose mean is one value of the scatter (our judgement)."""

SLOWER = 0.003
"""Relative error of what wanders more slowly than the window and so does not show in it (our judgement)."""


def cycle_of(speed: float) -> float:
    """Seconds of one working cycle, two turns (by definition of a four-stroke).

    Parameters: ``speed`` of the engine [rev/s], above 0.

    >>> cycle_of(15.0) * 1000
    133.33333333333334
    """
    return 2 / speed


def window_for(speed: float | None) -> float:
    """Seconds to average over: two, or eight cycles where that is longer.

    Parameters: ``speed`` of the engine [rev/s], None where it is not known.

    >>> window_for(None), window_for(5.0)
    (2.0, 3.2)
    """
    return max(LEAST_WINDOW, CYCLES * cycle_of(speed)) if speed else LEAST_WINDOW


def hann_weights(times: Floats, until: float, window: float) -> Floats:
    """Weights that sum to 1, of shape (values,); all 0 where no value lies inside.

    Parameters: ``times`` of the values [s], of shape (values,); ``until`` [s] the window ends; ``window`` [s] is how
    long it is, above 0.

    >>> hann_weights(np.array([0.0, 0.5, 1.0, 1.5]), 2.0, 2.0).round(2)
    array([0.  , 0.25, 0.5 , 0.25])
    """
    at = (np.asarray(times, dtype=np.float64) - (until - window)) / window
    found = np.where((at >= 0) & (at <= 1), 0.5 - 0.5 * np.cos(2 * np.pi * at), 0.0)
    total = float(found.sum())
    return np.asarray(found / total if total > 0 else found)


def hann_mean(times: Floats, values: Floats, until: float, window: float = LEAST_WINDOW) -> float:
    """The mean over a window; not a number where no value lies in it.

    Parameters: ``times`` [s] and ``values``, both of shape (values,); ``until`` [s] the window ends; ``window`` [s].

    >>> round(hann_mean(np.arange(400) / 200, np.full(400, 6.25), 2.0), 3)
    6.25
    """
    weights = hann_weights(times, until, window)
    return float(weights @ values) if weights.any() else math.nan


def flow_of(drop: float, root: float) -> float:
    """The flow through an orifice of which an instrument shows the pressure drop; flow backwards is below 0.

    It is worked out of each value before a mean is taken: the root of a mean reads high by as much as the drop swings.

    Parameters: ``drop`` in any unit; ``root``, the flow at a drop of 1 of that unit.

    Source: ISO 5167-1, flow in proportion to the root of the differential pressure; ISO/TR 3313 for pulsating flow
    (both from memory).

    >>> flow_of(9.0, 2.0), flow_of(-9.0, 2.0)
    (6.0, -6.0)
    """
    return math.copysign(root * math.sqrt(abs(drop)), drop)


def standard_error(times: Floats, values: Floats, until: float, window: float, cycle: float) -> float:
    """Standard error of ``hann_mean`` as a fraction of it; infinite with fewer than two blocks of cycles, or more than
    ``MOST_BLOCKS``.

    Means over blocks of ``BLOCK_CYCLES`` are taken as independent; what wanders more slowly than the window is added.

    Parameters: ``times`` [s] and ``values``, both of shape (values,); ``until`` [s] the window ends; ``window`` [s];
    ``cycle`` [s] of the engine.
    """
    if not 2 * BLOCK_CYCLES * cycle <= window <= MOST_BLOCKS * BLOCK_CYCLES * cycle:
        return math.inf
    blocks = int(window / (BLOCK_CYCLES * cycle))
    edges = until - BLOCK_CYCLES * cycle * np.arange(blocks, -1, -1)
    inside = np.digitize(times, edges) - 1
    means = [float(np.mean(values[inside == block])) for block in range(blocks) if np.any(inside == block)]
    middle = hann_mean(times, values, until, window)
    if len(means) < 2 or not middle:
        return math.inf
    scatter = float(np.std(means, ddof=1)) / abs(middle) / math.sqrt(len(means))
    return math.hypot(math.sqrt(NOISE_BANDWIDTH) * scatter, SLOWER)


def slow_error(rate: float, lag: float, modulation: float = 1.0) -> float:
    """The largest error of a mean, as a fraction, that is left where values come so seldom that a pulse may hit each at
    the same crank angle: what the instrument's own damping leaves of the first harmonic.

    Parameters: ``rate`` of values [1/s], which is the cycle that is hit; ``lag`` [s], the instrument's time constant;
    ``modulation`` amplitude of the first harmonic as a fraction of the mean.

    Source: amplitude of a first-order lag, 1 / sqrt(1 + (2 pi f lag)^2) (any control text).

    >>> round(slow_error(10.0, 1.0), 4)
    0.0159
    """
    return modulation / math.hypot(1.0, 2 * math.pi * rate * lag)
