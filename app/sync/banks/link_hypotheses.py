"""Hypotheses of what makes two banks part off idle, weighed against their differences at a few openings.

Five hypotheses: nothing, a link rod of the wrong length, unequal levers (with or without a wrong length), lost motion
in a joint, a bank held off its stop. Each says how far the banks stand apart for an offset and a ratio; on a grid of
both a bank that is still on its stop needs no special case.
"""

from collections.abc import Mapping
from dataclasses import dataclass
from enum import StrEnum

import numpy as np
from numpy.typing import NDArray

from app.sync.slips.changes import Floats

# Free play of the bank that leaves first, seen at its plates [rad], in the middle and the whole span; judgement. It is
# averaged over, for what a bank still on its stop leaves to the other at a small opening depends on it.
FREE_PLAY = 0.003  # our judgement
FREE_PLAYS = (0.001, 0.002, 0.003, 0.0045, 0.006)  # our judgement
OFFSETS: Floats = np.array([step * 0.0005 for step in range(-120, 121)])
RATIOS: Floats = np.array([step * 0.02 for step in range(-6, 7)])
LENGTH_SPREAD, SLACK_SPREAD = 0.008, 0.015  # [rad], our judgement
RATIO_SPREAD = 0.03  # a fraction; our judgement
RIGHT_SPREAD = 0.001
"""Of a link rod that is right: set to the nearest half of a flat, which is 2.2 mrad, and read as well as that [rad]
(our judgement)."""
# A gauge of 0.2 degrees over a pedal's whole travel tells ratios to 0.4 %; three times that is a ratio of its own.
GAUGED_RATIO = 0.012  # our judgement


class Cause(StrEnum):
    """Why two banks part at part throttle: `single` (one bank, nothing to balance), `nothing` (they agree), the
    `length` of a link rod, the `ratio` of the lever arms, `slack` (lost motion in a joint), `held` (a link rod holds
    its bank off the stop screw), `unknown`."""

    SINGLE = "single"
    NOTHING = "nothing"
    LENGTH = "length"
    RATIO = "ratio"
    SLACK = "slack"
    HELD = "held"
    UNKNOWN = "unknown"


@dataclass(frozen=True, slots=True, eq=False)
class LinkPosterior:
    """Odds of each cause; spread of offset (over all, and if the length is wrong) and of ratio, on its own grid.

    ``unequal`` is the chance of a lever ratio, alone or together with a wrong length; ``odds`` count the latter as one
    of length.
    """

    odds: Mapping[Cause, float]
    unequal: float
    offsets: Floats
    offsets_if_length: Floats
    ratio_grid: Floats
    ratios: Floats


def posterior_weights(
    lever: Floats,
    from_above: NDArray[np.bool_],
    observed: Floats,
    noise: Floats,
    curves: tuple[Floats, Floats, Floats],
    doubt: float,
    shares: Mapping[str, float],
    ratio_grid: Floats,
) -> LinkPosterior:
    """Posterior over offset and ratio on a grid, for every cause at once.

    Parameters: ``lever`` opening of the central lever [rad] at each observation, shape (observations,); ``from_above``
    whether it came back from further open, shape (observations,); ``observed`` difference of ln(flow), second bank
    less first, less the same at idle, shape (observations,); ``noise`` their covariance, shape (observations,
    observations); ``curves`` openings [rad] and the mean rise of ln(flow) of the first and of the second bank, each of
    shape (points,); ``doubt`` standard deviation of the logarithm of its gain, averaged over; ``shares`` prior
    probability of each cause; ``ratio_grid`` the ratios considered, shape (ratios,), a single one when it was measured.

    Source: Bayesian comparison of hypotheses; spreads are judgement.
    """
    precision = np.asarray(np.linalg.inv(noise), dtype=np.float64)
    everywhere = np.ones_like(lever)
    fixed = _square(lever, everywhere, observed, precision, curves, doubt, ratio_grid)
    loose = fixed
    if from_above.any():
        loose = _square(lever, np.where(from_above, 0.0, 1.0), observed, precision, curves, doubt, ratio_grid)
    least = min(fixed.min(), loose.min())
    of_fixed, of_loose = (np.exp(-(square - least) / 2).sum(axis=0) for square in (fixed, loose))

    right_offset = _normal_density(OFFSETS, RIGHT_SPREAD)
    of_length, of_slack = _normal_density(OFFSETS, LENGTH_SPREAD), _normal_density(OFFSETS, SLACK_SPREAD)
    of_ratio = _normal_density(ratio_grid, RATIO_SPREAD)
    point_ratio = (np.abs(ratio_grid) == np.abs(ratio_grid).min()).astype(float)
    hypotheses = {
        "nothing": np.outer(right_offset, point_ratio) * of_fixed,
        "length": np.outer(of_length, point_ratio) * of_fixed,
        "ratio": np.outer(right_offset, of_ratio) * of_fixed,
        "both": np.outer(of_length, of_ratio) * of_fixed,
        "held": np.outer(of_length, point_ratio) * of_fixed,
        "slack": np.outer(of_slack, point_ratio) * of_loose,
    }
    masses = {name: shares[name] * hypothesis for name, hypothesis in hypotheses.items()}
    total = sum(float(mass.sum()) for mass in masses.values())
    all_masses = sum(masses.values(), np.zeros_like(of_fixed)) / total
    length = (masses["length"] + masses["both"]) / total
    odds: dict[Cause, float] = {
        Cause.NOTHING: float(masses["nothing"].sum() / total),
        Cause.LENGTH: float(length.sum()),
        Cause.RATIO: float(masses["ratio"].sum() / total),
        Cause.SLACK: float(masses["slack"].sum() / total),
        Cause.HELD: float(masses["held"].sum() / total),
    }
    per_offset = length.sum(axis=1)
    unequal = float((masses["ratio"] + masses["both"]).sum() / total)
    return LinkPosterior(
        odds, unequal, all_masses.sum(axis=1), per_offset / per_offset.sum(), ratio_grid, all_masses.sum(axis=0)
    )


