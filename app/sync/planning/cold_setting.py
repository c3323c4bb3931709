"""Setting every plate of the cold engine on one feeler before the first start: in which order, and what it would save.

What is left to do hot is foretold twice, with the plates as they usually come and with all of them set: engines are
drawn from what is known, and what the cheapest moves would take at each is averaged. No engine is known like that
before its first reading, so what is read and done again comes on top.
"""

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace
from functools import lru_cache

import numpy as np
from scipy.special import ndtr

from app.sync.engine.adjusters.kind import ScrewWithGain
from app.sync.engine.adjusters.registry import kind_at
from app.sync.engine.events import ColdSetting
from app.sync.engine.idle_flow import slopes, solve_idle
from app.sync.engine.layout import Adjuster, Layout, StopScrew
from app.sync.engine.linkage import IDLE_GAP
from app.sync.engine.plate import gap_rate
from app.sync.engine.work_minutes import READ_MINUTES
from app.sync.estimation.posterior import COUPLER_PRIOR_SD, LEAST_GAP, Posterior
from app.sync.estimation.predict import set_cold
from app.sync.planning.evaluation import (
    BLADE_MINUTES,
    STOP_MINUTES,
    PlanningProblem,
    plausible_stacks,
)
from app.sync.planning.optimize import optimize

ASSEMBLED_SD = 0.015
"""Spread of a coupler's angle where it was put together and never set [rad] (our judgement)."""

DRAWS = 32
"""Engines drawn for one average (our judgement)."""

SLOWEST_START = 0.75
"""Idle over the one wanted below which a first start may stall (our judgement)."""

HOT_MINUTES = 1.5
"""Minutes of the hot engine for one of the cheapest moves, with readings and moves that miss (our judgement: 1.1 to 1.8
in the benchmark of the advice, with ordinary and gauged hands, fresh assemblies, four and eight bores)."""

STEPS = 6
"""Steps to the likeliest engine that just stalls: the chance then changes by less than 0.001 (our judgement)."""

KNOWN = 1e-9  # part of its doubt that a drawn engine keeps, so that it is as good as known (our judgement)


@dataclass(frozen=True, slots=True)
class Foreseen:
    """What setting all plates cold costs, and what it should save.

    ``cold_minutes`` it takes; ``without`` and ``with_it``, minutes of work on the hot engine after a usual preset and
    after all plates were set, the first and the last round left out; ``stalls_without`` and ``stalls_with_it``, the
    chance that the first idle is slower than ``SLOWEST_START`` of the one wanted.
    """

    cold_minutes: float
    without: float
    with_it: float
    stalls_without: float
    stalls_with_it: float

    @property
    def saved(self) -> float:
        """Minutes of the hot engine that it should save, 0 at the least."""
        return max(self.without - self.with_it, 0.0)

    @property
    def pays(self) -> bool:
        """Whether it saves as many minutes as it takes."""
        return self.saved >= self.cold_minutes


def outward(layout: Layout) -> tuple[tuple[int, Adjuster], ...]:
    """The bores to set, each with what sets it: bank by bank the stop bore by its stop screw, then outward.

    Plates on a shaft with another one are set with that.

    Parameters: ``layout`` of the engine.

    >>> from app.sync.engine.layout import Bank
    >>> [bore for bore, _ in outward(Layout((Bank("A", (1, 2, 3, 4), stop=2, drive=2),)))]
    [2, 3, 4, 1]
    """
    found: list[tuple[int, Adjuster]] = []
    for bank in layout.banks:
        found += [(bank.stop, StopScrew(bank.name)), *((coupler.far, coupler) for coupler in bank.couplers())]
    return tuple(found)


def nearest_leaf(gap: float, blades: Sequence[float]) -> float:
    """The single leaf nearest to a gap [m]; the gap itself where none is owned.

    Parameters: ``gap`` [m]; ``blades`` owned, single leaves [m].
    """
    return min(blades, key=lambda leaf: (abs(leaf - gap), leaf), default=gap)


