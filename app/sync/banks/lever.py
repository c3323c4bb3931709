"""Whether the central lever was open at all when an opening was read."""

import math
from collections.abc import Mapping
from dataclasses import dataclass

from app.sync.banks.bank_means import bank_change
from app.sync.engine.engine_air import DEMAND_POWER, TACHOMETER_SD
from app.sync.engine.events import Meter
from app.sync.engine.layout import Layout
from app.sync.readings.idle_wander import BETWEEN_ROUNDS

FROM_IDLE = 3.0
"""Standard deviations that a bank's mean has to lie from idle to be told from it, by the meter alone (our
judgement)."""

AT_IDLE_SPEED, ABOVE_IDLE_SPEED = 4.5, 2.0
"""The same where the engine speed hardly differs from idle, and where it is clearly above it (our judgement)."""

SPEED_SD = math.hypot(math.sqrt(2) * TACHOMETER_SD, BETWEEN_ROUNDS / DEMAND_POWER)
"""Standard deviation between two looks at a tachometer, in ln(speed): the error of both, and the idle's wander (by
definition)."""

CLEARLY = 2.0
"""How many of them make a difference (our judgement)."""


@dataclass(frozen=True, slots=True)
class Speeds:
    """Engine speed at ``idle`` and with the lever on its feeler, ``here`` [rev/s]."""

    idle: float
    here: float


def opened(
    layout: Layout, idle: Mapping[int, float], readings: Mapping[int, float], meter: Meter, speeds: Speeds | None = None
) -> bool:
    """Whether the readings at an opening differ from those at idle, on one bank at least.

    One bank may still stand on its stop at a small opening; where both read as at idle, the lever did not open. An
    engine speed is one sign more, never enough on its own: a load may hold it. True where no bore was read both times.

    Parameters: ``layout`` of the engine; ``idle`` and ``readings`` at the opening by bore [kg/s, or Pa of vacuum];
    ``meter`` they were read with; ``speeds`` of the engine, None where one was not recorded.

    >>> from app.sync.engine.layout import Bank
    >>> pair = Layout((Bank("A", (1, 2), 1, 1), Bank("B", (3, 4), 3, 3)))
    >>> idle = dict.fromkeys((1, 2, 3, 4), 6.5 / 3600)
    >>> opened(pair, idle, idle, Meter()), opened(pair, idle, {**idle, 1: 9 / 3600, 2: 9 / 3600}, Meter())
    (False, True)
    """
    changes = (bank_change(bank.bores, readings, idle, meter, layout.plenum) for bank in layout.banks)
    seen = [abs(one.change) / math.hypot(BETWEEN_ROUNDS, one.sd) for one in changes if one is not None]
    return not seen or max(seen) > _needed(speeds)


def _needed(speeds: Speeds | None) -> float:
    """Standard deviations that a bank has to lie from idle, given what the engine speed says."""
    if speeds is None:
        return FROM_IDLE
    apart = math.log(speeds.here / speeds.idle) / SPEED_SD
    if abs(apart) < CLEARLY:
        return AT_IDLE_SPEED
    return ABOVE_IDLE_SPEED if apart > 0 else FROM_IDLE
