"""How an engine draws its air at idle: from the open area of each plate to flows, runner pressures and speed.

What the engine needs goes by its displacement and speed alone, whatever the day's air, because friction sets it. Each
cylinder draws from its own runner, so with a plate per cylinder the pressure behind a plate is that plate's own
business, but for the share that passes between runners. What a plate lets in is what its cylinder takes:
``conductance psi(ratio) = filling speed ratio``; the filling falls with runner pressure, as burned gas stays behind.
Speed answers to all the air together. Hence flow grows less than in proportion to the area, and a runner keeps its
absolute pressure from one altitude to another.

Not in here: pulsation, resonance and cam timing, which demand, filling and the meter's scale swallow.
"""

import math
from dataclasses import dataclass, replace
from enum import StrEnum

import numpy as np
from numpy.typing import NDArray

from app.sync.engine.air import (
    ATMOSPHERE,
    GAMMA,
    GAS_CONSTANT,
    SHOP_TEMPERATURE,
    critical_ratio,
    flow_function,
    standard_pressure,
)
from app.sync.engine.units import KPA, LITER, MM, REV_PER_MIN, THOU

Floats = NDArray[np.float64]

DEMAND = 2.2e-3 / LITER
"""Air that an idling engine needs at ``DEMAND_SPEED`` [kg/(s m3)] of its displacement (our judgement: engines with one
manifold are published to need 0.8 to 2 g/s for a liter at 750 rpm, and a plate per cylinder idles diluted)."""

DEMAND_SPEED = 850 * REV_PER_MIN
"""Speed that the demand is stated at [rev/s] (our judgement)."""

DEMAND_POWER = 1.2
"""Demand grows with this power of speed (our judgement, between 1.11 and 1.25 by motored friction, from memory)."""

DEMAND_SD = 0.25
"""Spread of ln(demand) from one engine to another (our judgement, from the published band above)."""

IDLE_RATIO = 0.67
"""Runner over ambient pressure at ``DEMAND_SPEED`` and sea level (our judgement, within the published vacuum of 15 to
40 kPa with a plate per cylinder)."""

IDLE_RATIO_SD = 0.06
"""Its spread from one engine to another (our judgement; the published vacuum spans a ratio of 0.605 to 0.852)."""

COMPRESSION = 9.2
"""Compression ratio in the residual-gas form of the filling (published: default of the library Modelica-MVEM of
mean-value engine models, which has that form)."""

CHARGE_TEMPERATURE = 320.0
"""Air in a warm runner [K] (our judgement)."""

CONTRACTION = 0.72
"""Effective over open area of a barely open plate (our judgement, middle of the published 0.60 to 0.84)."""

CONTRACTION_SD = 0.08
"""Spread of ln(contraction) from one throttle to another (our judgement, from the published range)."""

LEAK_SD = 0.45
"""Spread of what leaks past a closed plate, over the usual leak (our judgement)."""

SHARING = 0.3
"""Part of a runner's pressure that all runners share (our judgement; 0 to 0.6 makes no visible loss)."""

SHARING_SD = 0.17
"""Its spread from one engine to another (our judgement: anything from 0 to 0.6)."""

PLENUM_SHARING = 0.8
"""The same where a common balance plenum joins the runners (our judgement). With nearly one pressure behind all plates
each flow follows its own gap more closely, and a vacuum column says less of one bore."""

TACHOMETER_SD = 0.008
"""Relative spread of an idle speed read, the wander of the idle included (our judgement)."""

MOST_RATIO = 0.90
"""Runner over ambient pressure up to which areas are advised; beyond, a small error of area moves a lot of speed (our
judgement)."""


RATIOS = 1 - np.linspace(0.0, 1.0, 1200)[1:-1] ** 2  # close together where the flow law is steep
_PSI = np.array([flow_function(float(ratio)) for ratio in RATIOS])
LOG_PULL = np.log(_PSI / RATIOS)  # rises as the ratio falls
_RISING, _PSI_RISING = RATIOS[::-1].copy(), _PSI[::-1].copy()


def residual(ratio: Floats) -> Floats:
    """Burned gas left in a cylinder, over its volume when it began to draw, shape (...).

    Parameters: ``ratio`` runner over ambient pressure, shape (...); the exhaust is at ambient pressure.

    Source: residual-gas form of engine textbooks, ``(exhaust / runner pressure) ** (1 / gamma)``.
    """
    return np.asarray(ratio ** (-1 / GAMMA))


