"""The best set of moves for a flow that is aimed at, bank by bank.

Given the flow every bore is to have, runner pressures are given too, so the banks no longer depend on one another and a
bore's chance depends on its own gap alone. Along a side of a bank only the nearest reset coupler upstream matters,
because a blade sets a gap outright and what lies beyond keeps its distance; so the best set is found exactly, from the
far end inward, by dynamic programming (R. Bellman, Dynamic Programming, Princeton 1957), in time that grows with the
square of the bores.
"""

import itertools
from collections.abc import Sequence
from dataclasses import dataclass
from functools import cached_property

import numpy as np

from app.sync.breathing import SHARING, SPEED_POWER, flow_function_of, own_ratio, settle
from app.sync.estimate import HAND, Belief, rates, rotation_between, turn_noise, turned
from app.sync.layout import Bank, Coupler
from app.sync.linkage import stop_rotation
from app.sync.outcome import (
    BLADE_MINUTES,
    LEFT,
    SIXTEENTH,
    STOP_MINUTES,
    Choice,
    Floats,
    Ints,
    Task,
    below,
    prices,
)

MOST_SIXTEENTHS = 16

SPEEDS = (-0.05, -0.038, -0.026, -0.013, 0.0, 0.012, 0.024, 0.036, 0.045)
"""Idle speeds aimed at, relative to the one wanted; where nobody read it, flows 1.5 times as far from the mean."""


@dataclass(frozen=True)
class _Tail:
    """The best of one coupler reset and everything beyond it, one entry a target: cost, blade, next coupler reset."""

    cost: Floats
    size: Ints
    following: Ints


def best_for_each_target(belief: Belief, task: Task) -> list[Choice]:
    """The cheapest choice for each flow that may be aimed at, cheapest first.

    Parameters: ``belief`` about the engine; ``task`` to do, which owns at least one blade.
    """
    aim = _Aim(belief, task)
    banks = [_of_bank(aim, bank) for bank in belief.layout.banks]
    total = sum(cost for cost, _, _ in banks)
    found: dict[Choice, None] = {}
    for target in np.argsort(total):
        turns = [bank_turns[target] for _, bank_turns, _ in banks]
        blades = [size for _, _, bank_blades in banks for size in bank_blades[target]]
        found.setdefault((*turns, *blades))
    return list(found)


@dataclass(frozen=True, eq=False)
class _Aim:
    """The chance of one bore by itself, for each target. Arrays run over targets first, then over gaps."""

    belief: Belief
    task: Task

    @cached_property
    def _cov(self) -> Floats:
        """Covariance with the meter's scale and the engine's demand given: what is common to all bores does not set
        them apart from one another."""
        cov, common = self.belief.cov, [-2, -1]
        shared = cov[:, common]
        return np.asarray(cov - shared @ np.linalg.solve(cov[np.ix_(common, common)], shared.T))

    @cached_property
    def sizes(self) -> Floats:
        """Thickness of every stack [m]."""
        return np.array([sum(stack) for stack in self.task.stacks])

    @cached_property
    def price(self) -> Floats:
        return prices(self.belief, self.task)

    @cached_property
    def _targets(self) -> tuple[Floats, Floats]:
        """Flow of every bore [kg/s] and ln(speed / wanted) to aim at."""
        belief, engine = self.belief, self.belief.engine
        if self.task.speed_known:
            log_speed = np.log1p(np.array(SPEEDS))
            return engine.demand / belief.bores * np.exp(belief.log_demand + log_speed / SPEED_POWER), log_speed
        settled = settle(engine, belief.areas, belief.log_demand)
        flow = settled.flows.mean() * (1 + 1.5 * np.array(SPEEDS))
        return flow, np.full(len(SPEEDS), float(settled.log_speed))

    @cached_property
    def limits(self) -> tuple[Floats, Floats]:
        """Areas [m2] between which a bore's flow is inside the window."""
        engine, window = self.belief.engine, self.task.window
        flow, log_speed = self._targets
        common = np.clip(flow / (engine.filling * np.exp(log_speed)), 0.05, 0.99)
        middle = flow / (engine.conductance * flow_function_of(common))
        areas = middle[:, None] * np.exp(np.linspace(-3 * window, 3 * window, 13))
        own = own_ratio(engine, areas, log_speed[:, None])
        passed = engine.conductance * areas * flow_function_of((1 - SHARING) * own + SHARING * common[:, None])
        inside = np.array([1 - window, 1 + window])
        bounds = np.array(
            [np.interp(inside, row / wanted, area) for row, wanted, area in zip(passed, flow, areas, strict=True)]
        )
        return bounds[:, 0], bounds[:, 1]

    def risk(self, row: int, gaps: Floats, variance: Floats | float) -> Floats:
        """Price times chance of a bore ending outside; ``variance`` is that of its area over its width [m2]."""
        low, high = self.limits
        areas = self.belief.width * gaps + self.belief.leaks[row]
        spread = self.belief.width * np.sqrt(variance) + 1e-12
        outside = below((low[:, None] - areas) / spread) + below((areas - high[:, None]) / spread)
        return np.asarray(self.price[row] * outside)

    def set_on_blade(self, row: int) -> Floats:
        """Risk of a bore that a blade sets, per blade."""
        leak = self.belief.bores + row
        return self.risk(row, self.sizes, HAND**2 + float(self._cov[leak, leak]) / self.belief.width**2)

    def carried(self, row: int, origin: int) -> Floats:
        """Risk of a bore carried along when the bore at row ``origin`` is set on a blade, per blade."""
        belief = self.belief
        gaps = turned(belief, belief.gaps[row], rotation_between(belief, belief.gaps[origin], self.sizes))
        before = rates(belief, belief.gaps)
        ratio = float(before[row] / before[origin])
        variance = self._variance(row, origin, ratio) + (HAND * ratio) ** 2
        return self.task.dearness * self.risk(row, gaps, variance)

    def turned(self, row: int, rotation: Floats, shaken: Floats) -> Floats:
        """Risk of a bore that only its stop screw moves, per turn."""
        gaps = turned(self.belief, self.belief.gaps[row], rotation)
        variance = self._variance(row) + (shaken * rates(self.belief, gaps)) ** 2
        return self.task.dearness * self.risk(row, gaps, variance)

    def _variance(self, row: int, origin: int | None = None, ratio: float = 0.0) -> float:
        """Variance of a bore's area over its width, less ``ratio`` times the gap of the bore it follows."""
        belief = self.belief
        lever = np.zeros(len(belief.mean))
        lever[row], lever[belief.bores + row] = 1.0, 1 / belief.width
        if origin is not None:
            lever[origin] -= ratio
        return max(float(lever @ self._cov @ lever), 0.0)


