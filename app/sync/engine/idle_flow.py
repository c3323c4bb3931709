"""How an engine draws its air at idle: from the open area of each plate to flows, runner pressures and speed.

Each cylinder draws from its own runner, so with a plate per cylinder the pressure behind a plate is that plate's own
business, but for the share that passes between runners, most of it where a balance plenum joins them. What a plate lets
in is what its cylinder takes: ``conductance psi(ratio) = filling speed ratio``, and speed in turn answers to all the
air together, ``speed = wanted (total / demand) ** 0.8``. Hence flow grows less than in proportion to the area.
"""

import math
from dataclasses import dataclass
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from app.sync.engine.air import ATMOSPHERE, GAS_CONSTANT, SHOP_TEMPERATURE, critical_ratio, flow_function
from app.sync.engine.units import KG_PER_HOUR, LITRE, REV_PER_MIN

Floats = NDArray[np.float64]

DISCHARGE = 0.75
"""Discharge coefficient of a barely open plate (a usual handbook figure, from memory; the meter's scale absorbs it)."""

IDLE_RATIO = 0.67
"""Runner over ambient pressure at idle with a plate per cylinder, above the critical one (this program's choice)."""

SHARING = 0.3
"""Part of a runner's pressure that all runners share (this program's choice; 0 to 0.6 makes no visible loss)."""

PLENUM_SHARING = 0.8
"""The same where a common balance plenum joins the runners (this program's choice). With nearly one pressure behind all
plates each flow follows its own gap more closely, and a vacuum column says less of one bore."""

SPEED_POWER = 0.8
"""Per cent of idle speed for one per cent of air (this program's choice)."""

_RATIOS = 1 - np.linspace(0.0, 1.0, 1200)[1:-1] ** 2  # close together where the flow law is steep
_PSI = np.array([flow_function(float(ratio)) for ratio in _RATIOS])
_LOG_PULL = np.log(_PSI / _RATIOS)  # rises as the ratio falls
_RISING, _PSI_RISING = _RATIOS[::-1].copy(), _PSI[::-1].copy()


class IdleSolution(NamedTuple):
    """An idle that has settled: flow per bore [kg/s], runner over ambient pressure, and ln(speed / wanted)."""

    flows: Floats
    ratios: Floats
    log_speed: Floats


class FlowJacobian(NamedTuple):
    """Changes per relative change of each bore's area (columns) and, in the last column, of the demand.

    ``flows`` is d ln flow, one row a bore; ``log_speed`` one row. ``mixed`` is d ln ratio by the areas at a given
    speed, ``together`` its sum over the bores.
    """

    flows: Floats
    log_speed: Floats
    mixed: Floats
    together: Floats

    @property
    def ratios(self) -> Floats:
        """d ln ratio, one row a bore."""
        found = -self.together[..., None] * self.log_speed[..., None, :]
        found[..., :-1] += self.mixed
        return np.asarray(found)


@dataclass(frozen=True, slots=True)
class IdleFlowModel:
    """The constants of one engine's idle: nominal ones, because what is common to all bores is learned elsewhere.

    ``conductance`` [kg/(s m2)] of an opening at unit flow function, contraction included; ``filling`` [kg/s] a bore
    would draw at the wanted speed with its runner at ambient pressure; ``demand`` [kg/s] of all bores at the wanted
    ``speed`` [rev/s]; ``sharing`` the part of a runner's pressure that all runners share.
    """

    conductance: float
    filling: float
    demand: float
    speed: float
    sharing: float = SHARING


def usual_breathing(bores: int, displacement: float, speed: float, plenum: bool = False) -> IdleFlowModel:
    """Constants to start from when nothing was measured.

    Half a litre at 850 rev/min idles on some 6.5 kg/h (common practice, no published source), others in proportion.

    Parameters: ``bores`` at least 1; ``displacement`` [m3] of the whole engine, above 0; ``speed`` wanted [rev/s];
    ``plenum`` whether a common balance plenum joins the runners.

    >>> round(usual_breathing(8, 4e-3, 850 / 60).demand * 3600, 1)  # kg/h
    52.0
    """
    flow = 6.5 * KG_PER_HOUR * displacement / bores / (0.5 * LITRE) * speed / (850 * REV_PER_MIN)
    conductance = DISCHARGE * ATMOSPHERE / math.sqrt(GAS_CONSTANT * SHOP_TEMPERATURE)
    return IdleFlowModel(conductance, flow / IDLE_RATIO, bores * flow, speed, PLENUM_SHARING if plenum else SHARING)


