"""The snap test: whether a plate comes back to where it was after the throttle was blipped.

A plate that hangs on its neighbor by a worn or loose coupler settles a little elsewhere each time. Readings of it
after a few blips then scatter by more than the meter does.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from functools import lru_cache

from scipy.special import chdtri

from app.sync.engine.events import Meter
from app.sync.engine.layout import Coupler, Layout
from app.sync.readings.rounds import reading_sd

BLIPS = 3
"""Blips of each suspect bore (common practice, no published source)."""

CONFIDENCE = 0.99
"""Chance that a tight plate passes (our judgement): one in a hundred is sent for a look for nothing."""


@dataclass(frozen=True, slots=True)
class Snap:
    """What the blips of one bore say. ``scatter`` and ``expected`` are standard deviations as fractions of the reading:
    seen, and by meter and step alone. ``coupler`` is the one that carries the bore's shaft, None where the stop screw
    holds it."""

    bore: int
    loose: bool
    scatter: float
    expected: float
    coupler: Coupler | None


@lru_cache(maxsize=64)
def suspects(layout: Layout) -> tuple[int, ...]:
    """The bores to blip: those without a return spring of their own, and the one that carries the throttle sensor.

    Parameters: ``layout`` of the engine.

    Source: common practice, no published source.

    >>> from app.sync.engine.layout import Bank
    >>> suspects(Layout((Bank("A", (1, 2, 3, 4), 1, 1),), sensor=4, springless=frozenset({3})))
    (3, 4)
    """
    return tuple(bore for bore in layout.bores if bore in layout.springless or bore == layout.sensor)


def snap(layout: Layout, bore: int, even: float, blips: Sequence[float], meter: Meter) -> Snap:
    """Whether a plate has lost motion.

    The reading before and those after the blips scatter about their mean m with sum of squares S. Of a tight plate
    S / sigma^2 follows the chi-square law, sigma^2 = (m repeatability)^2 + step^2 / 12. Values that are all within one
    step of one another say nothing: a plate that stands on the border between two steps reads either.

    Parameters: ``layout`` of the engine; ``bore`` that was blipped; ``even`` its reading before, and ``blips`` those
    after, above 0, in the meter's base unit; ``meter`` they were read with. Raises ValueError without a blip.

    Source: NIST/SEMATECH e-Handbook of Statistical Methods, 1.3.5.8 (the test of a standard deviation).

    >>> from app.sync.engine.layout import Bank
    >>> four = Layout((Bank("A", (1, 2, 3, 4), 1, 1),), sensor=4)
    >>> snap(four, 4, 6.5, [6.5, 6.75, 6.5], Meter(step=0.25)).loose
    False
    >>> snap(four, 4, 6.5, [6.0, 7.25, 6.0], Meter(step=0.25)).loose
    True
    """
    if not blips:
        raise ValueError("nothing was read after a blip")
    values = [even, *blips]
    mean = sum(values) / len(values)
    squares = sum((value - mean) ** 2 for value in values)
    expected = reading_sd(mean, meter) / mean
    scatter = (squares / len(blips)) ** 0.5 / mean
    beyond_a_step = max(values) - min(values) > 1.5 * meter.step
    loose = squares / (expected * mean) ** 2 > chdtri(len(blips), 1 - CONFIDENCE)
    return Snap(bore, bool(beyond_a_step and loose), scatter, expected, layout.bank_of(bore).carrier(bore))