def _of_bank(aim: _Aim, bank: Bank) -> tuple[Floats, list[int], list[list[int]]]:
    """Per target: cost of one bank, sixteenths of its stop screw, and the blade of each of its couplers."""
    hardware = aim.belief.hardware
    steps = np.arange(-MOST_SIXTEENTHS, MOST_SIXTEENTHS + 1)
    rotation: Floats = np.asarray(stop_rotation(SIXTEENTH, hardware) * steps, dtype=np.float64)
    shaken = np.array([turn_noise(aim.belief, SIXTEENTH * float(step)) if step else 0.0 for step in steps])
    cost = np.where(steps, STOP_MINUTES, 0.0) + aim.turned(aim.belief.row(bank.stop), rotation, shaken)
    sides = _sides(bank)
    tails = [_tails(aim, side) for side in sides]
    first = []
    for side, tail in zip(sides, tails, strict=True):
        ways, unset = [], np.zeros_like(cost)
        for coupler, reset in zip(side, tail, strict=True):
            ways.append(unset + reset.cost[:, None])
            unset = unset + aim.turned(aim.belief.row(coupler.far), rotation, shaken)
        stacked = np.stack([*ways, unset])
        first.append(stacked.argmin(axis=0))
        cost = cost + stacked.min(axis=0)
    best = cost.argmin(axis=1)
    blades = []
    for target, turn in enumerate(best):
        chosen = dict.fromkeys(bank.couplers(), LEFT)
        for side, tail, choice in zip(sides, tails, first, strict=True):
            at = int(choice[target, turn])
            while at < len(side):
                chosen[side[at]] = int(tail[at].size[target])
                at = int(tail[at].following[target])
        blades.append(list(chosen.values()))
    return cost.min(axis=1), [int(steps[turn]) for turn in best], blades


def _tails(aim: _Aim, side: Sequence[Coupler]) -> list[_Tail]:
    """For each coupler of a side, nearest first: reset it, and do the best beyond."""
    rows = [aim.belief.row(coupler.far) for coupler in side]
    tails: dict[int, _Tail] = {}
    for at in reversed(range(len(side))):
        own = BLADE_MINUTES + aim.set_on_blade(rows[at])
        ways, carried = [], np.zeros_like(own)
        for further in range(at + 1, len(side)):
            ways.append(carried + tails[further].cost[:, None])
            carried = carried + aim.carried(rows[further], rows[at])
        stacked = np.stack([*ways, carried])
        total = own + stacked.min(axis=0)
        size = total.argmin(axis=1)
        following = at + 1 + stacked.argmin(axis=0)[np.arange(len(size)), size]
        tails[at] = _Tail(total.min(axis=1), size, following)
    return [tails[at] for at in range(len(side))]


def _sides(bank: Bank) -> list[list[Coupler]]:
    """The couplers of a bank, outward from the stop bore, one list for each side of it."""
    at = bank.bores.index(bank.stop)
    grouped = itertools.groupby(bank.couplers(), lambda coupler: bank.bores.index(coupler.far) > at)
    return [list(side) for _, side in grouped]