def solve_idle(engine: IdleFlowModel, areas: Floats, log_demand: Floats | float = 0.0) -> IdleSolution:
    """The idle an engine settles at.

    Parameters: ``engine``; ``areas`` open per bore [m2], shape (..., bores), above 0; ``log_demand`` what the engine
    needs beyond the nominal demand, as a logarithm, shape (...).
    """
    n = areas.shape[-1]
    pull = math.log(engine.filling / engine.conductance) - np.log(areas)
    open_ = engine.conductance * areas
    nominal = np.asarray(math.log(engine.demand) + log_demand)
    log_speed = np.zeros(areas.shape[:-1])
    for _ in range(3):
        own = np.interp(pull + log_speed[..., None], _LOG_PULL, _RATIOS)
        ratios = (1 - engine.sharing) * own + engine.sharing / n * own.sum(axis=-1, keepdims=True)
        flows = open_ * flow_function_of(ratios)
        answer = SPEED_POWER * (np.log(flows.sum(axis=-1)) - nominal)
        log_speed = np.minimum(np.maximum(log_speed + (answer - log_speed) / 0.8, -1.5), 1.5)
    return IdleSolution(flows, ratios, log_speed)


def own_ratio(engine: IdleFlowModel, areas: Floats, log_speed: Floats | float) -> Floats:
    """Runner over ambient pressure behind each plate before runners share any: what comes in is what is taken.

    The ratios have shape (..., bores).

    Parameters: ``engine``; ``areas`` open [m2], shape (..., bores), above 0; ``log_speed`` ln(speed / wanted), one
    for all or shape (..., 1).
    """
    pull = np.log(engine.filling / engine.conductance) - np.log(areas) + log_speed
    return np.asarray(np.interp(pull, _LOG_PULL, _RATIOS))


def slopes(engine: IdleFlowModel, areas: Floats, settled: IdleSolution) -> FlowJacobian:
    """How a settled idle answers to small changes of area and demand.

    Parameters: ``engine``; ``areas`` [m2], shape (..., bores); ``settled`` the idle at those areas. The slopes have
    shape (..., bores, bores + 1), that of the speed (..., bores + 1).
    """
    n = areas.shape[-1]
    every = np.arange(n)
    own = own_ratio(engine, areas, settled.log_speed[..., None])
    own_change = own / (1 - _sensitivity(own))  # of the own ratio per relative change of area over speed
    mixed = np.empty((*areas.shape, n))
    mixed[...] = (engine.sharing / n * own_change)[..., None, :]
    mixed[..., every, every] += (1 - engine.sharing) * own_change
    mixed /= settled.ratios[..., None]
    answer = _sensitivity(settled.ratios)
    flows = np.zeros((*areas.shape, n + 1))
    flows[..., :n] = answer[..., None] * mixed
    flows[..., every, every] += 1.0
    together = mixed.sum(axis=-1)
    by_speed = -answer * together
    share = settled.flows / settled.flows.sum(axis=-1, keepdims=True)
    log_speed = (share[..., None, :] @ flows)[..., 0, :]
    log_speed[..., n] = -1.0
    log_speed *= (SPEED_POWER / (1 - SPEED_POWER * (share * by_speed).sum(axis=-1)))[..., None]
    flows += by_speed[..., None] * log_speed[..., None, :]
    return FlowJacobian(flows, log_speed, mixed, together)


def flow_function_of(ratios: Floats) -> Floats:
    """``app.sync.engine.air.flow_function`` of many ratios at once, read off a table, in their shape (...).

    Parameters: ``ratios`` of downstream to upstream pressure, 0 to 1, shape (...).
    """
    return np.asarray(np.interp(ratios, _RISING, _PSI_RISING))


def _sensitivity(ratios: Floats) -> Floats:
    """``app.sync.engine.air.pressure_sensitivity`` of many ratios."""
    rise = ratios ** (2 / 7)
    return np.where(ratios <= critical_ratio(), 0.0, (2 - 2.4 * rise) / (2.8 * (1 - rise)))
