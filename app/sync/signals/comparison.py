"""Sensors of several bores at one pressure: by what they differ there, and which of them moves with a hose.

With the engine stopped and all hoses open, or on one tee, every sensor has the same pressure before it. What they show
then apart is their own.
"""

import math
from collections.abc import Mapping
from dataclasses import dataclass
from enum import StrEnum
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from app.sync.engine.air import ATMOSPHERE
from app.sync.engine.units import KPA

Floats = NDArray[np.float64]

Held = Literal["ambient", "tee"]
"""What all sensors are at: the open air, or one vacuum on a tee."""

OVER = 4.0
"""Seconds of every sensor that are compared (our judgement)."""

LEAST_DEPTH = 15 * KPA
"""Vacuum on the tee from which sensors are compared: below it a wrong gain hardly shows (our judgement; bores idle at
about 33 kPa)."""

NEAR_AMBIENT, AIR = 3 * KPA, (60 * KPA, 110 * KPA)
"""Vacuum below which a sensor is taken to be open, and the air pressure there may be (our judgement)."""

STEADY = 0.7 * KPA
"""By how much the halves of what is compared may differ; a slow leak of the tee is all sensors' alike (our
judgement)."""

WIGGLED, ITS_OWN = 0.2, 0.5
"""Part of what it shows by which a channel has to change to have moved, and part of the largest change from which
another one moved with it (our judgement)."""

BEFORE, MOMENT = 2.0, 1.0
"""Seconds before a hose is taken off that it is compared with, and seconds whose mean is one look at it (our
judgement)."""


TAIL, LEAST_OF_TAIL = (0.6, 0.1), 5
"""Parts of a step still left between which a sensor's lag is told, and values there at the least (our judgement)."""


class Incomparable(StrEnum):
    """Why sensors cannot be compared now, or none of them be told to have moved. Programs rely on the values."""

    TOO_FEW = "sensors-too-few"
    NOT_LIVE = "sensors-not-live"  # channels
    UNSTEADY = "sensors-unsteady"  # channels
    ENGINE_RUNS = "sensors-engine-runs"
    NOT_AMBIENT = "sensors-not-ambient"  # channels
    TOO_SHALLOW = "sensors-too-shallow"  # least, in kPa
    NONE_MOVED = "no-channel-moved"
    SEVERAL_MOVED = "several-channels-moved"  # channels
    OTHER_MOVED = "other-channel-moved"  # channel, bore


class IncomparableError(ValueError):
    """The sensors cannot be compared: ``code`` says why, ``channels`` which of them."""

    def __init__(self, code: Incomparable, channels: tuple[str, ...] = ()) -> None:
        super().__init__(code)
        self.code, self.channels = code, channels


@dataclass(frozen=True, slots=True)
class SensorFigure:
    """What one sensor showed: its ``mean`` [Pa, as it reads], its ``offset`` from the mean of all [Pa], and the
    ``scatter`` of its values, one standard deviation [Pa]."""

    mean: float
    offset: float
    scatter: float


@dataclass(frozen=True, slots=True)
class Comparison:
    """What sensors differ by: the ``figures`` of each, the ``depth`` below the open air that they stood at [Pa], and
    the ``spread`` of their means, one standard deviation [Pa]."""

    figures: Mapping[str, SensorFigure]
    depth: float
    spread: float


