"""The best set of moves for a flow that is aimed at, bank by bank.

Given the flow every bore is to have, runner pressures are given too, so the banks no longer depend on one another and a
bore's chance depends on its own gap alone. Along a side of a bank only the nearest reset coupler upstream matters,
because a feeler sets a gap outright and what lies beyond keeps its distance; so the best set is found exactly, from the
far end inward, by dynamic programming (R. Bellman, Dynamic Programming, Princeton 1957), in time that grows with the
square of the bores.
"""

import itertools
from collections.abc import Sequence
from dataclasses import dataclass
from functools import cached_property

import numpy as np
from scipy.special import ndtr

from app.sync.engine.engine_air import DEMAND_POWER, flow_function_of
from app.sync.engine.idle_flow import log_drawn, own_ratio, solve_idle
from app.sync.engine.layout import Bank
from app.sync.estimation.posterior import FEELER_SD, Posterior, rates, rotation_between, turn_noise, turned
from app.sync.planning.dependency import dependency_of
from app.sync.planning.evaluation import (
    BLADE_MINUTES,
    FLOW_PER_AREA,
    SIXTEENTH,
    STOP_MINUTES,
    UNCHANGED,
    Candidate,
    Floats,
    Ints,
    PlanningProblem,
    shortfall_costs,
)

MOST_SIXTEENTHS = 16  # our judgement
STEPS: Ints = np.arange(-MOST_SIXTEENTHS, MOST_SIXTEENTHS + 1)
TURNS: Floats = np.asarray(STEPS * SIXTEENTH)
"""What a stop screw may be turned by, in sixteenths and in turns."""

SPEEDS = (-0.05, -0.038, -0.026, -0.013, 0.0, 0.012, 0.024, 0.036, 0.045)
"""Idle speeds aimed at, relative to the one wanted; where it was not read, flows 1.5 times as far from the mean
(our judgement)."""


@dataclass(frozen=True)
class _Suffix:
    """The best of one coupler reset and everything beyond it, one entry a target: cost, feeler, next coupler reset."""

    cost: Floats
    size: Ints
    following: Ints


def best_for_each_target(posterior: Posterior, task: PlanningProblem) -> list[Candidate]:
    """The cheapest choice for each flow that may be aimed at, cheapest first.

    Parameters: ``posterior`` about the engine; ``task`` to do, which owns at least one feeler.
    """
    aim = _Target(posterior, task)
    banks, number = [], 0
    for bank in posterior.layout.banks:
        banks.append(_of_bank(aim, bank, number))
        number += len(bank.bores) - 1
    total = sum(cost for cost, _, _ in banks)
    found: dict[Candidate, None] = {}
    for target in np.argsort(total):
        turns = [bank_turns[target] for _, bank_turns, _ in banks]
        blades = [size for _, _, bank_blades in banks for size in bank_blades[target]]
        found.setdefault((*turns, *blades))
    return list(found)


def areas_to_aim_at(posterior: Posterior, task: PlanningProblem) -> tuple[Floats, Floats]:
    """Areas [m2] between which a bore's flow is inside the window, for each flow that may be aimed at.

    Both have shape (flows,).

    Parameters: ``posterior`` about the engine; ``task`` to do.
    """
    return _Target(posterior, task).limits


