"""Every hypothesis of what may have slipped, weighed against the changes of the bores at once.

A hypothesis is a set of at most three suspects (stop screws, couplers, bypass screws, bores themselves), or of at most
one suspect and one misread value. All of them shift the bores by Gaussian amounts, so that each hypothesis's likelihood
is closed: with the changes r, the noise of a quiet visit Q and the hypothesis's columns H (scaled by how far each
usually slips), it takes no more than the three by three matrix 1 + H'Q^-1 H.
"""

import itertools
import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from functools import cache

import numpy as np
from numpy.typing import NDArray

from app.sync.engine.adjusters.registry import kind_at, moved_bores, own_screw
from app.sync.engine.layout import Adjuster, Layout, StopScrew
from app.sync.slips.changes import MISREAD_SPREAD, Floats

# Sizes as they stood best in simulation; the odds they give were right or slightly modest there.
SLIP_PRIOR_SD = 0.08  # of ln(flow); our judgement
COUNT_ODDS = (0.75, 0.17, 0.06, 0.02)  # that none, one, two or three things slipped; our judgement
BORE_SHARE = 0.15  # how likely the bore itself is, against one coupler; our judgement
MOST = len(COUNT_ODDS) - 1  # our judgement


@dataclass(frozen=True, slots=True)
class Bore:
    """The bore itself: dirt, a leak or a loose plate, rather than an adjuster."""

    bore: int


Suspect = Adjuster | Bore


def suspects_of(layout: Layout) -> tuple[Suspect, ...]:
    """Stop screws, couplers, and what changes one bore alone: a screw of its own, or the bore itself where it has none.

    A bore that a coupler moves alone cannot be told from that coupler, so it is none of them.

    Parameters: ``layout`` of the engine.
    """
    stops: list[Suspect] = [StopScrew(bank.name) for bank in layout.banks]
    couplers = layout.couplers()
    outermost = {coupler.far for coupler in couplers if len(moved_bores(layout, coupler)) == 1}
    alone = [bore for bore in layout.bores if bore not in outermost and len(layout.bank_of(bore).bores) > 1]
    return (*stops, *couplers, *(own_screw(layout, bore) or Bore(bore) for bore in alone))


def moves(layout: Layout, suspect: Suspect) -> tuple[int, ...]:
    """The bores that read differently once a suspect has slipped.

    Parameters: ``layout`` of the engine; ``suspect`` one of its own.
    """
    return (suspect.bore,) if isinstance(suspect, Bore) else moved_bores(layout, suspect)


