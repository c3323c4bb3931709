"""How a bore's flow climbs as its bank leaves idle: plate geometry, dampened by the runner that fills behind it."""

import math

import numpy as np

from app.sync.engine.engine_air import Floats, IdleFlowModel, alone, area_at, ratio_at
from app.sync.engine.hardware import Hardware
from app.sync.engine.plate import FIT, angle_at, closed_leakage, open_area

WIDEST = 0.3
"""Opening up to which the gain is worked out [rad] (our judgement)."""

_LOG_SPEEDS = np.linspace(-0.5, 2.0, 500)


def gain_curve(
    hardware: Hardware, idle_flow: float, engine: IdleFlowModel, gain: float | None = None
) -> tuple[Floats, Floats]:
    """How the logarithm of a bore's flow climbs as its bank opens, the other bank standing still.

    Returned as openings beyond idle [rad] and rise of ln(flow) from idle, each of shape (points,). The area follows
    from the plate; its effect is dampened because the runner behind it fills, the more the nearer it comes to ambient
    pressure.

    Parameters: ``hardware`` fitted; ``idle_flow`` of one bore [kg/s], above 0; ``engine`` how it draws air; ``gain``
    [1/rad] at idle when learned on this engine, which rescales the curve.

    Source: plate geometry and the engine's breathing.

    >>> from app.sync.engine.engine_air import usual_breathing
    >>> from app.sync.engine.hardware import likely_hardware
    >>> opening, rise = gain_curve(likely_hardware(4e-3, 8), 4.2 / 3600, usual_breathing(8, 4e-3, 15.0))
    >>> round(float(np.interp(0.010, opening, rise)), 2)  # the first ten milliradians
    0.22
    """
    diameter, shaft = hardware.bore_diameter.value, hardware.shaft_diameter.value
    closed = hardware.closed_angle.value
    leakage = FIT * closed_leakage(diameter)
    more = math.log(idle_flow * engine.bores / engine.demand)
    idle_area = float(area_at(engine, 0.0, more))
    past_plate = max(idle_area - leakage, idle_area / 4)
    start = angle_at(min(2 * past_plate / (math.pi * diameter), diameter / 4), diameter, closed)
    openings = np.linspace(0.0, min(WIDEST, math.pi / 2 - start), 201)
    areas = np.array([open_area(start + x, diameter, shaft, closed) + leakage for x in openings])
    ratios = np.interp(areas, area_at(engine, _LOG_SPEEDS, more), ratio_at(engine, _LOG_SPEEDS))
    answer = alone(ratios, engine.sharing)
    steps = np.diff(np.log(areas)) * (answer[1:] + answer[:-1]) / 2
    rise = np.concatenate([[0.0], np.cumsum(steps)])
    if gain is not None:
        rise *= gain * openings[1] / rise[1]
    return openings, rise
