"""Readings that were misread: left out where the bore's others agree, in doubt where they do not."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from app.sync.estimation.share_mixture import Course
from app.sync.readings.repeat_checks import FAR

UNKNOWN_SPREAD = 1.0
"""Of ln(air) between bores while misreads are looked for, so that a bore is compared with itself only
(our judgement)."""


@dataclass(frozen=True, slots=True, eq=False)
class Screened:
    """What was found. ``left_out`` are the readings that count for nothing, ``contradictory`` the bores (as columns) of
    which no majority agrees, ``added`` the variance that each reading is to be given more, shape (readings,).
    """

    left_out: frozenset[int]
    contradictory: frozenset[int]
    added: NDArray[np.float64]


def screen(course: Course) -> Screened:
    """Leave out what is far from its bore's other readings, as long as more of them are kept than left out.

    Two readings that contradict each other, or more of which no majority agrees, all stay and count for next to
    nothing: their own range is added to their error.

    Parameters: ``course`` of at least one reading.

    Source: deletion residuals, R. D. Cook and S. Weisberg, Residuals and Influence in Regression, 1982, 2.2.1, from
    memory.
    """
    count = np.bincount(course.bore, minlength=course.bores)
    kept = np.ones(len(course.bore), dtype=bool)
    added = np.zeros(len(course.bore))
    contradictory: set[int] = set()
    inverse = _inverse(course, added, kept)
    while True:
        far = np.abs(_deletion_residuals(course, kept, inverse))
        far[np.isin(course.bore, list(contradictory)) | (count[course.bore] < 2)] = 0.0
        worst = int(np.argmax(far))
        if far[worst] <= FAR:
            break
        mine = course.bore == course.bore[worst]
        if 2 * ((mine & ~kept).sum() + 1) < mine.sum():
            inverse = _without(inverse, int(kept[:worst].sum()))
            kept[worst] = False
        else:
            kept |= mine
            added[mine] = np.ptp(course.log_flow[mine]) ** 2
            contradictory.add(int(course.bore[worst]))
            inverse = _inverse(course, added, kept)
    return Screened(frozenset(np.flatnonzero(~kept).tolist()), frozenset(contradictory), added)


def _deletion_residuals(course: Course, kept: NDArray[np.bool_], inverse: NDArray[np.float64]) -> NDArray[np.float64]:
    """Each kept reading against what the others lead to expect, in standard deviations; 0 for the ones left out."""
    residuals = np.zeros(len(kept))
    residuals[kept] = inverse @ course.centered[kept] / np.sqrt(np.diag(inverse))
    return residuals


def _inverse(course: Course, added: NDArray[np.float64], kept: NDArray[np.bool_]) -> NDArray[np.float64]:
    """The inverse of the covariance of the readings kept, shape (kept, kept)."""
    common, sds = course.common
    same_bore = course.at_bore @ course.at_bore.T
    covariance = course.noise + np.diag(added) + (common * sds**2) @ common.T + UNKNOWN_SPREAD**2 * same_bore
    return np.asarray(np.linalg.inv(covariance[np.ix_(kept, kept)]), dtype=np.float64)


def _without(inverse: NDArray[np.float64], place: int) -> NDArray[np.float64]:
    """The inverse of the covariance with one reading less, by the inverse of a matrix in blocks."""
    column = inverse[:, place]
    fewer = inverse - np.outer(column, column / column[place])
    return np.asarray(np.delete(np.delete(fewer, place, axis=0), place, axis=1), dtype=np.float64)
