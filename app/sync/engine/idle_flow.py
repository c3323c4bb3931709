"""The idle that an engine settles at: from the open area of each plate to flows, runner pressures and speed.

What a plate lets in is what its cylinder takes, ``conductance psi(ratio) = filling speed ratio``, but for the share of
the pressure that passes between runners; and speed answers to all the air together by the law of demand. Hence flow
grows less than in proportion to the area. The constants stand in ``app.sync.engine.engine_air``.
"""

import math
from collections.abc import Callable
from functools import lru_cache
from typing import NamedTuple

import numpy as np

from app.sync.engine.air import GAMMA
from app.sync.engine.engine_air import (
    COMPRESSION,
    DEMAND_POWER,
    LOG_FILLED,
    LOG_FILLING,
    LOG_PULL,
    RATIOS,
    Floats,
    IdleFlowModel,
    area_at,
    flow_function_of,
    ratio_at,
    residual,
    sensitivity_of,
    undiluted,
)

FARTHEST = 1.5
"""How far ln(speed / wanted) may lie from nothing (our judgement)."""


class IdleSolution(NamedTuple):
    """An idle that has settled: flow per bore [kg/s], runner over ambient pressure, ln(speed / wanted), and the ratios
    before runners share any."""

    flows: Floats
    ratios: Floats
    log_speed: Floats
    own: Floats


class FlowJacobian(NamedTuple):
    """Changes per relative change of each bore's area (columns) and, in the last column, of the demand.

    ``flows`` is d ln flow, one row a bore; ``log_speed`` one row; ``drawn`` the same of what the cylinders draw at a
    given runner pressure. ``mixed`` is d ln ratio by the areas with that given, ``together`` its sum over the bores.
    """

    flows: Floats
    log_speed: Floats
    drawn: Floats
    mixed: Floats
    together: Floats

    @property
    def ratios(self) -> Floats:
        """d ln ratio, one row a bore."""
        found = -self.together[..., None] * self.drawn[..., None, :]
        found[..., :-1] += self.mixed
        return np.asarray(found)


def solve_idle(engine: IdleFlowModel, areas: Floats, log_demand: Floats | float = 0.0) -> IdleSolution:
    """The idle an engine settles at.

    Parameters: ``engine``; ``areas`` open per bore [m2], shape (..., bores), above 0; ``log_demand`` what the engine
    needs beyond the nominal demand, as a logarithm, shape (...).
    """
    n = areas.shape[-1]
    pull = math.log(engine.filling / engine.conductance) - np.log(areas) + np.asarray(log_demand)[..., None]
    open_ = engine.conductance * areas
    nominal = np.asarray(math.log(engine.demand) + log_demand)

    def at(log_speed: Floats) -> IdleSolution:
        own = np.interp(pull + log_drawn(engine, log_speed)[..., None], LOG_PULL, RATIOS)
        ratios = (1 - engine.sharing) * own + engine.sharing / n * own.sum(axis=-1, keepdims=True)
        return IdleSolution(open_ * flow_function_of(ratios), ratios, log_speed, own)

    def answer(log_speed: Floats) -> Floats:
        return np.asarray((np.log(at(log_speed).flows.sum(axis=-1)) - nominal) / DEMAND_POWER)

    evenly, log_speeds = _even_idles(engine)
    start = np.asarray(np.interp(np.log(areas.mean(axis=-1)) - log_demand, evenly, log_speeds))
    return at(_steady(answer, start))


@lru_cache(maxsize=64)
def _even_idles(engine: IdleFlowModel) -> tuple[Floats, Floats]:
    """ln(area) of every bore and ln(speed / wanted) at which an engine idles evenly; not to be written to."""
    log_speeds = np.linspace(-FARTHEST, FARTHEST, 121)
    return np.log(area_at(engine, log_speeds)), log_speeds


def _steady(answer: Callable[[Floats], Floats], start: Floats) -> Floats:
    """Where each answer is what was asked, by a secant from a near start; none further than ``FARTHEST`` off."""
    off = answer(start) - start
    near = start + off
    off_near = answer(near) - near
    fall = np.where(off == 0.0, 1.0, (off - off_near) / np.where(off == 0.0, 1.0, off))
    return np.asarray(np.clip(near + off_near / np.clip(fall, 0.1, 1.2), -FARTHEST, FARTHEST))


def own_ratio(engine: IdleFlowModel, areas: Floats, log_speed: Floats | float, log_demand: float = 0.0) -> Floats:
    """Runner over ambient pressure behind each plate before runners share any: what comes in is what is taken.

    The ratios have shape (..., bores).

    Parameters: ``engine``; ``areas`` open [m2], shape (..., bores), above 0; ``log_speed`` ln(speed / wanted), one
    for all or shape (..., 1); ``log_demand`` what the engine needs beyond the nominal demand, as a logarithm.
    """
    pull = np.log(engine.filling / engine.conductance) - np.log(areas) + log_demand + log_drawn(engine, log_speed)
    return np.asarray(np.interp(pull, LOG_PULL, RATIOS))


def slopes(engine: IdleFlowModel, areas: Floats, settled: IdleSolution) -> FlowJacobian:
    """How a settled idle answers to small changes of area and demand.

    Parameters: ``engine``; ``areas`` [m2], shape (..., bores); ``settled`` the idle at those areas. The slopes have
    shape (..., bores, bores + 1), that of the speed (..., bores + 1).
    """
    n = areas.shape[-1]
    every = np.arange(n)
    own_change = settled.own / (1 - sensitivity_of(settled.own))  # of the own ratio per relative change of area
    mixed = np.empty((*areas.shape, n))
    mixed[...] = (engine.sharing / n * own_change)[..., None, :]
    mixed[..., every, every] += (1 - engine.sharing) * own_change
    mixed /= settled.ratios[..., None]
    answer = sensitivity_of(settled.ratios)
    together = mixed.sum(axis=-1)
    by_drawn = -answer * together
    flows = np.empty((*areas.shape, n + 1))
    flows[..., :n] = answer[..., None] * mixed
    flows[..., every, every] += 1.0
    flows[..., n] = by_drawn
    share = settled.flows / settled.flows.sum(axis=-1, keepdims=True)
    log_speed = (share[..., None, :] @ flows)[..., 0, :]
    log_speed[..., n] -= 1.0
    faster = _drawn_slope(engine, settled.log_speed)
    log_speed /= (DEMAND_POWER - faster * (share * by_drawn).sum(axis=-1))[..., None]
    drawn = faster[..., None] * log_speed
    flows += by_drawn[..., None] * drawn[..., None, :]
    drawn[..., n] += 1.0
    return FlowJacobian(flows, log_speed, drawn, mixed, together)


def log_drawn(engine: IdleFlowModel, log_speed: Floats | float) -> Floats:
    """ln of what a cylinder draws over ``filling`` at a given runner pressure, shape (...).

    Parameters: ``engine``; ``log_speed`` ln(speed / wanted), shape (...).
    """
    return np.asarray(log_speed + np.interp(undiluted(engine, log_speed), LOG_FILLED, LOG_FILLING))


def _drawn_slope(engine: IdleFlowModel, log_speed: Floats) -> Floats:
    """Derivative of ``log_drawn`` by ln(speed)."""
    left = residual(ratio_at(engine, log_speed))
    rise = left / GAMMA / (COMPRESSION - left)
    return np.asarray(1 + (DEMAND_POWER - 1) * rise / (1 + rise))
