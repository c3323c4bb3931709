"""Readings of one state brought to one engine speed, where the speed beside them tells how the idle strayed.

Nothing is moved between them: an idle that runs a little faster draws a little more air at every bore alike. Between
readings taken one after another that strays into their ratios, and the speed beside each takes it out again.
"""

import math
from collections import defaultdict
from collections.abc import Sequence
from dataclasses import replace
from statistics import fmean

from app.sync.engine.engine_air import DEMAND_POWER
from app.sync.engine.events import Meter, Reading

POWER_SD = 0.15
"""How far one engine's air may be from growing with ``DEMAND_POWER`` of its speed: nineteen in twenty lie between 0.9
and 1.5 (our judgement)."""

LEAST_STRAY = 0.001
"""Standard deviation of ln(speed) below which a controller holds it, or nothing strayed: the readings then stay as they
are (our judgement, a third of what is left of a typed speed's last digit)."""

USUAL = Meter()
"""What a reading repeats by that does not say: a meter before any study."""


def at_one_speed(readings: Sequence[Reading]) -> tuple[Reading, ...]:
    """The readings as at their mean speed; those without a speed, and all where it hardly strayed, as they were.

    Parameters: ``readings`` of flow, with nothing moved between them, oldest first.

    >>> faster = [Reading(1, 6.0, 0.0, speed=14.0), Reading(2, 6.26, 20.0, speed=14.5)]
    >>> [round(one.value, 2) for one in at_one_speed(faster)]
    [6.13, 6.13]
    """
    logs = [math.log(one.speed) for one in readings if one.speed]
    if len(logs) < 2:
        return tuple(readings)
    middle = fmean(logs)
    if math.sqrt(fmean((log - middle) ** 2 for log in logs)) < LEAST_STRAY:
        return tuple(readings)
    power = exponent(readings)
    return tuple(
        replace(one, value=one.value * math.exp(-power * (math.log(one.speed) - middle))) if one.speed else one
        for one in readings
    )


def exponent(readings: Sequence[Reading]) -> float:
    """The power of the speed that a bore read more than once shows, with ``DEMAND_POWER`` known beforehand.

    Parameters: ``readings`` of flow with nothing moved between them.

    Source: the mean of a normal law after normal observations (any statistics text).
    """
    by_bore = defaultdict[int, list[tuple[float, float, float]]](list)
    for one in readings:
        if one.speed and one.value > 0:
            by_bore[one.bore].append((math.log(one.speed), math.log(one.value), one.sd or USUAL.repeatability))
    told, weight = DEMAND_POWER / POWER_SD**2, 1 / POWER_SD**2
    for seen in by_bore.values():
        speed, value = fmean(s for s, _, _ in seen), fmean(v for _, v, _ in seen)
        for log_speed, log_value, sd in seen:
            told += (log_speed - speed) * (log_value - value) / sd**2
            weight += (log_speed - speed) ** 2 / sd**2
    return told / weight
