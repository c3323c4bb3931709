"""Whether an engine is even by the probability that it is, and what more readings would decide.

A conformance probability is compared with a limit, and what is left is the specific risk of a wrong pass (JCGM
106:2012, 9.3.2; the clause from memory). 0.95 is the default of ISO 14253-1:2017 as secondary sources describe it. Both
speak of one characteristic; that all bores must be inside together is our stricter reading.
"""

from dataclasses import dataclass, replace
from enum import StrEnum

import numpy as np
from numpy.typing import NDArray

from app.sync.estimation.share_mixture import (
    LEVEL_SD,
    ShareMixture,
    draws_of,
    standard_normals,
)
from app.sync.estimation.shares import SharePosterior
from app.sync.readings.idle_wander import WANDER

Floats = NDArray[np.float64]

PASS_PROBABILITY = 0.95
"""Of all bores inside, to be called even: ISO 14253-1:2017, as secondary sources describe it."""

# All our judgement.
LIMIT_PROBABILITY = 0.87  # of all bores inside, for "as far as this meter shows"
WORTH_READING = 0.5  # chance of a decision for which more rounds are asked for
MANY_READINGS = 1.5  # of a bore on average, after which a likely engine is not read further to be called even
ROUNDS = (1, 2, 4)
TRUTHS, BELIEFS = 200, 200  # draws of the truth, and of the posterior for each


class Conformity(StrEnum):
    """What is said of an engine. ``LIMIT``: likely even, and more rounds hardly help or enough was read;
    ``INCOMPLETE``: bores to read, or the round not closed, and nothing is known to be outside.
    """

    EVEN = "even"
    NOT_EVEN = "not even"
    UNDECIDED = "too close to call"
    LIMIT = "limit"
    INCOMPLETE = "incomplete"


@dataclass(frozen=True, slots=True)
class Foresight:
    """What ``rounds`` more over all bores would lead to: the chance to be called even, or not even."""

    rounds: int
    even: float
    not_even: float

    @property
    def decided(self) -> float:
        """The chance of a decision."""
        return self.even + self.not_even


@dataclass(frozen=True, slots=True)
class Decision:
    """What is said, and what to do about it where nothing is.

    ``all_inside`` is None while incomplete. ``rounds`` is the number that would likely decide, the last line of
    ``foreseen``; None where no sensible number does. ``read_next`` are the bores to read first, most telling first: of
    an incomplete engine those unread or contradictory. ``move_advised``: no sensible number of readings decides, and
    even is not likely enough to leave it. ``readings``: so many more at most, and something is said; None where that is
    not known. ``unproved``: the bores that only sensors of their own read; one probe has to read them before anything
    good is said.
    """

    conformity: Conformity
    all_inside: float | None
    above: tuple[int, ...] = ()
    below: tuple[int, ...] = ()
    foreseen: tuple[Foresight, ...] = ()
    rounds: int | None = None
    read_next: tuple[int, ...] = ()
    move_advised: bool = False
    readings: int | None = None
    unproved: tuple[int, ...] = ()

    def unless_unproved(self, bores: tuple[int, ...]) -> "Decision":
        """The same, with a good word taken back while only sensors of their own read ``bores``."""
        if not bores:
            return self
        good = self.conformity in (Conformity.EVEN, Conformity.LIMIT)
        said = replace(self, conformity=Conformity.UNDECIDED, rounds=None, read_next=bores) if good else self
        return replace(said, unproved=bores)


def decide(
    posterior: SharePosterior, pass_probability: float = PASS_PROBABILITY, *, closed: bool, ahead: bool = True
) -> Decision:
    """Whether the engine is even.

    Parameters: ``posterior`` of the shares; ``pass_probability`` from which a bore is decided, above 0.5 and below 1;
    ``closed`` whether the round was closed; ``ahead`` whether to foresee more rounds where it is undecided, which takes
    far longer than the rest: without, nothing more is said than that it is undecided.
    """
    above = tuple(b for b, share in posterior.shares.items() if share.above >= pass_probability)
    below = tuple(b for b, share in posterior.shares.items() if share.below >= pass_probability)
    inside = posterior.all_inside
    if above or below or (inside is not None and inside <= 1 - pass_probability):
        return Decision(Conformity.NOT_EVEN, inside, above, below)
    if inside is None or not closed:
        missing = (*posterior.contradictory, *posterior.unread)
        return Decision(Conformity.INCOMPLETE, inside, read_next=missing)
    if inside >= pass_probability:
        return Decision(Conformity.EVEN, inside)
    if not ahead:
        return Decision(Conformity.UNDECIDED, inside)
    foreseen, rounds = _until_decided(posterior, pass_probability)
    counted = sum(share.readings for share in posterior.shares.values())
    read_enough = rounds is None or counted >= MANY_READINGS * len(posterior.bores)
    if inside >= LIMIT_PROBABILITY and read_enough:
        return Decision(Conformity.LIMIT, inside, foreseen=foreseen, rounds=rounds)
    if rounds is not None:
        telling = most_telling(posterior, pass_probability)
        return Decision(Conformity.UNDECIDED, inside, foreseen=foreseen, rounds=rounds, read_next=telling)
    return Decision(Conformity.UNDECIDED, inside, foreseen=foreseen, move_advised=True)


