"""How a bore's flow climbs as its bank leaves idle: plate geometry, dampened by the runner that fills behind it."""

import math
from functools import cache

import numpy as np

from app.sync.engine.air import ATMOSPHERE, area_for, critical_ratio, flow_function, pressure_sensitivity
from app.sync.engine.hardware import Hardware
from app.sync.engine.idle_flow import PLENUM_SHARING, SHARING, SPEED_POWER
from app.sync.engine.plate import FIT, angle_at, closed_leakage, open_area
from app.sync.engine.units import KPA
from app.sync.slips.changes import Floats

# How the engine breathes around idle. Vacuum lies in the published 15 to 40 kPa for one throttle per cylinder and
# contraction in the published 0.60 to 0.84; the rest is judgement.
IDLE_RATIO = (ATMOSPHERE - 33 * KPA) / ATMOSPHERE
CONTRACTION = 0.72
WIDEST = 0.3  # opening up to which the gain is worked out [rad]


def gain_curve(
    hardware: Hardware, idle_flow: float, gain: float | None = None, plenum: bool = False
) -> tuple[Floats, Floats]:
    """How the logarithm of a bore's flow climbs as its bank opens, the other bank standing still.

    Returned as openings beyond idle [rad] and rise of ln(flow) from idle, each of shape (points,). The area follows
    from the plate; its effect is dampened because the runner behind it fills, the more the nearer it comes to ambient
    pressure.

    Parameters: ``hardware`` fitted; ``idle_flow`` of one bore [kg/s], above 0; ``gain`` [1/rad] at idle when learned on
    this engine, which rescales the curve; ``plenum`` whether a common balance plenum joins the runners.

    Source: plate geometry and isentropic flow; the engine's breathing is judgement.

    >>> from app.sync.engine.hardware import likely_hardware
    >>> opening, rise = gain_curve(likely_hardware(4e-3, 8), 6.4 / 3600)
    >>> round(float(np.interp(0.010, opening, rise)), 2)  # the first ten milliradians
    0.16
    """
    diameter, shaft = hardware.bore_diameter.value, hardware.shaft_diameter.value
    closed = hardware.closed_angle.value
    leakage = FIT * closed_leakage(diameter)
    effective = area_for(idle_flow, ATMOSPHERE, ATMOSPHERE * IDLE_RATIO)
    past_plate = max(effective - leakage, effective / 4) / CONTRACTION
    start = angle_at(min(2 * past_plate / (math.pi * diameter), diameter / 4), diameter, closed)
    openings = np.linspace(0.0, min(WIDEST, math.pi / 2 - start), 201)
    areas = np.array([CONTRACTION * open_area(start + x, diameter, shaft, closed) + leakage for x in openings])
    ratios = np.interp(areas / areas[0], *_runner_table())
    own = 1 - (PLENUM_SHARING if plenum else SHARING)
    damping = np.array([1 - own * pressure_sensitivity(ratio) for ratio in ratios])
    steps = np.diff(np.log(areas)) / ((damping[1:] + damping[:-1]) / 2)
    rise = np.concatenate([[0.0], np.cumsum(steps)])
    if gain is not None:
        rise *= gain * openings[1] / rise[1]
    return openings, rise


@cache
def _runner_table() -> tuple[Floats, Floats]:
    """Area over idle area, and the runner pressure over ambient that the cylinders settle at behind it.

    The cylinders draw in proportion to speed and runner pressure, and speed answers the air drawn. Solved for the area
    that a pressure needs, so that a table of it turned round gives the pressure for any area.
    """
    power = 1 / (1 - SPEED_POWER)
    ratios = np.linspace(max(IDLE_RATIO, critical_ratio()), 0.9999, 2000)
    flows = np.array([flow_function(float(ratio)) for ratio in ratios])
    return (ratios / IDLE_RATIO) ** power * flow_function(IDLE_RATIO) / flows, ratios
