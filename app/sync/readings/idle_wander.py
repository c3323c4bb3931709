"""How far a hot idle strays with nothing moved, all bores together: within minutes, over a round, from one to the next.

Every figure of it in the numerical core is one of these, or worked out from them.
"""

import math

WANDER = 0.007
"""Standard deviation of ln(air) of a hot idle about its mean (our judgement)."""

MEMORY = 180.0
"""Seconds after which it has forgotten where it strayed to, by 1/e (our judgement)."""

BETWEEN_ROUNDS = math.sqrt(2) * WANDER
"""Standard deviation of the difference of two states of the idle further apart than ``MEMORY`` (by definition)."""

DRIFT = 0.01
"""Standard deviation of a steady change of the idle, in ln(air) a minute, as it warms or cools (our judgement: what is
called steady for a power test, UN Regulation 85 and ISO 1585, leaves 1 % of speed, the same of air at one load)."""

EVERY_READING = 20.0
"""Seconds from one reading to the next where they were not told (our judgement)."""


def drift_over(seconds: float, readings: int) -> float:
    """Standard deviation of the drift over a round, in ln(air).

    Parameters: ``seconds`` from its first reading to its last, 0 where the times were not told; ``readings`` taken.

    >>> round(drift_over(160.0, 9), 3), round(drift_over(0.0, 9), 3)
    (0.027, 0.027)
    """
    return DRIFT * (seconds or EVERY_READING * (readings - 1)) / 60
