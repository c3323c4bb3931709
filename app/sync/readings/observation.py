"""What a meter shows of the air through a plate: a reading turned into ln(air), whatever the meter reads.

A flow meter shows the air itself. A vacuum column shows how far the runner lies below the day's air pressure; by how
much that changes with a bore's own air is ``kappa`` of the engine's air.
"""

import math
from collections.abc import Mapping
from functools import lru_cache

import numpy as np
from numpy.typing import NDArray

from app.sync.engine.engine_air import IDLE_RATIO, SHARING, kappa
from app.sync.engine.events import Meter
from app.sync.readings.rounds import MISREAD_OTHERS, outliers, reading_sd

Floats = NDArray[np.float64]

LEAST_RATIO, MOST_RATIO = 0.05, 0.985
"""Runner over ambient pressure between which a column says anything of the air (our judgement: above, a column of a
kilopascal or so is moved by its own error alone)."""

MOST_SHARED = 0.9
"""Part of a runner's pressure that all runners share at most: with more, a column tells nothing of its own bore (our
judgement)."""

OWN_FILLING = 0.022
"""Standard deviation of ln(air) that a column cannot tell from the plate: each cylinder's own filling and how much of a
runner's pressure is shared (our judgement, from simulated engines whose fillings differ by 2 %)."""


def log_air(value: float, meter: Meter, sharing: float = SHARING, own: float | None = None) -> tuple[float, float]:
    """ln(air) up to a constant, and the standard deviation of one reading of it.

    Less than a quarter of the meter's step, nothing at all too, counts as that much.

    Parameters: ``value`` read [kg/s or Pa]; ``meter`` it was read with; ``sharing`` the part of a runner's pressure
    that all runners share; ``own``, see ``reading_sd``. Raises ValueError for a flow of 0 without a step.

    Source: the integral of 1 / ``kappa`` over ln of the runner's pressure.

    >>> round(log_air(6.4 / 3600, Meter())[1], 3)
    0.023
    >>> deep, shallow = (log_air(kpa * 1e3, Meter("vacuum", 250.0, 0.01))[0] for kpa in (35, 31))
    >>> round(shallow - deep, 2)  # less vacuum is more air
    0.1
    """
    read = max(value, meter.step / 4)
    sd = reading_sd(read, meter, own)
    if meter.quantity == "flow":
        return math.log(read), sd / read
    ratio = _ratio(read, meter)
    at, found = _column(sharing)
    per_air = float(kappa(ratio, sharing))
    return float(np.interp(math.log(ratio), at, found)), sd / (meter.ambient * ratio) / per_air


def times_the_air(value: float, expected: float, meter: Meter) -> float:
    """How many times the air of one reading another is.

    Parameters: ``value`` read and ``expected`` instead [kg/s or Pa]; ``meter`` that both are of.

    >>> times_the_air(4.0, 2.0, Meter())
    2.0
    """
    return math.exp(log_air(value, meter)[0] - log_air(expected, meter)[0])


def per_air(mean: float, meter: Meter, sharing: float = SHARING) -> float:
    """Change of a reading for a relative change of a bore's air [kg/s or Pa], negative for a vacuum below ambient.

    Parameters: ``mean`` reading that it is taken at [kg/s or Pa]; ``meter``; ``sharing``, see ``log_air``.

    >>> round(per_air(33e3, Meter("vacuum", 250.0, 0.01)) / 1e3, 1)  # kPa for 100 %
    -41.8
    """
    if meter.quantity == "flow":
        return mean
    ratio = _ratio(mean, meter)
    rise = meter.ambient * ratio * float(kappa(ratio, sharing))
    return rise if meter.absolute else -rise


def scale_of(mean: float, meter: Meter, sharing: float, sd: float) -> float:
    """Standard deviation of ln(air) that all differences between columns are wrong by alike; 0 for a flow meter.

    Parameters: ``mean`` reading that they are taken at [kg/s or Pa]; ``meter``; ``sharing``, see ``log_air``, and its
    standard deviation ``sd``.

    Source: ``kappa`` at either end of what is likely to be shared.
    """
    if meter.quantity == "flow" or not sd:
        return 0.0
    least, most = max(sharing - sd, 0.0), min(sharing + sd, MOST_SHARED)
    ratio = _ratio(mean, meter)
    return math.log(float(kappa(ratio, least) / kappa(ratio, most))) / 2


def own_of(meter: Meter) -> float:
    """Standard deviation of a bore's ln(air) that no reading of a meter tells: ``OWN_FILLING`` for a column.

    Parameters: ``meter`` read with.
    """
    return 0.0 if meter.quantity == "flow" else OWN_FILLING


def far_from_others(by_bore: Mapping[int, float], meter: Meter) -> frozenset[int]:
    """The bores to read again first: those far from the others in air, see ``rounds.outliers``,
    and a column that shows nothing among others that do.

    It looks for slips of hand and eye, so that runners joined by a plenum are taken like others.

    Parameters: ``by_bore``, a reading for each bore [kg/s or Pa]; ``meter`` they were read with.

    >>> sorted(far_from_others({1: 33e3, 2: 32e3, 3: 0.0, 4: 12e3}, Meter("vacuum", 250.0, 0.01)))  # 12: 1.6 times
    [3]
    """
    far = outliers({bore: math.exp(log_air(value, meter)[0]) for bore, value in by_bore.items()})
    if meter.quantity == "flow" or len(by_bore) <= MISREAD_OTHERS:
        return far
    at_zero = {bore for bore, value in by_bore.items() if shows_nothing(value, meter)}
    return far | at_zero if 2 * len(at_zero) < len(by_bore) else far


def shows_nothing(value: float, meter: Meter) -> bool:
    """Whether a column stands so near zero that it says nothing of the air; never for a flow meter.

    Parameters: ``value`` read [kg/s or Pa]; ``meter`` it was read with.

    >>> column = Meter("vacuum", 250.0, 0.01)
    >>> shows_nothing(1.2e3, column), shows_nothing(2.0e3, column)
    (True, False)
    """
    return meter.quantity != "flow" and _ratio(value, meter) >= MOST_RATIO


def _ratio(value: float, meter: Meter) -> float:
    """Runner over ambient pressure behind a column."""
    return min(max(1 - meter.turned(value) / meter.ambient, LEAST_RATIO), MOST_RATIO)


@lru_cache(maxsize=32)
def _column(sharing: float) -> tuple[Floats, Floats]:
    """ln of runner over ambient pressure, and ln(air) there beside that at ``IDLE_RATIO``, each of shape (points,)."""
    logs = np.linspace(math.log(LEAST_RATIO), math.log(MOST_RATIO), 4000)
    rise = 1 / kappa(np.exp(logs), sharing)
    air = np.concatenate([[0.0], np.cumsum((rise[1:] + rise[:-1]) / 2 * np.diff(logs))])
    return logs, air - float(np.interp(math.log(IDLE_RATIO), logs, air))
