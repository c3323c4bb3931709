"""The Gaussian that readings of one state leave over the bores' ln(air), for each of ten spreads they may have.

``ln y = level + drift t + exponent ln(speed) + u_b + wander + noise``. The level is unknown, bores are exchangeable:
``u_b ~ N(0, tau^2 + own^2)``, where ``own`` is what a bore's readings have in common without being air. Tau lies on a
grid and is weighed by its prior times the evidence, as in A. Gelman and others, Bayesian Data Analysis, 3rd ed. 2013,
chapter 5 (a hierarchical normal model given tau is Gaussian in closed form).
"""

from dataclasses import dataclass
from functools import lru_cache

import numpy as np
from numpy.typing import NDArray
from scipy.linalg import cho_factor, cho_solve

Floats = NDArray[np.float64]

# All our judgement.
TAUS = np.geomspace(0.004, 0.4, 10)
"""Spreads of ln(air) between bores that are thought possible, shape (10,)."""

USUAL_TAU = 0.06  # where the prior of tau falls to a half
WANDER, MEMORY = 0.007, 180.0  # of ln(air), common to all bores; seconds until it has forgotten
DRIFT_SD = 0.01  # of ln(air) a minute, of a hot idle
LEVEL_SD = 100.0  # of ln(air): nothing is known
EXPONENT = (0.5, 0.5)  # of speed in the flow past plates at rest: 0 where it is choked, 1 where it follows the pistons

DRAWS = 3000


@dataclass(frozen=True, slots=True, eq=False)
class Course:
    """What was read, in arrays. Shapes: ``log_flow``, ``variance`` and ``minutes`` (readings,), ``bore`` (readings,)
    as columns of the bores, ``log_speed`` (readings,) about its mean, or None where no speeds were recorded.
    """

    bores: int
    bore: NDArray[np.intp]
    log_flow: Floats
    variance: Floats
    minutes: Floats
    log_speed: Floats | None
    exponent: tuple[float, float] = EXPONENT

    @property
    def common(self) -> tuple[Floats, Floats]:
        """What acts on all bores alike, shape (readings, terms), and the prior sd of each term, shape (terms,)."""
        columns, sds = [np.ones_like(self.minutes), self.minutes], [LEVEL_SD, DRIFT_SD]
        if self.log_speed is not None:
            columns.append(self.log_speed)
            sds.append(self.exponent[1])
        return np.column_stack(columns), np.array(sds)

    @property
    def at_bore(self) -> Floats:
        """Which bore each reading is of, shape (readings, bores), one 1 a row."""
        return np.eye(self.bores)[self.bore]

    @property
    def centered(self) -> Floats:
        """``log_flow`` about its mean, less what the expected exponent says of speed; shape (readings,)."""
        expected = 0.0 if self.log_speed is None else self.exponent[0] * self.log_speed
        return np.asarray(self.log_flow - self.log_flow.mean() - expected, dtype=np.float64)

    @property
    def noise(self) -> Floats:
        """Covariance of meter and wander together, shape (readings, readings)."""
        apart = np.abs(self.minutes[:, None] - self.minutes[None, :]) * 60.0
        return np.asarray(np.diag(self.variance) + WANDER**2 * np.exp(-apart / MEMORY), dtype=np.float64)


@dataclass(frozen=True, slots=True, eq=False)
class ShareMixture:
    """One Gaussian over ``u`` for each tau. Shapes: ``weights`` (10,), ``means`` (10, bores), ``covariances`` (10,
    bores, bores); ``drift`` is the mean of ln(air) a minute, ``drift_sd`` its standard deviation.
    """

    weights: Floats
    means: Floats
    covariances: Floats
    own: float
    drift: float = 0.0
    drift_sd: float = DRIFT_SD

    @property
    def air_part(self) -> Floats:
        """How much of ``u`` is air and not the bore's own, by tau: shape (10,)."""
        return np.asarray(TAUS**2 / (TAUS**2 + self.own**2), dtype=np.float64)

    @property
    def spread(self) -> float:
        """Median of tau."""
        return float(np.exp(np.interp(0.5, np.cumsum(self.weights) - self.weights / 2, np.log(TAUS))))

    def of_air(self) -> tuple[Floats, Floats]:
        """Means, shape (10, bores), and covariances, shape (10, bores, bores), of ln(air)."""
        part = self.air_part
        alone = (part * self.own**2)[:, None, None] * np.eye(self.means.shape[1])
        return part[:, None] * self.means, part[:, None, None] ** 2 * self.covariances + alone