@dataclass(frozen=True, eq=False)
class _Target:
    """The chance of one bore alone, for each target. Arrays run over targets first, then over gaps."""

    posterior: Posterior
    task: PlanningProblem

    @cached_property
    def _cov(self) -> Floats:
        """Covariance with the meter's scale and the engine's demand given: what is common to all bores does not set
        them apart from one another."""
        cov, common = self.posterior.covariance, [-2, -1]
        shared = cov[:, common]
        return np.asarray(cov - shared @ np.linalg.solve(cov[np.ix_(common, common)], shared.T))

    @cached_property
    def price(self) -> Floats:
        return shortfall_costs(self.posterior, self.task)

    @cached_property
    def _targets(self) -> tuple[Floats, Floats]:
        """Flow of every bore [kg/s] and ln(speed / wanted) to aim at."""
        posterior, engine = self.posterior, self.posterior.engine
        if self.task.speed_known:
            log_speed = np.log1p(np.array(SPEEDS))
            return engine.demand / posterior.bores * np.exp(posterior.log_demand + DEMAND_POWER * log_speed), log_speed
        settled = solve_idle(engine, posterior.areas, posterior.log_demand)
        flow = settled.flows.mean() * (1 + 1.5 * np.array(SPEEDS))
        return flow, np.full(len(SPEEDS), float(settled.log_speed))

    @cached_property
    def limits(self) -> tuple[Floats, Floats]:
        """Areas [m2] between which a bore's flow is inside the window."""
        engine, window = self.posterior.engine, self.task.window
        flow, log_speed = self._targets
        log_demand = self.posterior.log_demand
        taken = engine.filling * np.exp(log_drawn(engine, log_speed) + log_demand)
        common = np.clip(flow / taken, 0.05, 0.99)
        middle = flow / (engine.conductance * flow_function_of(common))
        areas = middle[:, None] * np.exp(np.linspace(-3 * window, 3 * window, 13))
        own = own_ratio(engine, areas, log_speed[:, None], log_demand)
        passed = (
            engine.conductance * areas * flow_function_of((1 - engine.sharing) * own + engine.sharing * common[:, None])
        )
        inside = np.array([1 - window, 1 + window])
        bounds = np.array(
            [np.interp(inside, row / wanted, area) for row, wanted, area in zip(passed, flow, areas, strict=True)]
        )
        return bounds[:, 0], bounds[:, 1]

    def risk(self, rows: Ints, gaps: Floats, variance: Floats) -> Floats:
        """Price times chance of bores ending outside, shape (bores, targets, gaps).

        ``rows`` of the bores, ``gaps`` of each [m], ``variance`` of their areas over their width [m2].
        """
        low, high = self.limits
        areas = (self.posterior.width * gaps + self.posterior.leaks[rows][:, None])[:, None, :]
        own = self.task.own / FLOW_PER_AREA * self.posterior.areas.mean()
        spread = (np.hypot(self.posterior.width * np.sqrt(variance), own) + 1e-12)[:, None, :]
        outside = ndtr((low[:, None] - areas) / spread) + ndtr((areas - high[:, None]) / spread)
        return np.asarray(self.price[rows][:, None, None] * outside)

    @cached_property
    def on_blades(self) -> dict[tuple[int, int], Floats]:
        """Risk of the bore at a row when the coupler of a number is reset, per target and feeler.

        The far bore stands where the feeler sets it, those beyond are carried along.
        """
        posterior, tree = self.posterior, dependency_of(self.posterior.layout)
        numbers, rows = np.nonzero(tree.beyond)
        origins, each = tree.far[numbers], np.arange(len(rows))
        before, opened = posterior.gaps, rates(posterior, posterior.gaps)
        gaps = turned(
            posterior, before[rows, None], rotation_between(posterior, before[origins, None], self.task.sizes)
        )
        ratio = opened[rows] / opened[origins]
        lever = np.zeros((len(rows), len(posterior.mean)))
        lever[each, rows], lever[each, posterior.bores + rows] = 1.0, 1 / posterior.width
        lever[each, origins] -= ratio
        variance = np.maximum(((lever @ self._cov) * lever).sum(axis=1), 0.0) + (FEELER_SD * ratio) ** 2
        risk = self.risk(rows, gaps, variance[:, None])
        risk *= np.where(rows == origins, 1.0, self.task.dearness)[:, None, None]
        return {(int(number), int(row)): one for number, row, one in zip(numbers, rows, risk, strict=True)}

    @cached_property
    def by_stop(self) -> Floats:
        """Risk of every bore when only its stop screw moves it, per target and turn."""
        posterior, n = self.posterior, self.posterior.bores
        rows, width = np.arange(n), posterior.width
        bank = dependency_of(posterior.layout).bank
        rotation = posterior.stop_travel[bank, None] * TURNS
        shaken = np.where(STEPS, turn_noise(posterior, TURNS), 0.0)
        gaps = turned(posterior, posterior.gaps[:, None], rotation)
        opened = rates(posterior, gaps)
        own, travel = np.diag(self._cov), posterior.at_travel(0) + bank
        leak = own[n : 2 * n] / width**2 + 2 * self._cov[rows, n + rows] / width
        swing = opened * rotation
        of_travel = self._cov[rows, travel] + self._cov[n + rows, travel] / width
        by_travel = swing**2 * own[travel, None] + 2 * swing * of_travel[:, None]
        variance = np.maximum((own[:n] + leak)[:, None] + by_travel, 0.0) + (shaken * opened) ** 2
        return self.task.dearness * self.risk(rows, gaps, variance)