# Filling at a runner's pressure over that at ``IDLE_RATIO``, ``(compression - residual) / (compression - 1)`` in the
# residual-gas form of the textbooks on engines, exhaust at ambient pressure.
LOG_RATIO = np.linspace(math.log(0.1), 0.0, 4000)
LOG_FILLING = np.log((COMPRESSION - residual(np.exp(LOG_RATIO))) / (COMPRESSION - residual(np.array(IDLE_RATIO))))
LOG_FILLED = LOG_RATIO + LOG_FILLING


class Beyond(StrEnum):
    """What lies outside the range that the model speaks for."""

    GAP = "gap"
    RATIO = "ratio"
    SPEED = "speed"
    PRESSURE = "pressure"
    TEMPERATURE = "temperature"
    BORE = "bore"


RANGES: dict[Beyond, tuple[float, float]] = {
    Beyond.GAP: (0.5 * THOU, 20 * THOU),
    Beyond.RATIO: (0.30, 0.92),
    Beyond.SPEED: (500 * REV_PER_MIN, 1600 * REV_PER_MIN),
    Beyond.PRESSURE: (70 * KPA, 105 * KPA),
    Beyond.TEMPERATURE: (250.0, 320.0),
    Beyond.BORE: (26 * MM, 70 * MM),
}
"""Where the model holds, least and most in base units (our judgement)."""


@dataclass(frozen=True, slots=True)
class Ambient:
    """The air of the day: absolute ``pressure`` [Pa] and ``temperature`` [K]."""

    pressure: float = ATMOSPHERE
    temperature: float = SHOP_TEMPERATURE


@dataclass(frozen=True, slots=True)
class IdleFlowModel:
    """The constants of one engine's idle in one day's air: nominal, as what all bores have in common is learned.

    ``conductance`` [kg/(s m2)] of an opening at unit flow function, contraction included; ``filling`` [kg/s] a bore
    would draw at the wanted speed with its runner at ambient pressure, filled as at ``IDLE_RATIO``; ``demand`` [kg/s]
    of all ``bores`` at the wanted ``speed`` [rev/s]; ``sharing`` the part of a runner's pressure that all runners
    share, and ``sharing_sd`` how well columns told it.
    """

    bores: int
    conductance: float
    filling: float
    demand: float
    speed: float
    sharing: float = SHARING
    ambient: Ambient = Ambient()
    sharing_sd: float = 0.0

    @property
    def log_ratio(self) -> float:
        """ln of the runner pressure over ambient at the wanted speed, before burned gas is reckoned with."""
        return math.log(self.demand / (self.bores * self.filling))


def day_of(pressure: float | None, temperature: float | None, altitude: float = 0.0) -> Ambient:
    """The air of a day: what was recorded of it, else the standard pressure at the shop's altitude.

    Parameters: ``pressure`` absolute [Pa] and ``temperature`` [K], None where it was not recorded; ``altitude`` of the
    shop above sea level [m], -2000 to 11000.

    >>> day_of(None, None, 2000.0).pressure.__round__()
    79495
    """
    return Ambient(
        standard_pressure(altitude) if pressure is None else pressure,
        SHOP_TEMPERATURE if temperature is None else temperature,
    )


def sharing_of(plenum: bool) -> float:
    """Part of a runner's pressure that all runners share.

    Parameters: ``plenum`` whether a common balance plenum joins the runners.
    """
    return PLENUM_SHARING if plenum else SHARING


def needed(displacement: float, speed: float) -> float:
    """Air that an engine needs to idle [kg/s]: ``DEMAND displacement (speed / DEMAND_SPEED) ** DEMAND_POWER``.

    Parameters: ``displacement`` [m3] of the whole engine; ``speed`` [rev/s], above 0.

    Source: ``DEMAND`` and ``DEMAND_POWER``.

    >>> round(needed(1e-3, 750 / 60) * 1e3, 2)  # g/s for a liter
    1.89
    """
    return float(DEMAND * displacement * (speed / DEMAND_SPEED) ** DEMAND_POWER)


