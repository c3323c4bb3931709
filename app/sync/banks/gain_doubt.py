"""How well it is known how steeply a bank opens: the model's own doubts, each carried through its slope."""

import math
from dataclasses import replace
from functools import lru_cache

import numpy as np

from app.sync.engine.engine_air import (
    CONTRACTION_SD,
    IDLE_RATIO_SD,
    MOST_RATIO,
    SHARING_SD,
    IdleFlowModel,
    drawing,
    ratio_at,
)
from app.sync.engine.hardware import DOUBT, NINE_IN_TEN, Figure, Hardware
from app.sync.engine.off_idle import gain_curve
from app.sync.estimation.posterior import SCALE_PRIOR_SD

AT = (0.003, 0.020)
"""Openings between which the gain is compared [rad]: where banks stand at a small and a wider one (our judgement)."""

FORM_SD = 0.10
"""What the form of the model adds (our judgement: engines whose filling is not diluted by burned gas open 8 to 12 %
less steeply than it says)."""


def gain_doubt(hardware: Hardware, idle_flow: float, engine: IdleFlowModel) -> float:
    """Standard deviation of the logarithm of how much air a bank gains by an opening.

    Parameters: ``hardware`` fitted, of which every figure that is estimated adds to it; ``idle_flow`` of one bore
    [kg/s], above 0; ``engine`` how it draws air.

    Source: first-order propagation of what is not known, one input at a time (JCGM 100:2008, 5.1.2, from memory).

    >>> from app.sync.engine.engine_air import usual_breathing
    >>> from app.sync.engine.hardware import likely_hardware
    >>> round(gain_doubt(likely_hardware(4e-3, 8), 4.2 / 3600, usual_breathing(8, 4e-3, 850 / 60)), 2)
    0.23
    """
    return _doubt(hardware, round(math.log(idle_flow), 1), engine)


@lru_cache(maxsize=64)
def _doubt(hardware: Hardware, log_flow: float, engine: IdleFlowModel) -> float:
    flow = math.exp(log_flow)
    usual = _gained(hardware, flow, engine)
    ratio = min(float(ratio_at(engine, 0.0)) + IDLE_RATIO_SD, MOST_RATIO)
    off = [
        _gained(hardware, flow * math.exp(SCALE_PRIOR_SD), engine),
        _gained(hardware, flow, replace(engine, conductance=engine.conductance * math.exp(CONTRACTION_SD))),
        _gained(hardware, flow, replace(engine, sharing=max(engine.sharing - SHARING_SD, 0.0))),
        _gained(hardware, flow, drawing(engine, ratio, 0.0)),
    ]
    for name in ("bore_diameter", "closed_angle"):
        figure = getattr(hardware, name)
        if not figure.measured:
            more = replace(hardware, **{name: Figure(figure.value + DOUBT[name] / NINE_IN_TEN)})
            off.append(_gained(more, flow, engine))
    return math.hypot(FORM_SD, *(math.log(one / usual) for one in off))


def _gained(hardware: Hardware, flow: float, engine: IdleFlowModel) -> float:
    """Rise of ln(air) between the openings ``AT``."""
    opening, rise = gain_curve(hardware, flow, engine)
    first, second = np.interp(AT, opening, rise)
    return float(second - first)
