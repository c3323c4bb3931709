"""What share of the air each bore takes, from all readings of one state together, and how sure that is.

Nothing of plates or linkage is assumed: a bore's readings, the meter's error, an idle that drifts and wanders, and that
bores of one engine are spread alike. Joint draws give the probability that all are within the tolerance; the mean is
shared, so a product over the bores would be wrong.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from app.sync.estimation.misreads import screen
from app.sync.estimation.share_mixture import (
    Course,
    ShareMixture,
    draws_of,
    mixture_of,
    shares_of,
    standard_normals,
)
from app.sync.readings.idle_wander import EVERY_READING
from app.sync.readings.rounds import last_of_each

SCALES = 7  # by definition a seed, apart from that of the draws


@dataclass(frozen=True, slots=True)
class LogReading:
    """One reading at one bore as ``log_flow``, ln of air flow in any unit, with the ``variance`` of that.

    ``at`` is seconds from any fixed start, ``moves`` how many were made since, none of which acts on this bore.
    """

    bore: int
    log_flow: float
    variance: float
    at: float
    moves: int = 0


@dataclass(frozen=True, slots=True)
class BoreShare:
    """One bore's share of the air against the mean of all: 0.05 is 5 % more air.

    ``low`` to ``high`` holds it with probability 0.9; ``inside``, ``above`` and ``below`` are the probabilities that it
    is within the tolerance, above and below it. ``readings`` counts those that were gone by.
    """

    bore: int
    median: float
    low: float
    high: float
    inside: float
    above: float
    below: float
    readings: int


@dataclass(frozen=True, slots=True, eq=False)
class SharePosterior:
    """What is known of the shares. ``shares`` holds the bores that were read, in the engine's order.

    ``all_inside`` is the probability that every bore is within ``tolerance``; None while a bore is ``unread`` or
    ``contradictory`` (its readings cannot all be true, and it is to be read again). ``misread`` are the places in the
    list of readings that were left out. ``spread`` is the standard deviation of ln(air) between bores; ``drift`` of the
    idle in ln(air) a minute, with its standard deviation. ``variances``, shape (bores,), is the error of one more
    reading at each bore.
    """

    bores: tuple[int, ...]
    tolerance: float
    shares: Mapping[int, BoreShare]
    all_inside: float | None
    spread: float
    drift: float
    drift_sd: float
    unread: tuple[int, ...]
    contradictory: tuple[int, ...]
    misread: tuple[int, ...]
    mixture: ShareMixture
    variances: NDArray[np.float64]

    @property
    def complete(self) -> bool:
        """Whether every bore was read and none contradicts itself."""
        return not self.unread and not self.contradictory


def pooled(
    bores: Sequence[int],
    readings: Sequence[LogReading],
    tolerance: float,
    *,
    own: float = 0.0,
    scale: float = 0.0,
) -> SharePosterior:
    """The shares by all readings of one state.

    Parameters: ``bores`` of the engine; ``readings`` since the last move that could touch a plate, in the order taken,
    at least one, of which the last of each bore count; ``tolerance`` the allowed deviation of a share from the mean as
    a fraction, above 0; ``own`` standard deviation of what a bore's readings have in common without being air [ln], as
    a column's do by the filling of its cylinder; ``scale`` standard deviation of the factor, as a logarithm, by
    which all differences between bores are wrong alike, as by columns where it is not known how much of their pressure
    runners share: it makes those beyond the tolerance less sure in size; what it does to smaller ones is in ``own``.
    Raises ValueError without a reading, or for one of no bore listed.

    >>> import math
    >>> flows = enumerate([(1, 6.5), (2, 6.5), (3, 8.5), (1, 6.5)])
    >>> found = pooled((1, 2, 3), [LogReading(b, math.log(f), 0.023**2, 20.0 * n) for n, (b, f) in flows], 0.08)
    >>> found.shares[3].above > 0.95, found.all_inside < 0.05
    (True, True)
    """
    order = tuple(sorted(bores))
    if not readings or not {reading.bore for reading in readings} <= set(order):
        raise ValueError("The shares need a reading, and every reading a bore that the engine has.")
    places = last_of_each([reading.bore for reading in readings], len(order))
    course = _course(order, [readings[place] for place in places])
    found = screen(course)
    kept = [n for n in range(len(places)) if n not in found.left_out]
    mixture = mixture_of(_part(course, kept, found.added), own)
    counted = np.bincount(course.bore[kept], minlength=len(order))
    shares = shares_of(draws_of(mixture))
    shares = _scaled(shares, scale, tolerance) if scale else shares
    unread = tuple(bore for bore in bores if counted[order.index(bore)] == 0)
    contradictory = tuple(bore for bore in bores if order.index(bore) in found.contradictory)
    inside = (np.abs(shares) <= tolerance).all(axis=1).mean()
    summed = np.bincount(course.bore, course.variance, minlength=len(order))
    seen = np.bincount(course.bore, minlength=len(order))
    return SharePosterior(
        bores=tuple(bores),
        tolerance=tolerance,
        shares=_by_bore([b for b in bores if b not in unread], order, shares, tolerance, counted),
        all_inside=None if unread or contradictory else float(inside),
        spread=mixture.spread,
        drift=mixture.drift,
        drift_sd=mixture.drift_sd,
        unread=unread,
        contradictory=contradictory,
        misread=tuple(places[n] for n in sorted(found.left_out)),
        mixture=mixture,
        variances=np.where(seen > 0, summed / np.maximum(seen, 1), course.variance.mean()),
    )


def _scaled(shares: NDArray[np.float64], scale: float, tolerance: float) -> NDArray[np.float64]:
    """Draws of shares, shape (draws, bores), what lies beyond the tolerance as many times as large as it may be."""
    beyond = np.maximum(np.abs(shares) - tolerance, 0.0)
    times = np.exp(scale * standard_normals(len(shares), 1, SCALES))
    return np.asarray(shares + np.sign(shares) * beyond * (times - 1))


def _course(order: tuple[int, ...], readings: Sequence[LogReading]) -> Course:
    seconds = np.array([reading.at for reading in readings], dtype=float)
    if np.ptp(seconds) == 0:
        seconds = EVERY_READING * np.arange(len(readings), dtype=float)
    return Course(
        bores=len(order),
        bore=np.array([order.index(reading.bore) for reading in readings], dtype=np.intp),
        log_flow=np.array([reading.log_flow for reading in readings], dtype=float),
        variance=np.array([reading.variance for reading in readings], dtype=float),
        minutes=(seconds - seconds.mean()) / 60.0,
        moves=np.array([reading.moves for reading in readings], dtype=np.intp),
    )


def _part(course: Course, kept: list[int], added: NDArray[np.float64]) -> Course:
    """The course of the readings that are gone by."""
    return Course(
        course.bores,
        course.bore[kept],
        course.log_flow[kept],
        (course.variance + added)[kept],
        course.minutes[kept],
        course.moves[kept],
    )


def _by_bore(
    read: Sequence[int],
    order: tuple[int, ...],
    shares: NDArray[np.float64],
    tolerance: float,
    counted: NDArray[np.intp],
) -> dict[int, BoreShare]:
    found = {}
    for bore in read:
        n = order.index(bore)
        sorted_shares = np.sort(shares[:, n])
        low, median, high = sorted_shares[[int(part * len(shares)) for part in (0.05, 0.5, 0.95)]].tolist()
        less = float((sorted_shares < -tolerance).mean())
        more = float((sorted_shares > tolerance).mean())
        found[bore] = BoreShare(bore, median, low, high, 1.0 - more - less, more, less, int(counted[n]))
    return found