def usual_breathing(
    bores: int, displacement: float, speed: float, plenum: bool = False, ambient: Ambient | None = None
) -> IdleFlowModel:
    """Constants to start from when nothing was measured.

    Parameters: ``bores`` at least 1; ``displacement`` [m3] of the whole engine, above 0; ``speed`` wanted [rev/s];
    ``plenum`` whether a common balance plenum joins the runners; ``ambient`` the air of the day, standard air when
    None.

    >>> round(usual_breathing(8, 4e-3, 850 / 60).demand * 1e3, 1)  # g/s
    8.8
    """
    day = Ambient() if ambient is None else ambient
    conductance = CONTRACTION * day.pressure / math.sqrt(GAS_CONSTANT * day.temperature)
    density = day.pressure / (GAS_CONSTANT * CHARGE_TEMPERATURE)
    filling = usual_filling() * displacement / bores * speed / 2 * density
    return IdleFlowModel(bores, conductance, filling, needed(displacement, speed), speed, sharing_of(plenum), day)


def idling_on(bores: int, flow: float, plenum: bool = False) -> IdleFlowModel:
    """A usual engine that idles on so much air in standard air, its size and speed not known.

    Parameters: ``bores`` at least 1; ``flow`` of each [kg/s], above 0; ``plenum`` whether a common balance plenum joins
    the runners.
    """
    return usual_breathing(bores, bores * flow / DEMAND, DEMAND_SPEED, plenum)


def usual_filling() -> float:
    """Part of its displacement that a cylinder fills with air of runner density at ``IDLE_RATIO``.

    Source: ``DEMAND`` drawn at ``IDLE_RATIO`` and sea level, every other revolution.

    >>> round(usual_filling(), 2)
    0.42
    """
    density = IDLE_RATIO * ATMOSPHERE / (GAS_CONSTANT * CHARGE_TEMPERATURE)
    return DEMAND / (DEMAND_SPEED / 2 * density)


def ratio_at(engine: IdleFlowModel, log_speed: Floats | float) -> Floats:
    """Runner over ambient pressure of an engine that idles evenly at a speed, shape (...).

    Parameters: ``engine``; ``log_speed`` ln(speed / wanted), shape (...).

    >>> engine = usual_breathing(8, 5.7e-3, 15.0, ambient=day_of(None, None, 2000.0))
    >>> round(float(ratio_at(engine, 0.0)), 2)
    0.84
    """
    return np.asarray(np.exp(np.interp(undiluted(engine, log_speed), LOG_FILLED, LOG_RATIO)))


def log_speed_at(engine: IdleFlowModel, ratio: float) -> float:
    """ln(speed / wanted) at which an engine that idles evenly has a runner pressure; the inverse of ``ratio_at``.

    Parameters: ``engine``; ``ratio`` runner over ambient pressure, 0.1 to 1.

    >>> engine = usual_breathing(8, 5.7e-3, 15.0, ambient=day_of(None, None, 2000.0))
    >>> round(math.exp(log_speed_at(engine, 0.9)) * 900)  # rev/min
    1294
    """
    filled = float(np.interp(math.log(ratio), LOG_RATIO, LOG_FILLED))
    return (filled - engine.log_ratio) / (DEMAND_POWER - 1)


def drawing(engine: IdleFlowModel, ratio: float, log_speed: float) -> IdleFlowModel:
    """The engine with the filling at which it idles evenly with a runner pressure at a speed, its demand as it is.

    Parameters: ``engine``; ``ratio`` runner over ambient pressure, 0.1 to 1; ``log_speed`` ln(speed / wanted).

    >>> deep = drawing(usual_breathing(8, 4e-3, 850 / 60), 0.5, 0.1)
    >>> round(float(ratio_at(deep, 0.1)), 3)
    0.5
    """
    filled = float(np.interp(math.log(ratio), LOG_RATIO, LOG_FILLED))
    undiluted_ratio = math.exp(filled - (DEMAND_POWER - 1) * log_speed)
    return replace(engine, filling=engine.demand / (engine.bores * undiluted_ratio))


def area_at(engine: IdleFlowModel, log_speed: Floats | float, log_demand: Floats | float = 0.0) -> Floats:
    """Open area of every bore [m2] on which an engine idles evenly at a speed, shape (...).

    Parameters: ``engine``; ``log_speed`` ln(speed / wanted), shape (...); ``log_demand`` what the engine needs beyond
    the nominal demand, as a logarithm, shape (...).

    >>> round(float(area_at(usual_breathing(8, 5.7e-3, 15.0), 0.0)) * 1e6, 1)  # mm2
    10.3
    """
    flow = engine.demand / engine.bores * np.exp(np.asarray(DEMAND_POWER * log_speed + log_demand))
    return np.asarray(flow / (engine.conductance * flow_function_of(ratio_at(engine, log_speed))))