def compared(traces: Mapping[str, Floats], held: Held, *, absolute: bool, ambient: float = ATMOSPHERE) -> Comparison:
    """What sensors differ by that have the same pressure before them.

    Parameters: ``traces`` by channel, each of shape (values,) [Pa]; ``held``, what they are at; ``absolute`` where they
    show pressure from nothing, else a vacuum; ``ambient`` pressure of the day [Pa]. Raises IncomparableError.

    >>> found = compared({"b1": np.full(9, 30e3), "b2": np.full(9, 30.2e3)}, "tee", absolute=False)
    >>> round(found.figures["b1"].offset), round(found.spread)
    (-100, 141)
    """
    if len(traces) < 2:
        raise IncomparableError(Incomparable.TOO_FEW)
    short = tuple(name for name, values in traces.items() if len(values) < 2)
    if short:
        raise IncomparableError(Incomparable.NOT_LIVE, short)
    halves = {name: np.array_split(values, 2) for name, values in traces.items()}
    moves = tuple(name for name, (one, other) in halves.items() if abs(other.mean() - one.mean()) > STEADY)
    if moves:
        raise IncomparableError(Incomparable.UNSTEADY, moves)
    means = {name: float(values.mean()) for name, values in traces.items()}
    middle = math.fsum(means.values()) / len(means)
    depth = ambient - middle if absolute else middle
    if held == "tee" and depth < LEAST_DEPTH:
        raise IncomparableError(Incomparable.TOO_SHALLOW)
    low, high = AIR if absolute else (-NEAR_AMBIENT, NEAR_AMBIENT)
    far = tuple(name for name, mean in means.items() if not low <= mean <= high)
    if held == "ambient" and far:
        raise IncomparableError(Incomparable.NOT_AMBIENT, far)
    figures = {
        name: SensorFigure(mean, mean - middle, float(np.std(traces[name], ddof=1))) for name, mean in means.items()
    }
    return Comparison(figures, depth, float(np.std(list(means.values()), ddof=1)))


def moved(traces: Mapping[str, tuple[Floats, Floats]], begun: float) -> str:
    """The one channel that moved since: whose hose was taken off. Raises IncomparableError for none or several.

    Parameters: ``traces``, times [s] and values by channel, each of shape (values,); ``begun`` [s], before which it
    was as it is otherwise.
    """
    changes = {name: _change(times, values, begun) for name, (times, values) in traces.items()}
    unknown = tuple(name for name, change in changes.items() if math.isnan(change))
    if unknown:
        raise IncomparableError(Incomparable.NOT_LIVE, unknown)
    most = max(changes, key=lambda name: changes[name], default=None)
    if most is None or changes[most] < WIGGLED:
        raise IncomparableError(Incomparable.NONE_MOVED)
    also = tuple(name for name, change in changes.items() if change >= max(WIGGLED, ITS_OWN * changes[most]))
    if len(also) > 1:
        raise IncomparableError(Incomparable.SEVERAL_MOVED, also)
    return most


def lag_of(times: Floats, values: Floats, begun: float) -> float | None:
    """Time constant of a sensor whose hose was taken off [s]: in it, 63 % of the way is gone. None where it is too
    quick to be told, or did not go one way.

    With the hose off no pulse comes any more, and what is left of the way falls off as exp(-t / lag): its logarithm is
    a straight line (first-order lag, any control text).

    Parameters: ``times`` [s] and ``values``, both of shape (values,); ``begun`` [s], after which it was taken off.
    """
    was = values[(times > begun - BEFORE) & (times <= begun)]
    since = times > begun
    at, shown = times[since], values[since]
    if not len(was) or not len(shown):
        return None
    before = float(was.mean())
    looks = np.floor((at - begun) / MOMENT)
    means = {look: float(shown[looks == look].mean()) for look in np.unique(looks)}
    off = max(means, key=lambda look: abs(means[look] - before))
    end = float(np.median(shown[looks == off]))
    if abs(end - before) < WIGGLED * max(abs(end), abs(before)) or end == before:
        return None
    left = (shown - end) / (before - end)
    until = int(np.argmax(looks == off)) + int(np.sum(looks == off))
    far = np.flatnonzero(left[:until] > TAIL[0])
    begins = int(far[-1]) + 1 if len(far) else 0
    low = np.flatnonzero(left[begins:until] < TAIL[1])
    ends = begins + int(low[0]) if len(low) else until
    if ends - begins < LEAST_OF_TAIL or np.any(left[begins:ends] <= 0):
        return None
    slope = float(np.polyfit(at[begins:ends], np.log(left[begins:ends]), 1)[0])
    return -1 / slope if slope < 0 else None


def _change(times: Floats, values: Floats, begun: float) -> float:
    """The largest change of a channel's mean over a moment, as a fraction of the larger of both; not a number where it
    showed nothing before or since."""
    was = values[(times > begun - BEFORE) & (times <= begun)]
    since = np.floor((times - begun) / MOMENT)
    looks = [values[since == at].mean() for at in range(int(since.max(initial=-1)) + 1) if np.any(since == at)]
    if not len(was) or not looks:
        return math.nan
    before = float(was.mean())
    changes = [abs(float(one) - before) / (max(abs(float(one)), abs(before)) or 1.0) for one in looks]
    return max(changes)
