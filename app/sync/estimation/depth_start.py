"""How deep an engine draws, by what columns show of it, or by what the moves of a visit did to its air.

A column's figure is the runner's pressure, which is as deep as the cylinders' filling makes it, from 10 to 50 kPa on
engines of one size; taken for the scale of the meter it would give every plate the wrong slope. A flow meter's figure
is the air itself, and its scale is learned; how much more air a wider gap lets in is another matter at 15 kPa than at
40, and each depth thought possible is weighed by how likely what was read is under it.
"""

import math
from collections.abc import Iterator, Sequence
from dataclasses import replace
from functools import lru_cache
from itertools import dropwhile, takewhile
from statistics import fmean

from app.sync.engine.engine_air import IDLE_RATIO, drawing
from app.sync.engine.events import SEEN, Event, IdleSpeed, Meter, Reading
from app.sync.estimation.filter import followed
from app.sync.estimation.posterior import Posterior, prior_for
from app.sync.estimation.prior_transfer import demand_known

DEPTHS = {IDLE_RATIO - 0.09: 0.2, IDLE_RATIO: 0.35, IDLE_RATIO + 0.09: 0.3, IDLE_RATIO + 0.18: 0.15}
"""Runner over ambient pressure at idle, from one end of the published band to the other, and how often an engine draws
so (our judgement)."""

TELLING = 12
"""Moves that tell how deep an engine draws; by then they have said it, and what is learned anew is worked out again
from the first reading on (our judgement)."""

COLUMN_SCALE_SD = 0.03
"""Spread of ln(column / truth) from one column to another (our judgement)."""

SHALLOWEST, DEEPEST = 0.95, 0.30
"""Runner over ambient pressure between which a filling is told from it (our judgement)."""


def depth_learned(start: Posterior, meter: Meter, events: Sequence[Event]) -> Posterior:
    """The start for an engine that draws as deep as its answers to the first moves say, the last one left out.

    The same object comes back for columns, and before anything was learned.

    Parameters: ``start`` before any reading of the visit; ``meter`` read with; ``events`` oldest first.
    """
    if meter.quantity != "flow":
        return start
    first = [n for n, event in enumerate(events) if not isinstance(event, SEEN)][:TELLING]
    return _likeliest(start, meter, tuple(events[: first[-1]])) if first else start


@lru_cache(maxsize=512)
def _likeliest(start: Posterior, meter: Meter, events: tuple[Event, ...]) -> Posterior:
    starts = {drawing_at(start, ratio): math.log(often) for ratio, often in DEPTHS.items()}
    return max(starts, key=lambda one: followed(one, meter, events).log_evidence + starts[one])


@lru_cache(maxsize=256)
def drawing_at(start: Posterior, ratio: float, log_speed: float = 0.0) -> Posterior:
    """A start for an engine that idles evenly with that runner over ambient pressure; the same object for the same one.

    Parameters: ``start`` before any reading; ``ratio``, 0.1 to 1; ``log_speed``, ln(speed / wanted) that it idles at.
    """
    if ratio == IDLE_RATIO and log_speed == 0.0:
        return start
    engine = drawing(start.engine, ratio, log_speed)
    n, usual = start.bores, prior_for(start.layout, start.hardware, engine)
    usual = demand_known(usual, float(start.covariance[-1, -1]))
    mean, cov = start.mean.copy(), start.covariance.copy()
    mean[:n], cov[:n, :n] = usual.mean[:n], usual.covariance[:n, :n]
    cov[:n, -1] = cov[-1, :n] = usual.covariance[:n, -1]
    return replace(start, engine=engine, mean=mean, covariance=cov)


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