@lru_cache(maxsize=64)
def foresee(
    start: Posterior, gap: float, leaf: float, blades: tuple[float, ...], window: float, gauged: bool, assembled: bool
) -> Foreseen:
    """What setting all plates on one leaf would cost and save at an engine before its first start.

    Parameters: ``start`` the prior of the engine; ``gap`` [m] that the preset turns aim at; ``leaf`` [m] to set on;
    ``blades`` owned, single leaves [m]; ``window`` half width as a fraction of the mean; ``gauged`` whether the hand
    was shown to repeat; ``assembled`` whether the couplers were put together and never set.
    """
    usual = _loosened(start) if assembled else start
    order = outward(start.layout)
    settings = [ColdSetting(bore, leaf, (leaf,), 0.0, gauged) for bore, _ in order]
    after = set_cold(start, settings)
    minutes = [STOP_MINUTES if _by_screw(start.layout, one) else BLADE_MINUTES for _, one in order]
    return Foreseen(
        sum(minutes) - READ_MINUTES * len(minutes),
        _hot_minutes(usual, blades, window),
        _hot_minutes(after, blades, window),
        _stalls(_preset_at(usual, gap)),
        _stalls(after),
    )


def _by_screw(layout: Layout, adjuster: Adjuster) -> bool:
    kind = kind_at(layout, adjuster)
    return kind.effect == "turns a bank" or isinstance(kind, ScrewWithGain)


def _loosened(start: Posterior) -> Posterior:
    """The prior with couplers that were never set."""
    diameter, closed = start.hardware.bore_diameter.value, start.hardware.closed_angle.value
    more = (ASSEMBLED_SD**2 - COUPLER_PRIOR_SD**2) * gap_rate(IDLE_GAP, diameter, closed) ** 2
    cov = start.covariance.copy()
    for coupler in start.layout.couplers():
        rows = [start.row(bore) for bore in start.layout.bank_of(coupler.far).beyond(coupler)]
        cov[np.ix_(rows, rows)] += more
    return replace(start, covariance=cov)


def _preset_at(start: Posterior, gap: float) -> Posterior:
    """The prior of an engine preset by turns: its gaps stand about ``gap``, whatever it turns out to need."""
    n, mean, cov = start.bores, start.mean.copy(), start.covariance.copy()
    by_demand = cov[:n, -1].copy()
    cov[:n, :n] -= np.outer(by_demand, by_demand) / cov[-1, -1]
    cov[:n, -1] = cov[-1, :n] = 0.0
    mean[:n] = gap
    return replace(start, mean=mean, covariance=cov)


def _hot_minutes(posterior: Posterior, blades: tuple[float, ...], window: float) -> float:
    """Minutes of work that even an engine, on average over engines drawn from a posterior."""
    rng, n = np.random.default_rng(1), posterior.bores
    known = KNOWN * np.diag(np.diag(posterior.covariance))
    drawn = rng.multivariate_normal(posterior.mean, posterior.covariance, DRAWS, method="eigh", check_valid="ignore")
    drawn[:, : 2 * n] = np.maximum(drawn[:, : 2 * n], 0.0)
    drawn[:, :n] = np.maximum(drawn[:, :n], LEAST_GAP)
    minutes = 0.0
    for mean in drawn:
        truth = replace(posterior, mean=mean, covariance=known)
        plan = optimize(truth, PlanningProblem(plausible_stacks(blades, truth), window, speed_known=True))
        screws = sum(_by_screw(posterior.layout, adjuster) for adjuster, _ in plan.moves)
        minutes += STOP_MINUTES * screws + BLADE_MINUTES * (len(plan.moves) - screws)
    return HOT_MINUTES * minutes / DRAWS


def _stalls(posterior: Posterior) -> float:
    """Chance that the first idle is slower than ``SLOWEST_START`` of the one wanted.

    The law is taken as straight where it matters, at the likeliest engine of all that idle just so slowly (Hasofer and
    Lind, "Exact and invariant second-moment code format", J. Eng. Mech. Div. 100, 1974; the steps by Rackwitz and
    Fiessler, Computers and Structures 9, 1978; from memory), not at the one expected.
    """
    n, least = posterior.bores, np.r_[np.full(posterior.bores, LEAST_GAP), np.zeros(posterior.bores)]
    mean, at, sure = posterior.mean, posterior.mean, 0.0
    for _ in range(STEPS):
        engine = replace(posterior, mean=np.r_[np.maximum(at[: 2 * n], least), at[2 * n :]])
        settled = solve_idle(posterior.engine, engine.areas, engine.log_demand)
        by = slopes(posterior.engine, engine.areas, settled).log_speed
        answer = np.zeros(len(mean))
        answer[:n], answer[n : 2 * n] = by[:n] * posterior.width / engine.areas, by[:n] / engine.areas
        answer[-1] = by[n]
        over = float(settled.log_speed) - math.log(SLOWEST_START)
        toward = posterior.covariance @ answer
        spread = math.sqrt(float(answer @ toward))
        sure = (over - float(answer @ (at - mean))) / spread
        at = mean - sure / spread * toward
    return float(ndtr(-sure))
