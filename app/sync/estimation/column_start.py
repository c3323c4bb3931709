"""What columns say of an engine before anything is moved: how deep they stand, its cylinders draw.

A flow meter's figure is the air itself, and its scale is learned. A column's figure is the runner's pressure, which is
as deep as the cylinders' filling makes it, from 10 to 50 kPa on engines of one size; taken for the scale of the meter
it would give every plate the wrong slope.
"""

import math
from collections.abc import Iterator, Sequence
from dataclasses import replace
from functools import lru_cache
from itertools import dropwhile, takewhile
from statistics import fmean

from app.sync.engine.events import Event, IdleSpeed, Meter, Reading
from app.sync.estimation.depth_start import drawing_at
from app.sync.estimation.posterior import Posterior

COLUMN_SCALE_SD = 0.03
"""Spread of ln(column / truth) from one column to another (our judgement)."""

SHALLOWEST, DEEPEST = 0.95, 0.30
"""Runner over ambient pressure between which a filling is told from it (our judgement)."""


def read_by_columns(start: Posterior, meter: Meter, events: Sequence[Event]) -> Posterior:
    """The start for an engine that draws as deep as its columns stood before the first move.

    The same object comes back for a flow meter, and before anything was read.

    Parameters: ``start`` before any reading of the visit; ``meter`` read with; ``events`` oldest first.
    """
    if meter.quantity == "flow":
        return start
    first = tuple(_before_moves(events))
    speed = next((one.speed for one in reversed(first) if isinstance(one, IdleSpeed)), start.engine.speed)
    depths = [meter.turned(one.value) for one in first if isinstance(one, Reading)]
    return _drawing_so(start, 1 - fmean(depths) / meter.ambient, speed) if depths else start


def _before_moves(events: Sequence[Event]) -> Iterator[Reading | IdleSpeed]:
    """What was seen before the first move; screws counted from elsewhere than the preset come before all of it."""
    seen = dropwhile(lambda one: not isinstance(one, Reading | IdleSpeed), events)
    return (one for one in takewhile(lambda one: isinstance(one, Reading | IdleSpeed), seen))  # type: ignore[misc]


@lru_cache(maxsize=64)
def _drawing_so(start: Posterior, ratio: float, speed: float) -> Posterior:
    """``start`` for an engine that idles at that ``speed`` [rev/s] with that mean runner over ambient pressure."""
    held = min(max(ratio, DEEPEST), SHALLOWEST)
    found = drawing_at(start, held, math.log(speed / start.engine.speed))
    cov = found.covariance.copy()
    tighter = min(1.0, COLUMN_SCALE_SD / math.sqrt(cov[-2, -2]))
    cov[-2] *= tighter
    cov[:, -2] *= tighter
    return replace(found, covariance=cov)
