"""What a meter repeats, and whether two meters agree: a few readings of one bore, off and on, and nothing assumed.

Scatter is taken as a fraction of the reading, because the scatter of flow through a funnel grows with the flow. Series
of several days are pooled by their degrees of freedom (NIST/SEMATECH e-Handbook of Statistical Methods, 2.4.4.4); how
sure the figure is follows from the chi-square law (the same, 7.2.3.1).
"""

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from scipy.special import chdtri, stdtrit

LEAST_READINGS = 2  # our judgement
BAND = 0.95
"""Confidence of the bands given here, and of the limit (common practice, no published source)."""

TWO_READINGS = 2.77
"""Standard deviations within which two readings of one thing agree in 95 cases of 100: 1.96 times the root of 2.
Source: ISO 5725-6:1994 (as secondary sources give it)."""


@dataclass(frozen=True, slots=True)
class Repeatability:
    """The standard deviation of reading the same bore again, as a fraction of the reading.

    ``scatter`` is what was seen, pooled over all series, with its band ``low`` to ``high``; ``own`` is the same with
    the rounding to the meter's step taken out, for a caller that adds the step again, and ``limit`` what that is below
    with 95 % confidence, which is what a meter is judged by. ``freedom`` counts the differences it rests on, and
    ``level`` is the mean of all readings in the meter's unit.
    """

    scatter: float
    low: float
    high: float
    own: float
    limit: float
    freedom: int
    level: float


@dataclass(frozen=True, slots=True)
class Agreement:
    """Two meters on the same bores. ``ratio`` is the second over the first, with its band ``low`` to ``high``."""

    ratio: float
    low: float
    high: float
    pairs: int

    @property
    def agree(self) -> bool:
        """Whether nothing speaks against the two reading alike."""
        return self.low <= 1 <= self.high


def pooled_deviation(series: Sequence[Sequence[float]]) -> tuple[float, int]:
    """Standard deviation within several series of one quantity each, and its degrees of freedom.

    s^2 = sum of (x - mean of its series)^2 / sum of (n - 1); a series of one reading says nothing.

    Parameters: ``series`` of readings in any one unit. Raises ValueError when no series has two readings.

    Source: NIST/SEMATECH e-Handbook, 2.4.4.4.

    >>> pooled_deviation([[1.0, 3.0], [11.0, 13.0]])
    (1.4142135623730951, 2)
    """
    squares, freedom = 0.0, 0
    for one in series:
        if len(one) >= LEAST_READINGS:
            mean = sum(one) / len(one)
            squares += sum((x - mean) ** 2 for x in one)
            freedom += len(one) - 1
    if freedom == 0:
        raise ValueError("no series has two readings")
    return math.sqrt(squares / freedom), freedom


def repeatability(series: Sequence[Sequence[float]], step: float) -> Repeatability:
    """What a meter repeats, from readings of one bore at a time, off and on between them.

    The scatter seen holds the rounding to the step, whose variance is step^2 / 12 (Sheppard's correction); it is taken
    out of ``own``, but never below what so few differences cannot tell from nothing: a variance of v known from f
    differences is uncertain by v sqrt(2 / f).

    Parameters: ``series`` of readings above 0 in the meter's unit, one series a bore and day; ``step`` of the meter in
    the same unit, above 0. Raises ValueError when no series has two readings.

    Source: NIST/SEMATECH e-Handbook, 2.4.4.4 (pooling) and 7.2.3.1 (band); W. F. Sheppard, 1898 (rounding).

    >>> found = repeatability([[6.50, 6.25, 6.50, 6.75, 6.50, 6.25, 6.50, 6.50, 6.75, 6.50]], 0.25)
    >>> round(100 * found.scatter, 1), round(100 * found.low, 1), round(100 * found.high, 1), found.freedom
    (2.6, 1.8, 4.7, 9)
    >>> round(100 * found.own, 1), round(100 * found.limit, 1)
    (2.3, 4.1)
    """
    counted = [one for one in series if len(one) >= LEAST_READINGS]
    relative = [[x / (sum(one) / len(one)) for x in one] for one in counted]
    scatter, freedom = pooled_deviation(relative)
    values = [x for one in counted for x in one]
    return _repeating(scatter, freedom, sum(values) / len(values), step)