def mixture_of(course: Course, own: float = 0.0) -> ShareMixture:
    """The Gaussian for each tau, and what tau is likely.

    Parameters: ``course`` of at least one reading; ``own`` standard deviation of what a bore's readings have in common
    without being air [ln].
    """
    common, sds = course.common
    design = np.hstack([common, course.at_bore])
    solved = cho_solve(cho_factor(course.noise), np.column_stack([design, course.centered]))
    information, score = design.T @ solved[:, :-1], design.T @ solved[:, -1]
    terms, spread = len(sds), TAUS**2 + own**2
    precision = np.concatenate(
        [np.tile(sds**-2.0, (len(TAUS), 1)), np.tile(1 / spread[:, None], (1, course.bores))], axis=1
    )
    total = information + precision[:, :, None] * np.eye(terms + course.bores)
    covariance = np.asarray(np.linalg.inv(total), dtype=np.float64)
    means: Floats = covariance @ score
    log_weight = (
        0.5 * means @ score
        - 0.5 * np.linalg.slogdet(total)[1]
        - 0.5 * course.bores * np.log(spread)
        - np.log1p((TAUS / USUAL_TAU) ** 2)
    )
    weights = np.exp(log_weight - log_weight.max())
    weights /= weights.sum()
    drift = float(weights @ means[:, 1])
    drift_var = weights @ (covariance[:, 1, 1] + (means[:, 1] - drift) ** 2)
    return ShareMixture(weights, means[:, terms:], covariance[:, terms:, terms:], own, drift, float(np.sqrt(drift_var)))


def draws_of(mixture: ShareMixture, count: int = DRAWS, seed: int = 0) -> Floats:
    """Joint draws of ln(air) of all bores, shape (count, bores); the same ones for the same mixture.

    Parameters: ``mixture`` to draw from; ``count`` of draws; ``seed`` of the normal numbers.
    """
    means, covariances = mixture.of_air()
    roots = np.linalg.cholesky(covariances)
    ends = np.rint(np.cumsum(mixture.weights) * count).astype(int)
    normal = standard_normals(count, means.shape[1], seed)
    drawn = np.empty_like(normal)
    for n, (start, end) in enumerate(zip([0, *ends[:-1]], ends, strict=True)):
        drawn[start:end] = means[n] + normal[start:end] @ roots[n].T
    return drawn


def shares_of(log_air: Floats) -> Floats:
    """Share of every bore as a fraction of the mean, less 1, positive with more air; shape (..., bores).

    Parameters: ``log_air`` of all bores, shape (..., bores), of any level.

    >>> shares_of(np.log([1.0, 1.0, 1.3, 0.7])).round(3).tolist()
    [0.0, 0.0, 0.3, -0.3]
    """
    air = np.exp(log_air)
    return np.asarray(air / air.mean(axis=-1, keepdims=True) - 1.0, dtype=np.float64)


@lru_cache(maxsize=32)
def standard_normals(count: int, bores: int, seed: int) -> Floats:
    """Independent standard normal numbers, shape (count, bores), each followed by its opposite.

    Parameters: ``count`` of rows; ``bores``, the columns; ``seed`` they are made from.
    """
    half = np.random.default_rng(seed).standard_normal((-(-count // 2), bores))
    both = np.stack([half, -half], axis=1).reshape(-1, bores)[:count]
    both.setflags(write=False)
    return both