class HypothesisFit:
    """The odds of every hypothesis, given changes of ln(flow) per bore.

    ``columns`` says which bores each suspect moves, bores by suspects; ``weight`` holds the odds of each hypothesis and
    ``fitted`` what each says the true changes are, hypotheses by bores.
    """

    def __init__(
        self,
        layout: Layout,
        bores: Sequence[int],
        residual: Floats,
        variances: Floats,
        quiet: Floats,
        misread: Mapping[int, float],
    ) -> None:
        """Weigh all hypotheses.

        Parameters: ``layout`` of the engine; ``bores`` read both times; ``residual`` their changes less what air and
        speed explain; ``variances`` of the changes and ``quiet``, their covariance when nothing slipped; ``misread``
        odds against a sound reading of the bores where one misread value may hide.
        """
        self.suspects = suspects_of(layout)
        count = len(self.suspects)
        moved = [moves(layout, suspect) for suspect in self.suspects]
        self.columns = np.array([[float(bore in those) for those in moved] for bore in bores])
        self.quiet_precision = np.linalg.inv(quiet)
        self.doubted = [at for at, bore in enumerate(bores) if misread.get(bore, 0.0) > 0]
        shares = tuple(_share(layout, suspect) for suspect in self.suspects)
        self.members, log_prior = _sets(shares, tuple(misread[bores[at]] for at in self.doubted))
        scale = np.r_[np.full(count, SLIP_PRIOR_SD), np.full(len(self.doubted), MISREAD_SPREAD), 0.0]
        alone = np.eye(len(bores))[:, self.doubted]
        scaled = np.hstack([self.columns, alone, np.zeros((len(bores), 1))]) * scale
        pull = scaled.T @ self.quiet_precision
        overlap, aim = pull @ scaled, pull @ residual
        at = self.members
        self.spread, determinant = _inverse(np.eye(MOST) + overlap[at[:, :, None], at[:, None, :]])
        self.sizes = np.einsum("kij,kj->ki", self.spread, aim[at])
        evidence = (np.einsum("ki,ki->k", self.sizes, aim[at]) - np.log(determinant)) / 2
        weight = np.exp(log_prior + evidence - (log_prior + evidence).max())
        self.weight: Floats = weight / weight.sum()
        self.slips = self.members < count
        spread_out = np.zeros((len(at), scaled.shape[1]))
        np.put_along_axis(spread_out, at, self.sizes, axis=1)
        noise = (residual - spread_out @ scaled.T) @ self.quiet_precision * variances
        self.fitted: Floats = residual - spread_out[:, count:] @ scaled[:, count:].T - noise
        self.chances = np.zeros(scaled.shape[1])
        np.add.at(self.chances, at, self.weight[:, None])

    def any_slip(self) -> float:
        """Chance that anything slipped."""
        return float(self.weight @ self.slips.any(axis=1))

    def odds(self) -> dict[Suspect, float]:
        """Chance per suspect that it is among what slipped."""
        return dict(zip(self.suspects, self.chances.tolist(), strict=False))

    def misread(self) -> Floats:
        """Chance per bore that one of its readings was misread."""
        chance = np.zeros(len(self.fitted[0]))
        chance[self.doubted] = self.chances[len(self.suspects) : -1]
        return chance

    def best(self, count: int) -> list[int]:
        """The likeliest hypotheses, best first; those that differ only in what was misread count as one."""
        found: dict[tuple[int, ...], int] = {}
        for hypothesis in np.argsort(-self.weight, kind="stable"):
            found.setdefault(self.slipped(int(hypothesis)), int(hypothesis))
            if len(found) == count:
                break
        return list(found.values())

    def slipped(self, hypothesis: int) -> tuple[int, ...]:
        """Places among the suspects of what slipped in a hypothesis."""
        return tuple(int(at) for at in self.members[hypothesis][self.slips[hypothesis]])

    def misread_in(self, hypothesis: int) -> int | None:
        """Place of the bore that a hypothesis holds to be misread, if it does."""
        columns = [int(at) - len(self.suspects) for at in self.members[hypothesis]]
        return next((self.doubted[at] for at in columns if 0 <= at < len(self.doubted)), None)

    def hypothesis_probability(self, slipped: tuple[int, ...]) -> float:
        """Probability of a set of slips, whatever was misread beside it."""
        same = self.slips.sum(axis=1) == len(slipped)
        for at in slipped:
            same &= (self.members == at).any(axis=1)
        return float(self.weight[same].sum())

    def size(self, hypothesis: int, suspect: int) -> tuple[float, float]:
        """Change of ln(flow) by one of a hypothesis's slips, and its standard deviation."""
        at = int(np.flatnonzero(self.members[hypothesis] == suspect)[0])
        return SLIP_PRIOR_SD * float(self.sizes[hypothesis, at]), SLIP_PRIOR_SD * math.sqrt(
            float(self.spread[hypothesis, at, at])
        )

    def disagreement(self) -> Floats:
        """Variance, over the hypotheses, of what they say each bore's true change is."""
        variance: Floats = self.weight @ (self.fitted - self.weight @ self.fitted) ** 2
        return variance


def _share(layout: Layout, suspect: Suspect) -> float:
    return BORE_SHARE if isinstance(suspect, Bore) else kind_at(layout, suspect).slip_share


def _inverse(matrices: Floats) -> tuple[Floats, Floats]:
    """Inverses and determinants of many symmetric three by three matrices, by cofactors."""
    a, b, c = matrices[:, 0, 0], matrices[:, 1, 1], matrices[:, 2, 2]
    d, e, f = matrices[:, 0, 1], matrices[:, 0, 2], matrices[:, 1, 2]
    first, second, third = b * c - f * f, e * f - c * d, d * f - b * e
    determinant = a * first + d * second + e * third
    rows = [first, second, third, second, a * c - e * e, d * e - a * f, third, d * e - a * f, a * b - d * d]
    return np.stack(rows, axis=1).reshape(-1, MOST, MOST) / determinant[:, None, None], determinant


@cache
def _slip_sets(shares: tuple[float, ...]) -> tuple[NDArray[np.int64], NDArray[np.int64], Floats]:
    """Every set of suspects padded with -1, how many are in it, and the logarithm of its odds before any reading."""
    sets: list[tuple[int, ...]] = []
    odds: list[float] = []
    for count, count_odds in enumerate(COUNT_ODDS):
        chosen = list(itertools.combinations(range(len(shares)), count))
        weights = [math.prod(shares[at] for at in one) for one in chosen]
        sets += chosen
        odds += [count_odds * one / sum(weights) for one in weights]
    padded = np.array([(*one, *(-1,) * (MOST - len(one))) for one in sets])
    return padded, np.array([len(one) for one in sets]), np.log(np.array(odds))


def _sets(shares: tuple[float, ...], misread: tuple[float, ...]) -> tuple[NDArray[np.int64], Floats]:
    """Every hypothesis as columns: suspects, then doubted readings, then the empty column; and its logarithmic odds."""
    sets, counts, log_odds = _slip_sets(shares)
    empty = len(shares) + len(misread)
    with_room = counts < MOST - 1
    members, odds = [sets], [log_odds]
    for at, one in enumerate(misread):
        beside = sets[with_room].copy()
        beside[:, MOST - 1] = len(shares) + at
        members.append(beside)
        odds.append(log_odds[with_room] + math.log(one))
    stacked = np.vstack(members)
    return np.where(stacked < 0, empty, stacked), np.concatenate(odds)
