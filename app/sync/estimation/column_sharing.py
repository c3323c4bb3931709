"""How much of a runner's pressure all runners share, learned from what columns do after moves.

The more is shared, the less a column shows of what its own plate lets in: with 0.6 half of what it shows with none. A
flow meter shows the air itself, whatever is shared, and nothing is learned by it.
"""

import math
from collections.abc import Sequence
from dataclasses import replace
from functools import lru_cache

import numpy as np

from app.sync.engine.engine_air import PLENUM_SHARING, SHARING
from app.sync.engine.events import Event, Meter
from app.sync.estimation.filter import followed
from app.sync.estimation.posterior import Posterior

PASSED = tuple(SHARING + off for off in (-0.3, -0.15, 0.0, 0.15, 0.3))
"""What is thought possible without a plenum, all alike (our judgement)."""

PASSED_BY_PLENUM = tuple(PLENUM_SHARING + off for off in (-0.1, 0.0, 0.1))
"""The same with one (our judgement)."""

STEPS = 20
"""Steps into which sharing is rounded, so that what was worked out for one is found again (our judgement)."""


def sharing_learned(start: Posterior, meter: Meter, events: Sequence[Event]) -> Posterior:
    """The start for an engine whose runners share as much as its columns say; the same object for a flow meter.

    Each part that may be shared is weighed by how likely what was read is under it.

    Parameters: ``start`` before any reading of the visit; ``meter`` read with; ``events`` oldest first.
    """
    if meter.quantity == "flow":
        return start
    possible = PASSED_BY_PLENUM if start.layout.plenum else PASSED
    told = np.array([followed(sharing(start, one), meter, tuple(events)).log_evidence for one in possible])
    weights = np.exp(told - told.max())
    weights /= weights.sum()
    part = float(weights @ possible)
    apart = possible[1] - possible[0]  # what lies between two of them is not told
    sd = math.sqrt(float(weights @ (np.array(possible) - part) ** 2) + apart**2 / 12)
    return sharing(start, round(part * STEPS) / STEPS, round(sd * STEPS) / STEPS)


@lru_cache(maxsize=64)
def sharing(start: Posterior, part: float, sd: float = 0.0) -> Posterior:
    """A start for an engine whose runners share that ``part`` of their pressure; the same object for the same one.

    Parameters: ``start`` before; ``part``, 0 to below 1; ``sd``, its standard deviation.
    """
    return replace(start, engine=replace(start.engine, sharing=part, sharing_sd=sd))
