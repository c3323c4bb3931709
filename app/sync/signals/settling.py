"""When a live value may be kept: what it is, how far it can be trusted, and what is still missing."""

import math
from dataclasses import dataclass
from enum import StrEnum

import numpy as np
from numpy.typing import NDArray

from app.sync.signals.averaging import WINDOWS, cycle_of, hann_mean, standard_error, window_for

Floats = NDArray[np.float64]

LAGS, AND_THEN = 5.0, 2.0
"""Time constants and seconds after a change before a value counts: 5 leave less than a hundredth of a step (our
judgement; a slow sensor looks settled long before it is)."""

HALVES_APART, FOR = 0.015, 0.5
"""By how much the halves of the window may differ, as a fraction, and for how many seconds (our judgement)."""

HALVES_SD = 3.0
"""Standard errors of the whole by which they may differ where cycles scatter: the difference of two halves has twice
the error of their mean (our judgement)."""

LARGEST_ERROR = 0.01
"""Standard error from which the window grows, as a fraction (our judgement)."""

ENOUGH_OTHERS = 2
"""Other bores live from which a bore is looked at beside their mean: the idle's own wander then cancels (our
judgement)."""

IDLE = 15.0
"""Engine speed [rev/s] that is taken where none is known (our judgement)."""


class Unsettled(StrEnum):
    """What keeps a value from being taken."""

    NO_VALUE = "no-value"
    TOO_SOON = "too-soon"
    MOVING = "moving"
    SCATTERS = "scatters"
    BLOCKED = "blocked"  # told beside other channels, see ``pulses.blocked``
    MISSED = "missed"  # some intake strokes did not draw, see ``pulses.missed``


@dataclass(frozen=True, slots=True)
class Look:
    """A live value as it may be kept: ``value`` in the unit of the channel, not a number without one; ``sd`` its
    standard error as a fraction; ``window`` [s] it is the mean of; ``lack``, None where nothing is missing."""

    value: float
    sd: float
    window: float
    lack: Unsettled | None


def look(
    times: Floats,
    values: Floats,
    now: float,
    changed: float = -math.inf,
    lag: float = 0.0,
    speed: float | None = None,
    others: Floats | None = None,
) -> Look:
    """The value that stands now, and whether it may be taken.

    Parameters: ``times`` [s] and ``values``, both of shape (values,), oldest first; ``now`` [s]; ``changed`` [s], the
    last move, start or change of hose; ``lag`` [s] of the instrument; ``speed`` of the engine [rev/s], None where it is
    not known; ``others``, the mean of the other bores at the same times, shape (values,), None where fewer than
    ``ENOUGH_OTHERS`` are live.

    >>> steady = look(np.arange(800) / 200, np.full(800, 6.25), 3.995)
    >>> steady.value, steady.lack
    (6.25, None)
    """
    cycle, found = cycle_of(speed or IDLE), None
    watched = values if others is None else _beside(values, others)
    for window in sorted({max(window_for(speed), one) for one in WINDOWS}):
        value, sd = hann_mean(times, values, now, window), standard_error(times, watched, now, window, cycle)
        if found is not None and (not len(times) or times[0] > now - window):
            break
        found = Look(value, sd, window, None if sd <= LARGEST_ERROR else Unsettled.SCATTERS)
        if math.isnan(value) or found.lack is None:
            break
    assert found is not None
    return Look(found.value, found.sd, found.window, _lack(found, times, watched, now, changed, lag))


def _beside(values: Floats, others: Floats) -> Floats:
    """The values as multiples of the others' mean; not numbers where that is 0."""
    return np.asarray(np.divide(values, others, out=np.full(len(values), np.nan), where=others != 0))


def _lack(found: Look, times: Floats, watched: Floats, now: float, changed: float, lag: float) -> Unsettled | None:
    """What is missing, the first of it."""
    if math.isnan(found.value):
        return Unsettled.NO_VALUE
    if now - changed < LAGS * lag + AND_THEN or times[0] > now - WINDOWS[0]:
        return Unsettled.TOO_SOON
    scatters = found.window > WINDOWS[0] and found.lack is None
    allowed = max(HALVES_APART, HALVES_SD * found.sd) if scatters else HALVES_APART
    if any(_apart(times, watched, now - back, found.window) > allowed for back in (0.0, FOR / 2, FOR)):
        return Unsettled.MOVING
    return found.lack


def _apart(times: Floats, watched: Floats, until: float, window: float) -> float:
    """By how much the two halves of a window differ, as a fraction of the whole; 0 where one is empty."""
    half = window / 2
    later, earlier = (hann_mean(times, watched, end, half) for end in (until, until - half))
    middle = (later + earlier) / 2
    return abs(later - earlier) / abs(middle) if middle and not math.isnan(middle) else 0.0
