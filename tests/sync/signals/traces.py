"""Traces of a runner whose cylinder draws in pulses."""

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]
RATE = 200.0


def pulse(times: Floats, speed: float, phase: float = 0.0) -> Floats:
    """A cylinder that draws for 240 of 720 degrees: a half sine, scaled to a mean of exactly 1, as the integral of a
    half sine is 2 / pi of its height times its length."""
    turned = (720 * (times * speed / 2 + phase)) % 720
    return np.where(turned < 240, np.sin(np.pi * turned / 240), 0.0) * (np.pi / 2) * 3


def ticks(seconds: float, rate: float = RATE) -> Floats:
    return np.arange(int(seconds * rate) + 1) / rate