def _repeating(scatter: float, freedom: int, level: float, step: float) -> Repeatability:
    """What follows of a scatter seen, as a fraction, at readings of that ``level``."""
    rounding = (step / level) ** 2 / 12
    tail = (1 - BAND) / 2
    known = max(scatter**2, rounding)
    own = max(scatter**2 - rounding, known * min(1.0, math.sqrt(2 / freedom)))
    at_most = scatter**2 * freedom / float(chdtri(freedom, BAND))
    return Repeatability(
        scatter=scatter,
        low=scatter * math.sqrt(freedom / float(chdtri(freedom, tail))),
        high=scatter * math.sqrt(freedom / float(chdtri(freedom, 1 - tail))),
        own=math.sqrt(own),
        limit=math.sqrt(max(at_most - rounding, own)),
        freedom=freedom,
        level=level,
    )


def repeated_in_rounds(states: Sequence[Sequence[Sequence[float]]], step: float) -> Repeatability | None:
    """What a meter repeated where every bore was read again and again with nothing moved between; None without any.

    What all bores of a round do together is the idle's, and what a bore does in all rounds is its own: what is left of
    the logarithms is the meter's, with (rounds - 1)(bores - 1) degrees of freedom.

    Parameters: ``states`` of engines, each the rounds read in it, each the values of the same bores in the same order,
    above 0 in the meter's unit; ``step`` of the meter in the same unit, above 0.

    Source: two-way analysis of variance without replication, NIST/SEMATECH e-Handbook, 7.4.3.

    >>> repeated_in_rounds([[[6.0, 7.0, 8.0]]], 0.25) is None
    True
    >>> found = repeated_in_rounds([[[6.0, 7.0, 8.0], [6.06, 7.07, 8.08]]], 0.01)  # an idle that rose by 1 %
    >>> found.freedom, found.scatter < 1e-9
    (2, True)
    """
    squares, freedom, values = 0.0, 0, [value for rounds in states for one in rounds for value in one]
    for rounds in states:
        logs = np.log(np.array(rounds, dtype=np.float64).reshape(len(rounds), -1))
        left = logs - logs.mean(axis=0) - logs.mean(axis=1, keepdims=True) + logs.mean()
        squares += float((left**2).sum())
        freedom += (logs.shape[0] - 1) * (logs.shape[1] - 1)
    if freedom == 0:
        return None
    return _repeating(math.sqrt(squares / freedom), freedom, sum(values) / len(values), step)


def least_difference(level: float, repeats: float, step: float) -> tuple[float, int]:
    """From what difference on two readings of one bore are not the same: in the meter's unit, and in its steps.

    It is rounded up to what the meter can show.

    Parameters: ``level`` of the readings, and ``step`` of the meter, above 0, both in its unit; ``repeats``, the
    standard deviation of reading again as a fraction, without the rounding to the step.

    Source: the critical difference of two results, ISO 5725-6.

    >>> least_difference(6.5, 0.008, 0.25)
    (0.25, 1)
    """
    critical = TWO_READINGS * math.hypot(repeats * level, step / math.sqrt(12))
    steps = max(1, math.ceil(critical / step - 1e-9))
    return steps * step, steps


def agreement(first: Sequence[float], second: Sequence[float]) -> Agreement:
    """Whether two meters read alike, from the same bores read with both, bore by bore.

    The logarithm of each ratio is one observation; their mean has a band by Student's law.

    Parameters: ``first`` and ``second`` readings above 0 in one unit, in the same order, three pairs or more. Raises
    ValueError otherwise.

    Source: Student, "The probable error of a mean", Biometrika 6 (1908) 1-25.

    >>> found = agreement([6.5, 7.0, 6.0, 6.75], [6.75, 7.25, 6.25, 7.0])
    >>> round(found.ratio, 3), found.agree
    (1.038, False)
    """
    if len(first) != len(second) or len(first) < 3:
        raise ValueError("three pairs at least")
    logs = [math.log(b / a) for a, b in zip(first, second, strict=True)]
    mean = sum(logs) / len(logs)
    deviation, freedom = pooled_deviation([logs])
    half = float(stdtrit(freedom, 1 - (1 - BAND) / 2)) * deviation / math.sqrt(len(logs))
    return Agreement(math.exp(mean), math.exp(mean - half), math.exp(mean + half), len(logs))