def _of_bank(aim: _Target, bank: Bank, number: int) -> tuple[Floats, list[int], list[list[int]]]:
    """Per target: cost of one bank, sixteenths of its stop screw, and the feeler of each of its couplers.

    ``number`` is that of its first coupler.
    """
    couplers = list(bank.couplers())
    cost = np.where(STEPS, STOP_MINUTES, 0.0) + aim.by_stop[aim.posterior.row(bank.stop)]
    sides = _sides(bank, number)
    rows = {at: aim.posterior.row(coupler.far) for at, coupler in enumerate(couplers, start=number)}
    tails = [_tails(aim, [(at, rows[at]) for at in side]) for side in sides]
    first = []
    for side, tail in zip(sides, tails, strict=True):
        ways, unset = [], np.zeros_like(cost)
        for at, reset in zip(side, tail, strict=True):
            ways.append(unset + reset.cost[:, None])
            unset = unset + aim.by_stop[rows[at]]
        stacked = np.stack([*ways, unset])
        first.append(stacked.argmin(axis=0))
        cost = cost + stacked.min(axis=0)
    best = cost.argmin(axis=1)
    blades = []
    for target, turn in enumerate(best):
        chosen = [UNCHANGED] * len(couplers)
        for side, tail, choice in zip(sides, tails, first, strict=True):
            at = int(choice[target, turn])
            while at < len(side):
                chosen[side[at] - number] = int(tail[at].size[target])
                at = int(tail[at].following[target])
        blades.append(chosen)
    return cost.min(axis=1), [int(STEPS[turn]) for turn in best], blades


def _tails(aim: _Target, side: Sequence[tuple[int, int]]) -> list[_Suffix]:
    """For each coupler of a side, nearest first, by its number and the row of its far bore: reset it, and do the best
    beyond."""
    tails: dict[int, _Suffix] = {}
    for at in reversed(range(len(side))):
        number, row = side[at]
        own = BLADE_MINUTES + aim.on_blades[number, row]
        ways, carried = [], np.zeros_like(own)
        for further in range(at + 1, len(side)):
            ways.append(carried + tails[further].cost[:, None])
            carried = carried + aim.on_blades[number, side[further][1]]
        stacked = np.stack([*ways, carried])
        total = own + stacked.min(axis=0)
        size = total.argmin(axis=1)
        following = at + 1 + stacked.argmin(axis=0)[np.arange(len(size)), size]
        tails[at] = _Suffix(total.min(axis=1), size, following)
    return [tails[at] for at in range(len(side))]


def _sides(bank: Bank, number: int) -> list[list[int]]:
    """The numbers of a bank's couplers, outward from the stop bore, one list for each side of it."""
    at = bank.bores.index(bank.stop)
    grouped = itertools.groupby(
        enumerate(bank.couplers(), start=number), lambda coupler: bank.bores.index(coupler[1].far) > at
    )
    return [[found for found, _ in side] for _, side in grouped]