def _square(
    lever: Floats,
    follows: Floats,
    observed: Floats,
    precision: Floats,
    curves: tuple[Floats, Floats, Floats],
    doubt: float,
    ratio_grid: Floats,
) -> Floats:
    """Squared misfit: gains and free plays by offsets by ratios. ``follows`` is 1 where the offset shows, else 0."""
    openings, of_first, of_second = curves
    offset, ratio = OFFSETS[:, None, None] * follows, ratio_grid[None, :, None]
    deviates = np.linspace(-2, 2, 5)
    squares = []
    for play in FREE_PLAYS:
        first = np.maximum(0.0, lever * (1 - ratio / 2) - play - np.maximum(offset, 0.0))
        second = np.maximum(0.0, lever * (1 + ratio / 2) - play + np.minimum(offset, 0.0))
        predicted = np.interp(second, openings, of_second) - np.interp(first, openings, of_first)
        miss = observed - np.exp(deviates * doubt)[:, None, None, None] * predicted
        squares.append(np.sum(miss @ precision * miss, axis=-1) + (deviates**2)[:, None, None])
    return np.concatenate(squares)


SLACK, FELT_WRONG = 0.06, 0.05
"""Pairs of link rods with lost motion in a joint, and the part of it that fingers miss (our judgement)."""


def expected_shares(
    free_play_proven: bool, joints_tight: bool, gauged_ratio: float | None, both_ways: bool = False
) -> Mapping[str, float]:
    """What to expect before any reading, by judgement.

    Parameters: ``free_play_proven`` at both link rods rules out a bank held off its stop, not slack in a joint;
    ``joints_tight``, felt by hand, rules out the slack, but where an opening was read ``both_ways`` it leaves it
    FELT_WRONG of its share: such readings tell by themselves, and a finger may err; ``gauged_ratio`` from an angle
    gauge settles whether the levers are equal.
    """
    equal = {"nothing": 0.40, "length": 0.24, "ratio": 0.20, "both": 0.10}
    if gauged_ratio is not None:
        unequal = abs(gauged_ratio) >= GAUGED_RATIO
        equal |= {"nothing": 0.0, "length": 0.0} if unequal else {"ratio": 0.0, "both": 0.0}
    slack = SLACK * ((FELT_WRONG if both_ways else 0.0) if joints_tight else 1.0)
    shares = equal | {"slack": slack, "held": 0.0 if free_play_proven else 0.15}
    total = sum(shares.values())
    return {name: share / total for name, share in shares.items()}


def _normal_density(grid: Floats, spread: float) -> Floats:
    weights: Floats = np.exp(-((grid / spread) ** 2) / 2)
    weights /= weights.sum()
    return weights
