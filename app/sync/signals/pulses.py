"""What the pulses of a trace tell: the engine speed, a blocked hose, an intake stroke that did not draw.

A misfire needs the crank's speed within the cycle; nothing here sees it.
"""

from collections.abc import Hashable, Mapping
from typing import TypeVar

import numpy as np
from numpy.typing import NDArray

from app.sync.signals.averaging import cycle_of

Floats = NDArray[np.float64]

K = TypeVar("K", bound=Hashable)

SPEEDS = (8.0, 55.0)
"""Engine speeds that are looked for, from and to [rev/s] (our judgement)."""

HARMONICS, BLOCKED = 3, 0.4
"""Harmonics of the cycle whose strength tells a hose, and the part of the middle channel's below which it is blocked
(our judgement)."""

LEAST_LIKE = 0.25
"""Autocorrelation at the cycle below which no speed is told (our judgement)."""


def speed_of(traces: Floats, rate: float) -> float | None:
    """Engine speed [rev/s] by the autocorrelation of all bores together; None where no cycle stands out.

    Parameters: ``traces``, shape (bores, values), taken together; ``rate`` of values [1/s].

    Source: the lag of the first peak, refined on a late multiple of it (autocorrelation as in A. V. Oppenheim and R. W.
    Schafer, Discrete-Time Signal Processing, from memory).
    """
    centered = traces - traces.mean(axis=1, keepdims=True)
    count = centered.shape[1]
    spectrum = np.abs(np.fft.rfft(centered, 2 * count, axis=1)) ** 2
    correlation = np.fft.irfft(spectrum, axis=1)[:, :count].sum(axis=0)
    if correlation[0] <= 0:
        return None
    unbiased = correlation / correlation[0] * count / (count - np.arange(count))
    first, last = (round(rate * cycle_of(speed)) for speed in (SPEEDS[1], SPEEDS[0]))
    last = min(last, count // 2)
    if last - first < 2:
        return None
    lag = _first_peak(unbiased, first, last)
    if lag is None:
        return None
    period = float(lag)
    for _ in range(8):
        times = int((count * 0.5) / period)
        if times < 2:
            break
        refined = _peak_near(unbiased, period * times, period / 4) / times
        if abs(refined - period) < 1e-6:
            break
        period = refined
    return float(2 * rate / period)


def _first_peak(correlation: Floats, first: int, last: int) -> int | None:
    """The shortest lag whose correlation is a peak nearly as high as the highest."""
    inside = correlation[first : last + 1]
    highest = float(inside.max())
    if highest < LEAST_LIKE:
        return None
    for at in range(max(first, 1), last):
        peak = correlation[at] >= correlation[at - 1] and correlation[at] >= correlation[at + 1]
        if peak and correlation[at] >= 0.9 * highest:
            return at
    return None


def _peak_near(correlation: Floats, lag: float, reach: float) -> float:
    """The lag of the peak near one, between values by a parabola through three."""
    low, high = max(int(lag - reach), 1), min(int(lag + reach) + 1, len(correlation) - 2)
    at = low + int(np.argmax(correlation[low : high + 1]))
    before, here, after = correlation[at - 1 : at + 2]
    bend = before - 2 * here + after
    return at + (0.5 * (before - after) / bend if bend < 0 else 0.0)


def strength(trace: Floats, rate: float, speed: float) -> float:
    """Root of the power in the first harmonics of the cycle, as a fraction of the mean.

    Parameters: ``trace``, shape (values,); ``rate`` of values [1/s]; ``speed`` of the engine [rev/s].
    """
    weights = np.hanning(len(trace))
    times = np.arange(len(trace)) / rate
    middle = float(weights @ trace / weights.sum())
    around = weights * (trace - middle)
    waves = np.exp(-2j * np.pi * np.arange(1, HARMONICS + 1)[:, None] / cycle_of(speed) * times)
    found = 2 * np.abs(waves @ around) / weights.sum()
    return float(np.sqrt((found**2).sum() / 2)) / abs(middle) if middle else 0.0


def blocked(traces: Mapping[K, Floats], rate: float, speed: float) -> frozenset[K]:
    """The channels whose hose lets no pulse through: below ``BLOCKED`` of the middle channel; with fewer than three
    channels none is told.

    Parameters: ``traces`` by channel, each of shape (values,); ``rate`` of values [1/s]; ``speed`` of the engine
    [rev/s].
    """
    if len(traces) < 3:
        return frozenset()
    found = {name: strength(trace, rate, speed) for name, trace in traces.items()}
    middle = float(np.median(list(found.values())))
    return frozenset(name for name, one in found.items() if one < BLOCKED * middle)