def alone(ratios: Floats | float, sharing: float) -> Floats:
    """Per cent of flow for one per cent of area of one bore alone, speed and the other bores as they are, shape (...).

    Parameters: ``ratios`` runner over ambient pressure, above 0 and below 1, shape (...); ``sharing`` the part of a
    runner's pressure that all runners share.

    Source: derivative of ``app.sync.engine.idle_flow.solve_idle`` at equal bores, one of many.

    >>> round(float(alone(0.67, SHARING)), 2)
    0.78
    """
    answer = sensitivity_of(np.asarray(ratios))
    return np.asarray(1 + answer * (1 - sharing) / (1 - answer))


def kappa(ratios: Floats | float, sharing: float) -> Floats:
    """Per cent of absolute runner pressure for one per cent of flow of one bore, shape (...).

    It is what a vacuum column sees of the flow.

    Parameters: ``ratios`` runner over ambient pressure, above 0 and below 1, shape (...); ``sharing`` the part of a
    runner's pressure that all runners share.

    Source: derivative of ``app.sync.engine.idle_flow.solve_idle`` at equal bores, one of many.

    >>> [round(float(kappa(1 - vacuum / 101.325, SHARING)), 2) for vacuum in (12, 33, 56)]  # kPa
    [0.36, 0.61, 0.7]
    """
    found = np.asarray(ratios)
    return np.asarray((1 - sharing) / (1 - sensitivity_of(found)) / alone(found, sharing))


def vacuum_by_air(ratio: float) -> float:
    """Share of its vacuum that a runner loses for one share more of the air that its cylinder takes, nothing shared.

    Parameters: ``ratio`` runner over ambient pressure, above 0.1 and below 1.

    Source: derivative of the filling in the residual-gas form times its pressure, as in ``LOG_FILLED``.

    >>> round(vacuum_by_air(0.67), 2)
    1.81
    """
    burned = float(residual(np.array(ratio)))
    return ratio / (1 - ratio) / (1 + burned / GAMMA / (COMPRESSION - burned))


def beyond(
    gaps: Floats | float, ratios: Floats | float, speed: float, ambient: Ambient, diameter: float
) -> tuple[Beyond, ...]:
    """What of an answer lies outside the range that the model speaks for; nothing when all of it is inside.

    Parameters: ``gaps`` at the plates' edges [m], shape (...); ``ratios`` runner over ambient pressure, shape (...);
    ``speed`` [rev/s];
    ``ambient`` the air of the day; ``diameter`` of the bores [m].

    >>> beyond(5e-3 * 0.0254, 0.94, 15.0, Ambient(), 0.048)
    (<Beyond.RATIO: 'ratio'>,)
    """
    seen: dict[Beyond, Floats | float] = {
        Beyond.GAP: gaps,
        Beyond.RATIO: ratios,
        Beyond.SPEED: speed,
        Beyond.PRESSURE: ambient.pressure,
        Beyond.TEMPERATURE: ambient.temperature,
        Beyond.BORE: diameter,
    }
    return tuple(
        [one for one, (least, most) in RANGES.items() if np.min(seen[one]) < least or np.max(seen[one]) > most]
    )


def flow_function_of(ratios: Floats) -> Floats:
    """``app.sync.engine.air.flow_function`` of many ratios at once, read off a table, in their shape (...).

    Parameters: ``ratios`` of downstream to upstream pressure, 0 to 1, shape (...).
    """
    return np.asarray(np.interp(ratios, _RISING, _PSI_RISING))


def sensitivity_of(ratios: Floats) -> Floats:
    """``app.sync.engine.air.pressure_sensitivity`` of many ratios, in their shape (...).

    Parameters: ``ratios`` of downstream to upstream pressure, above 0 and below 1, shape (...).
    """
    rise = ratios ** (2 / 7)
    return np.where(ratios <= critical_ratio(), 0.0, (2 - 2.4 * rise) / (2.8 * (1 - rise)))


def undiluted(engine: IdleFlowModel, log_speed: Floats | float) -> Floats:
    """ln(ratio) that an even idle would have at a speed, if the filling were that at ``IDLE_RATIO``, shape (...).

    Parameters: ``engine``; ``log_speed`` ln(speed / wanted), shape (...).
    """
    return np.asarray(engine.log_ratio + (DEMAND_POWER - 1) * np.asarray(log_speed))
