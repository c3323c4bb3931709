"""Whether the central lever was open at all when an opening was read."""

import math
from collections.abc import Mapping, Sequence

from app.sync.engine.events import Meter
from app.sync.engine.layout import Layout
from app.sync.readings.idle_wander import BETWEEN_ROUNDS
from app.sync.readings.rounds import reading_sd

FROM_IDLE = 3.0
"""Standard deviations that a bank's mean has to lie from idle to be told from it (our judgement)."""


def read_both(bores: Sequence[int], readings: Mapping[int, float], idle: Mapping[int, float]) -> list[int]:
    """The bores that were read at an opening and at idle.

    Parameters: ``bores`` to look for, in their order; ``readings`` at the opening and ``idle``, by bore.
    """
    return [bore for bore in bores if readings.get(bore, 0.0) > 0 and idle.get(bore, 0.0) > 0]


def opened(layout: Layout, idle: Mapping[int, float], readings: Mapping[int, float], meter: Meter) -> bool:
    """Whether the readings at an opening differ from those at idle, on one bank at least.

    One bank may still stand on its stop at a small opening; where both read as at idle, the lever did not open. True
    where no bore was read both times.

    Parameters: ``layout`` of the engine; ``idle`` and ``readings`` at the opening by bore [kg/s, or Pa of vacuum];
    ``meter`` they were read with.

    >>> from app.sync.engine.layout import Bank
    >>> pair = Layout((Bank("A", (1, 2), 1, 1), Bank("B", (3, 4), 3, 3)))
    >>> idle = dict.fromkeys((1, 2, 3, 4), 6.5 / 3600)
    >>> opened(pair, idle, idle, Meter()), opened(pair, idle, {**idle, 1: 9 / 3600, 2: 9 / 3600}, Meter())
    (False, True)
    """
    seen = []
    for bank in layout.banks:
        if both := read_both(bank.bores, readings, idle):
            change = sum(math.log(readings[bore] / idle[bore]) for bore in both) / len(both)
            noise = sum((reading_sd(v[bore], meter) / v[bore]) ** 2 for v in (idle, readings) for bore in both)
            seen.append(abs(change) > FROM_IDLE * math.hypot(BETWEEN_ROUNDS, math.sqrt(noise) / len(both)))
    return any(seen) or not seen
