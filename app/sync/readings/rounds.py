"""One round in the meter's own unit: the mean, the idle's drift, and what is too far off to be accepted.

A round goes once over the bores and reads the first one again, so that drift shows. Items and drift are fitted together
by least squares as in circular comparisons of standards (C. M. Sutton and M. T. Clarkson, "A general approach to
comparisons in the presence of drift", Metrologia 30, 1993/94, 487-493); a prior keeps one drift check from
inventing a drift that the meter cannot see. Whether the bores are even is said by ``estimation.evenness``.
"""

import math
from collections import Counter
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from statistics import median

import numpy as np
from numpy.typing import NDArray

from app.sync.engine.events import Meter, Reading
from app.sync.readings.idle_wander import drift_over
from app.sync.readings.untouched import HANDLING, Untouched, level_changes

DRIFT_SEEN_Z = 1.645
"""Standard deviations from which a drift is said to be one: one-sided, 95 % (quantile of the normal law, any table)."""

MISREAD_TIMES = 3.0
"""A reading this many times the others', or this fraction of them, is asked for again (our judgement)."""

MISREAD_OTHERS = 2
"""How many other bores it takes before one can be called far from them (our judgement)."""

MOST, MOST_OF_A_BORE = 480, 60
"""Readings of one state that are gone by, the last ones: as many of each bore. The mean of twenty has a fifth of one
reading's error, less than the idle's wander leaves; all are inverted as one matrix (our judgement)."""


@dataclass(frozen=True, slots=True)
class RoundFit:
    """The bores of one round as at its middle, in kg/s or Pa: ``values`` of those read, their ``mean``, the ``drift``
    over the round that was taken out, and whether it is ``drift_seen`` beyond its own error."""

    values: Mapping[int, float]
    mean: float
    drift: float
    drift_seen: bool


def fit(readings: Sequence[Reading], meter: Meter, earlier: Sequence[Untouched] = ()) -> RoundFit:
    """The bores of a round with its drift taken out; a bore read more than once counts with the mean of its readings.

    Parameters: ``readings`` of one round in the order taken, with no move between them, at least one; ``meter`` they
    were read with; ``earlier`` readings of states before, of bores that stand as they did. Raises ValueError without a
    reading.

    >>> rising = [Reading(b, 6.0 + 0.1 * n, 20.0 * n, n == 3) for n, b in enumerate((1, 2, 3, 1))]
    >>> found = fit(rising, Meter(step=1e-9, repeatability=1e-6))
    >>> round(found.drift, 2), round(found.values[1] - found.values[3], 3)
    (0.3, -0.0)
    """
    if not readings:
        raise ValueError("a round needs a reading")
    before = [(one, state.moves) for state in earlier for one in state.readings]
    bores = list(dict.fromkeys(reading.bore for reading in (*readings, *(one for one, _ in before))))
    values, drift, cov = _least_squares(bores, readings, meter, before)
    seen = abs(drift) > DRIFT_SEEN_Z * float(np.sqrt(cov[-1, -1]))
    return RoundFit(dict(zip(bores, values.tolist(), strict=True)), float(values.mean()), drift, seen)


def last_of_each(read: Sequence[int], bores: int) -> list[int]:
    """The places of the readings of one state that are gone by, in the order taken: ``MOST`` at most, as many of each.

    Parameters: ``read``, the bore of each reading in the order taken; ``bores`` that there are, at least one.

    >>> len(last_of_each([1, 2] * 40, 2)), len(last_of_each([1, 2] * 70, 2)), len(last_of_each([1] * 100 + [2], 16))
    (80, 120, 31)
    """
    most = min(MOST_OF_A_BORE, MOST // bores)
    if len(read) <= most:
        return [*range(len(read))]
    seen: Counter[int] = Counter()
    last = []
    for place in reversed(range(len(read))):
        seen[read[place]] += 1
        if seen[read[place]] <= most:
            last.append(place)
    return last[::-1]


def outliers(by_bore: Mapping[int, float]) -> frozenset[int]:
    """The bores to read again before the round is judged: ``MISREAD_TIMES`` the middle one, or that fraction of it.

    Parameters: ``by_bore``, a value for each bore, all in one unit, 0 or more; with fewer than two others beside a
    bore none is outliers.

    >>> sorted(outliers({1: 6.5, 2: 6.25, 3: 62.5}))
    [3]
    """
    if len(by_bore) <= MISREAD_OTHERS:
        return frozenset()
    middle = median(by_bore.values())
    return frozenset(b for b, v in by_bore.items() if v > MISREAD_TIMES * middle or v * MISREAD_TIMES < middle)


def reading_sd(value: float, meter: Meter, own: float | None = None) -> float:
    """Standard deviation of one reading: repeatability, and rounding to the meter's step as a uniform distribution.

    Parameters: ``value`` read [kg/s or Pa]; ``meter`` it was read with; ``own``, the standard error that it came with
    as a fraction, which stands for both. Source: GUM, JCGM 100:2008, 4.3.7 for the step.

    >>> round(reading_sd(6.5, Meter(step=0.25, repeatability=0.02)), 4)
    0.1487
    """
    return math.hypot(meter.repeatability * value, meter.step / math.sqrt(12)) if own is None else own * value


def _least_squares(
    bores: list[int], readings: Sequence[Reading], meter: Meter, before: Sequence[tuple[Reading, int]]
) -> tuple[NDArray[np.float64], float, NDArray[np.float64]]:
    """Values per bore as at the middle of the round, the drift over the round, and their covariance.

    ``before`` are readings of earlier states, each with the moves made since.
    """
    place = {bore: n for n, bore in enumerate(bores)}
    times = np.array([r.at for r in readings], dtype=float)
    span = times.max() - times.min()
    drift_sd = drift_over(float(span), len(readings))
    steps = np.linspace(-0.5, 0.5, len(readings)) if span <= 0 else (times - times.min()) / span - 0.5
    level = float(np.mean([r.value for r in readings]))
    moves = np.array([0] * len(readings) + [made for _, made in before])
    changed, change_sds = level_changes(moves)
    taken = [*readings, *(r for r, _ in before)]
    rows, known = len(moves), [r.value for r in taken]
    design = np.zeros((rows + len(change_sds) + 1, len(bores) + len(change_sds) + 1))
    observed, sds = np.zeros(len(design)), np.zeros(len(design))
    design[np.arange(rows), [place[r.bore] for r in taken]] = 1.0
    design[:rows, len(bores) : -1] = changed
    if len(readings) > 1:
        design[: len(readings), -1] = steps
        design[len(readings) : rows, -1] = -0.5
    observed[:rows] = known
    sds[:rows] = [reading_sd(r.value, meter, r.sd) for r in taken]
    sds[:rows] = np.hypot(sds[:rows], HANDLING * np.sqrt(moves) * level)
    design[rows:, len(bores) :] = np.eye(len(change_sds) + 1)
    sds[rows:] = np.append(change_sds, drift_sd) * level
    sds = np.maximum(sds, 1e-12)
    weighted = design / sds[:, None]
    cov = np.asarray(np.linalg.inv(weighted.T @ weighted), dtype=np.float64)
    fitted = cov @ weighted.T @ (observed / sds)
    return fitted[: len(bores)], float(fitted[-1]), cov
