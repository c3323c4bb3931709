"""What readings of one state leave over the bores' ln(air): a mixture of Gaussians, one for each spread they may have.

``ln y = level + drift t + u_b + wander + noise``. The level is unknown and changes a little with
each adjustment of other bores, bores are exchangeable:
``u_b ~ N(0, tau^2 + own^2)``, where ``own`` is what a bore's readings have in common without being air; and one of them
may stand apart, with ``APART_SD`` more. Tau lies on a grid and is weighed by its prior times the evidence, as in
A. Gelman and others, Bayesian Data Analysis, 3rd ed. 2013, chapter 5 (a hierarchical normal model given tau is Gaussian
in closed form).
"""

from dataclasses import dataclass
from functools import lru_cache

import numpy as np
from numpy.typing import NDArray
from scipy.linalg import cho_factor, cho_solve

from app.sync.readings.idle_wander import DRIFT, MEMORY, WANDER
from app.sync.readings.untouched import HANDLING, level_changes

Floats = NDArray[np.float64]

# All our judgement.
TAUS = np.geomspace(0.004, 0.4, 10)
"""Spreads of ln(air) between bores that are thought possible, shape (10,)."""

APART, APART_SD = 0.2, 0.10  # how likely one plate stands apart, and by how much of ln(air) (our judgement)
USUAL_TAU, LEAST_TAU = 0.06, 0.02
"""Where the prior of tau falls to a half: above, as its square, and below, as its fourth power. Plates just moved by
hand seldom come nearer to each other than what a feeler misses by (our judgement, from simulated engines: after a move
nine in ten spread by 3.5 to 21 %)."""

LEVEL_SD = 100.0  # of ln(air): nothing is known (our judgement)

DRAWS = 3000  # our judgement
LEAST_WEIGHT = 1e-4  # of a part that draws are worth (our judgement)


@dataclass(frozen=True, slots=True, eq=False)
class Course:
    """What was read, in arrays. Shapes: ``log_flow``, ``variance`` and ``minutes`` (readings,), ``bore`` (readings,)
    as columns of the bores, ``moves`` made since each (readings,).
    """

    bores: int
    bore: NDArray[np.intp]
    log_flow: Floats
    variance: Floats
    minutes: Floats
    moves: NDArray[np.intp]

    @property
    def common(self) -> tuple[Floats, Floats]:
        """What acts on all bores alike, shape (readings, terms), and the prior sd of each term, shape (terms,)."""
        changed, by = level_changes(self.moves)
        columns = [np.ones_like(self.minutes), self.minutes, *changed.T]
        return np.column_stack(columns), np.array([LEVEL_SD, DRIFT, *by])

    @property
    def at_bore(self) -> Floats:
        """Which bore each reading is of, shape (readings, bores), one 1 a row."""
        return np.eye(self.bores)[self.bore]

    @property
    def centered(self) -> Floats:
        """``log_flow`` about its mean, shape (readings,)."""
        return np.asarray(self.log_flow - self.log_flow.mean(), dtype=np.float64)

    @property
    def noise(self) -> Floats:
        """Covariance of meter, wander and what moves did to the bores beside them, shape (readings, readings)."""
        apart = np.abs(self.minutes[:, None] - self.minutes[None, :]) * 60.0
        found = np.diag(self.variance) + WANDER**2 * np.exp(-apart / MEMORY)
        if self.moves.any():
            alike = self.bore[:, None] == self.bore[None, :]
            found += HANDLING**2 * alike * np.minimum(self.moves[:, None], self.moves[None, :])
        return np.asarray(found, dtype=np.float64)


