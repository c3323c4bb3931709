"""How deep an engine draws that is read by a flow meter, learned from what the moves of a visit did.

A column shows it (``column_start``); a flow meter shows the air alone, and how much of that one more gap lets in is
another matter at 15 kPa than at 40. Each depth thought possible is weighed by how likely what was read is under it.
"""

import math
from collections.abc import Sequence
from dataclasses import replace
from functools import lru_cache

from app.sync.engine.engine_air import IDLE_RATIO, drawing
from app.sync.engine.events import Event, IdleSpeed, Meter, Reading
from app.sync.estimation.filter import followed
from app.sync.estimation.posterior import Posterior, prior_for
from app.sync.estimation.prior_transfer import demand_known

DEPTHS = {IDLE_RATIO - 0.09: 0.2, IDLE_RATIO: 0.35, IDLE_RATIO + 0.09: 0.3, IDLE_RATIO + 0.18: 0.15}
"""Runner over ambient pressure at idle, from one end of the published band to the other, and how often an engine draws
so (our judgement)."""


def depth_learned(start: Posterior, meter: Meter, events: Sequence[Event]) -> Posterior:
    """The start for an engine that draws as deep as its answers to all moves but the last one say.

    The same object comes back for columns, and before anything was learned.

    Parameters: ``start`` before any reading of the visit; ``meter`` read with; ``events`` oldest first.
    """
    if meter.quantity != "flow":
        return start
    last = next((n for n in reversed(range(len(events))) if not isinstance(events[n], Reading | IdleSpeed)), 0)
    return _likeliest(start, meter, tuple(events[:last]))


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
