"""One figure from the last seconds of a pulsating channel, how sure it is, and whether it stands still.

A window of Hann weights, w(t) = sin^2(pi t / T), lets next to nothing through of a pulse whose period is a small part
of it, at any phase and without knowing the engine's speed (F. J. Harris, Proceedings of the IEEE 66 (1978) 51-83).
"""

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]

WINDOWS = (2.0, 4.0, 8.0)
"""Windows [s] that are tried in turn until the figure is sure enough (our judgement)."""

ENOUGH = 0.01
"""Standard error, as a fraction, that is sure enough (our judgement)."""

STILL = 0.015
"""By how much the halves of a window may differ, as a fraction, where nothing changes any more (our judgement)."""

STILL_FOR = 0.5
"""How long that has to have been so [s] (our judgement)."""

BLOCK = 0.5
"""Length of the blocks whose means scatter as the figure does [s]: four cycles at 960 rev/min."""

HANN_TIMES = math.sqrt(1.3)
"""How many times a mean with these weights scatters as one over blocks does (our judgement, from simulated traces)."""

SLOWER = 0.003
"""Standard deviation, as a fraction, of what is slower than any window (our judgement, from simulated traces)."""


@dataclass(frozen=True, slots=True)
class LiveValue:
    """The mean of a channel in its unit, its standard error ``sd`` as a fraction, the ``window`` [s] it was taken
    over, and whether it was ``still``."""

    value: float
    sd: float
    window: float
    still: bool


def live_value(times: Floats, values: Floats, now: float) -> LiveValue | None:
    """The figure of a channel as of ``now``; None where less than the shortest window is there.

    Parameters: ``times`` of the samples [s], rising, shape (samples,); ``values``, the same shape, in any unit.

    >>> times = np.arange(0.0, 10.0, 0.005)
    >>> found = live_value(times, 6.5 * (1 + np.sin(2 * np.pi * 7.5 * times)), 10.0)
    >>> round(found.value, 3), found.still
    (6.5, True)
    """
    found = None
    for window in WINDOWS:
        inside = times > now - window
        if not inside.any() or times[0] > now - window + 0.1:
            break
        mean = hann_mean(times[inside], values[inside], now, window)
        found = LiveValue(mean, standard_error(times[inside], values[inside], mean), window, False)
        if found.sd <= ENOUGH:
            break
    if found is None:
        return None
    still = all(_halves_agree(times, values, now - back) for back in (0.0, STILL_FOR / 2, STILL_FOR))
    return LiveValue(found.value, found.sd, found.window, still)


def hann_mean(times: Floats, values: Floats, now: float, window: float) -> float:
    """The mean under Hann weights over ``window`` [s] up to ``now``. Shapes as in ``live_value``."""
    weights = np.sin(np.pi * (now - times) / window) ** 2
    return float(weights @ values / weights.sum())


def standard_error(times: Floats, values: Floats, mean: float) -> float:
    """How far a mean may be off, as a fraction of it: from the scatter of means over blocks, and what is slower.

    Shapes as in ``live_value``.
    """
    block = ((times - times[0]) // BLOCK).astype(int)
    sums, counts = np.bincount(block, values), np.bincount(block)
    means = sums[counts > counts.max() / 2] / counts[counts > counts.max() / 2]
    if len(means) < 2 or mean == 0:
        return 1.0
    scatter = float(means.std(ddof=1)) / math.sqrt(len(means)) / abs(mean)
    return math.hypot(HANN_TIMES * scatter, SLOWER)


def _halves_agree(times: Floats, values: Floats, now: float) -> bool:
    """Whether the two seconds up to ``now`` show the same in either half."""
    whole = WINDOWS[0]
    halves = [
        hann_mean(times[part], values[part], end, whole / 2)
        for end in (now - whole / 2, now)
        if (part := (times > end - whole / 2) & (times <= end)).sum() >= 2
    ]
    if len(halves) < 2:
        return False
    return abs(halves[1] - halves[0]) <= STILL * abs(halves[0] + halves[1]) / 2