def _until_decided(posterior: SharePosterior, pass_probability: float) -> tuple[tuple[Foresight, ...], int | None]:
    """What is foreseen of ever more rounds, and the first number of them that is worth reading."""
    foreseen: tuple[Foresight, ...] = ()
    for rounds in ROUNDS:
        foreseen += foresee(posterior, pass_probability, (rounds,))
        if foreseen[-1].decided >= WORTH_READING:
            return foreseen, rounds
    return foreseen, None


def most_telling(posterior: SharePosterior, pass_probability: float = PASS_PROBABILITY) -> tuple[int, ...]:
    """The bores that are not yet sure to be inside or outside, by ``P (1 - P) / readings``, the greatest first.

    Parameters: ``posterior`` of the shares; ``pass_probability`` from which a bore is decided.
    """
    unsure = [
        share for share in posterior.shares.values() if max(share.inside, share.above, share.below) < pass_probability
    ]
    unsure = unsure or list(posterior.shares.values())
    return tuple(
        share.bore for share in sorted(unsure, key=lambda s: (-s.inside * (1 - s.inside) / s.readings, s.bore))
    )


def foresee(
    posterior: SharePosterior,
    pass_probability: float = PASS_PROBABILITY,
    rounds: tuple[int, ...] = ROUNDS,
) -> tuple[Foresight, ...]:
    """What more rounds over all bores would lead to, by draws of what may be true.

    Parameters: ``posterior`` of a complete engine; ``pass_probability`` from which a bore is decided; ``rounds``,
    numbers of them to foresee.

    Source: preposterior analysis, H. Raiffa and R. Schlaifer, Applied Statistical Decision Theory, 1961, from memory.
    """
    mixture = posterior.mixture
    truths = draws_of(replace(mixture, own=0.0), TRUTHS, seed=1)
    found = []
    for count in rounds:
        error = (posterior.variances + WANDER**2) / count
        seen = truths + np.sqrt(error) * standard_normals(TRUTHS, len(error), 2)
        air = _believed(mixture, seen, error)
        mean = air.mean(axis=0)
        above, below = air > (1 + posterior.tolerance) * mean, air < (1 - posterior.tolerance) * mean
        inside = 1 - np.count_nonzero((above | below).any(axis=0), axis=1) / BELIEFS
        outside_by_bore = np.maximum(np.count_nonzero(above, axis=2), np.count_nonzero(below, axis=2))
        one_outside = outside_by_bore.max(axis=0) / BELIEFS
        even = inside >= pass_probability
        outside = (inside <= 1 - pass_probability) | (one_outside >= pass_probability)
        found.append(Foresight(count, float(even.mean()), float((outside & ~even).mean())))
    return tuple(found)


def _believed(mixture: ShareMixture, seen: Floats, error: Floats) -> Floats:
    """Draws of the air after each of the means ``seen``, shape (truths, bores), with the variances ``error``, shape
    (bores,), at a level that is not known: shape (bores, truths, draws).
    """
    total = mixture.covariances + np.diag(error) + LEVEL_SD**2
    precision = np.linalg.inv(total)
    gain = mixture.covariances @ precision
    off = seen[None] - mixture.means[:, None]
    misfit = ((off @ precision) * off).sum(axis=2)
    log_weights = np.log(mixture.weights)[:, None] - 0.5 * (misfit + np.linalg.slogdet(total)[1][:, None])
    part = _parts(np.exp(log_weights - log_weights.max(axis=0)))
    means = np.exp(mixture.means[:, None] + off @ gain.transpose(0, 2, 1)).transpose(2, 0, 1).reshape(len(error), -1)
    roots = np.linalg.cholesky(mixture.covariances_of_air(mixture.covariances - gain @ mixture.covariances))
    noise = standard_normals(BELIEFS, len(error), 3) @ roots.transpose(0, 2, 1)
    noise = np.exp(noise).transpose(2, 0, 1).reshape(len(error), -1)
    at_mean = part * len(seen) + np.arange(len(seen))[:, None]
    at_noise = part * BELIEFS + np.arange(BELIEFS)
    air = np.empty((len(error), len(seen), BELIEFS))
    for bore in range(len(error)):
        means[bore].take(at_mean, out=air[bore], mode="clip")  # "clip" lets it write without a copy
        air[bore] *= noise[bore].take(at_noise, mode="clip")
    return air


def _parts(weights: Floats) -> NDArray[np.int64]:
    """Which part of the mixture each of ``BELIEFS`` draws is of, shape (truths, draws), each as often as its share of
    the ``weights``, shape (parts, truths).
    """
    ends = np.cumsum(weights, axis=0) / weights.sum(axis=0)
    truths, places = weights.shape[1], BELIEFS + 1
    after = np.floor(ends[:-1] * BELIEFS + 0.5).astype(np.int64) + places * np.arange(truths)
    ended = np.bincount(after.ravel(), minlength=places * truths).reshape(truths, places)
    return np.asarray(ended.cumsum(axis=1)[:, :BELIEFS])
