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

MISSED, SURE, PHASES, STRAYS = 0.4, 0.1, 32, 3
"""Part of its usual height below which a pulse is missing; the error of one pulse's height up to which that is told;
points that a cycle is looked at, and by how many of them one may come early or late (our judgement)."""

LEAST_LIKE = 0.25
"""Autocorrelation at the cycle below which no speed is told (our judgement)."""


def speed_of(traces: Floats, rate: float) -> float | None:
    """Engine speed [rev/s] by the autocorrelation of all bores together; None where no cycle stands out, or none of a
    speed that is looked for.

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
    return float(2 * rate / period) if first - 1 <= period <= last + 1 else None


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
    """The lag of the peak near one, between values by a parabola through three; the highest where none is a peak."""
    low, high = max(int(lag - reach), 1), min(int(lag + reach) + 1, len(correlation) - 2)
    at = low + int(np.argmax(correlation[low : high + 1]))
    before, here, after = correlation[at - 1 : at + 2]
    bend = before - 2 * here + after
    return at + (0.5 * (before - after) / bend if max(before, after) <= here and bend < 0 else 0.0)


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


def missed(trace: Floats, rate: float, speed: float, within: float) -> int:
    """How many intake strokes did not draw in the last ``within`` seconds; 0 where the pulses are too faint to tell.

    The trace is folded at the cycle: the middle of all cycles is the usual pulse, as long as less than half are gone.

    Parameters: ``trace``, shape (values,); ``rate`` of values [1/s]; ``speed`` of the engine [rev/s];
    ``within`` how long ago at most [s].
    """
    cycle = rate * cycle_of(speed)
    times = np.arange(len(trace))
    angle = np.angle((trace - trace.mean()) @ np.exp(-2j * np.pi * times / cycle))
    begins = cycle * (0.5 - angle / (2 * np.pi)) % cycle - cycle  # half a cycle after the middle of a pulse
    count = int((len(trace) - 1 - begins) / cycle)
    steps = np.arange(-STRAYS, PHASES + STRAYS) / PHASES
    at = begins + cycle * (np.arange(count)[:, None] + steps)
    inside = (at[:, STRAYS] >= 0) & (at[:, -1] <= len(trace) - 1)
    folded = np.interp(at[inside], times, trace)
    if len(folded) < HARMONICS:
        return 0
    usual = np.median(folded[:, STRAYS : STRAYS + PHASES], axis=0)
    usual = usual - usual.mean()
    power = float(usual @ usual)
    if power <= 0:
        return 0
    shifted = np.stack([folded[:, one : one + PHASES] for one in range(2 * STRAYS + 1)])
    heights = (shifted @ usual).max(axis=0) / power
    rest = folded[:, STRAYS : STRAYS + PHASES] - usual * heights[:, None]
    rest = rest - rest.mean(axis=1, keepdims=True)
    error = float(np.median(rest.std(axis=1))) / np.sqrt(power) * np.sqrt(PHASES / min(PHASES, cycle))
    late = at[inside][:, STRAYS] >= len(trace) - 1 - rate * within
    return int(np.sum((heights < MISSED) & late)) if error < SURE else 0


def out_of_turn(traces: Mapping[K, Floats], places: Mapping[K, int], rate: float, speed: float) -> frozenset[K]:
    """The channels whose pulses come in another place than their bore's in the firing order; none are told unless half
    of them agree, and no other as many. What all hoses delay alike does not show, nor that all are moved on by a place.

    Parameters: ``traces`` by channel, each of shape (values,), taken together; ``places`` in the firing order, from 1,
    evenly apart; ``rate`` of values [1/s]; ``speed`` of the engine [rev/s].
    """
    if len(places) < 4:
        return frozenset()
    count = max(len(places), *places.values())
    names = list(places)
    first = np.array([_first_wave(traces[name], rate, speed) for name in names])
    if not np.all(first):
        return frozenset()
    turned = first * np.exp(2j * np.pi * np.array([places[name] - 1 for name in names]) / count)
    apart = np.abs(np.angle(turned[:, None] / turned)) > np.pi / count
    disagree = apart.sum(axis=0)
    common = int(np.argmin(disagree))
    off = apart[:, common]
    if 2 * off.sum() > len(off) or np.any(disagree[off] <= disagree[common]):
        return frozenset()
    return frozenset(name for name, one in zip(names, off, strict=True) if one)


def _first_wave(trace: Floats, rate: float, speed: float) -> complex:
    """Height and place of the wave that swings once a cycle."""
    weights = np.hanning(len(trace))
    middle = float(weights @ trace / weights.sum())
    turned = np.arange(len(trace)) / rate / cycle_of(speed)
    return complex(weights * (trace - middle) @ np.exp(-2j * np.pi * turned))