@dataclass(frozen=True, slots=True, eq=False)
class ShareMixture:
    """Gaussians over ``u``. Shapes: ``weights`` and ``taus`` (parts,), ``means`` (parts, bores), ``covariances``
    (parts, bores, bores). ``own`` is the error that readings of a bore have in common, ``drift`` the mean of ln(air) a
    minute, ``drift_sd`` its standard deviation.
    """

    weights: Floats
    taus: Floats
    means: Floats
    covariances: Floats
    own: float
    drift: float
    drift_sd: float

    @property
    def spread(self) -> float:
        """Median of tau."""
        weights = np.array([self.weights[self.taus == tau].sum() for tau in TAUS])
        return float(np.exp(np.interp(0.5, np.cumsum(weights) - weights / 2, np.log(TAUS))))

    def covariances_of_air(self, covariances: Floats) -> Floats:
        """Covariances of ln(air), shape (parts, bores, bores), where those of ``u`` are ``covariances``, same shape.

        The bore's own error is added whole: plates that were set until their readings agreed carry it in their air.
        """
        return np.asarray(covariances + self.own**2 * np.eye(covariances.shape[-1]), dtype=np.float64)


def mixture_of(course: Course, own: float = 0.0) -> ShareMixture:
    """The Gaussian for each tau and each bore that may stand apart, and how likely they are.

    Parameters: ``course`` of at least one reading; ``own`` standard deviation of what a bore's readings have in common
    without being air [ln].
    """
    common, sds = course.common
    design = np.hstack([common, course.at_bore])
    solved = cho_solve(cho_factor(course.noise), np.column_stack([design, course.centered]))
    information, score = design.T @ solved[:, :-1], design.T @ solved[:, -1]
    terms, bores = len(sds), course.bores
    alike = TAUS**2 + own**2
    precision = np.hstack([np.tile(sds**-2.0, (len(TAUS), 1)), np.tile(1 / alike[:, None], (1, bores))])
    covariance = np.linalg.inv(information + precision[:, :, None] * np.eye(terms + bores))
    # the same with one bore's precision less, by Sherman and Morrison; the last part is that none stands apart
    less = np.zeros((len(TAUS), bores + 1, 1))
    less[:, :bores, 0] = (1 / (alike + APART_SD**2) - 1 / alike)[:, None]
    rows = covariance[:, [*range(terms, terms + bores), terms], :]
    kept = 1 + less * rows[:, range(bores + 1), [*range(terms, terms + bores), terms], None]
    covariances = covariance[:, None] - (less / kept)[..., None] * rows[..., :, None] * rows[..., None, :]
    means = covariances @ score
    prior_variances = alike[:, None] + np.zeros(bores + 1)
    prior_variances[:, :bores] += APART_SD**2
    log_weights = (
        0.5 * (means @ score)
        + 0.5 * np.linalg.slogdet(covariance)[1][:, None]
        - 0.5 * np.log(kept[..., 0])
        - 0.5 * ((bores - 1) * np.log(alike)[:, None] + np.log(prior_variances))
        - np.log1p((TAUS / USUAL_TAU) ** 2)[:, None]
        - np.log1p((LEAST_TAU / TAUS) ** 4)[:, None]
        + np.log(np.array([APART / bores] * bores + [1 - APART]))
    )
    return _mixture(log_weights, means, covariances, terms, own)


def _mixture(log_weights: Floats, means: Floats, covariances: Floats, terms: int, own: float) -> ShareMixture:
    """The parts that count, of shape (taus, bores + 1, ...), with the common terms summed up."""
    weights = np.exp(log_weights - log_weights.max())
    weights /= weights.sum()
    drift = float((weights * means[..., 1]).sum())
    drift_var = float((weights * (covariances[..., 1, 1] + (means[..., 1] - drift) ** 2)).sum())
    at_tau, apart = np.nonzero(weights > LEAST_WEIGHT)
    counted = weights[at_tau, apart]
    return ShareMixture(
        counted / counted.sum(),
        TAUS[at_tau],
        means[at_tau, apart, terms:],
        covariances[at_tau, apart, terms:, terms:],
        own,
        drift,
        drift_var**0.5,
    )


def draws_of(mixture: ShareMixture, count: int = DRAWS, seed: int = 0) -> Floats:
    """Joint draws of ln(air) of all bores, shape (count, bores); the same ones for the same mixture.

    Parameters: ``mixture`` to draw from; ``count`` of draws; ``seed`` of the normal numbers.
    """
    means = mixture.means
    roots = np.linalg.cholesky(mixture.covariances_of_air(mixture.covariances))
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
