"""Creep: a slip too small to see at one visit that goes the same way at every visit.

Each visit gives every adjuster a score, how strongly that visit's changes point at it alone; a cumulative sum per
adjuster then collects what keeps its sign. Charting single bores instead finds half as much: a stop screw or an inner
coupler shows in several bores, each of them alone within the noise.
"""

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from app.sync.engine.adjusters.registry import moved_bores
from app.sync.engine.events import Meter
from app.sync.engine.layout import Adjuster, Layout, StopScrew
from app.sync.slips.changes import Pooled, log_changes, no_slip_covariance

# One engine in ten gives any false alarm within ten visits at this limit, in simulation, when it is evened at every
# visit. Left alone it would need 3.6, since the same readings then serve as found once and as left the next time.
SLACK, LIMIT = 0.25, 6.3  # our judgement


@dataclass(frozen=True, slots=True)
class CusumChart:
    """Cumulative sums upward and downward after each visit, and the first visit (from 0) beyond the limit, if any."""

    high: tuple[float, ...]
    low: tuple[float, ...]
    signal: int | None


@dataclass(frozen=True, slots=True)
class Creep:
    """The adjuster that creeps: opening or closing, seen from the visit (from 0) since which it goes one way."""

    adjuster: Adjuster
    opening: bool
    since: int


def cusum(values: Sequence[float], slack: float = SLACK, limit: float = LIMIT) -> CusumChart:
    """Two-sided cumulative sum: ``high = max(0, high + value - slack)``, ``low = max(0, low - value - slack)``.

    Parameters: ``values`` less their target, oldest first; ``slack`` and ``limit`` in the units of the values, for
    scores in standard deviations.

    Source: NIST/SEMATECH e-Handbook of Statistical Methods, 6.3.2.3.

    >>> cusum([1.0, 1.0, 1.0], slack=0.5, limit=1.2)
    CusumChart(high=(0.5, 1.0, 1.5), low=(0.0, 0.0, 0.0), signal=2)
    """
    high, low, signal = [0.0], [0.0], None
    for at, value in enumerate(values):
        high.append(max(0.0, high[-1] + value - slack))
        low.append(max(0.0, low[-1] - value - slack))
        if signal is None and max(high[-1], low[-1]) > limit:
            signal = at
    return CusumChart(tuple(high[1:]), tuple(low[1:]), signal)


def scores(
    layout: Layout,
    left: Mapping[int, Pooled],
    found: Mapping[int, Pooled],
    meter: Meter,
    same_meter: bool,
    heat_soaked: bool = True,
    expected_common: float | None = 0.0,
    left_meter: Meter | None = None,
    sharing: float | None = None,
) -> Mapping[Adjuster, float]:
    """How strongly a visit's changes point at each stop screw, coupler and bypass screw alone, in standard deviations.

    ``h' V^-1 r / sqrt(h' V^-1 h)`` with r the changes, h the bores an adjuster moves and V the noise of a quiet visit.
    Positive when it opened. Adjusters without a bore read both times are left out.

    Parameters: ``layout``, ``left``, ``found``, ``meter``, ``same_meter``, ``heat_soaked``, ``expected_common``,
    ``left_meter`` and ``sharing`` as for ``slip_detection.slipped``; ``left`` from the visit before, ``found``
    from this one.

    Source: the most powerful test of one direction in Gaussian noise.
    """
    bores, changes, variances = log_changes(layout, left, found, meter, heat_soaked, left_meter, sharing)
    if not bores:
        return {}
    precision = np.linalg.inv(no_slip_covariance(variances, same_meter and expected_common is not None))
    stops: list[Adjuster] = [StopScrew(bank.name) for bank in layout.banks]
    found_scores: dict[Adjuster, float] = {}
    for adjuster in (*stops, *layout.couplers(), *layout.bypass_screws):
        moved = np.array([float(bore in moved_bores(layout, adjuster)) for bore in bores])
        if moved.any():
            pull = float(moved @ precision @ (changes - (expected_common or 0.0)))
            found_scores[adjuster] = pull / math.sqrt(float(moved @ precision @ moved))
    return found_scores


def creeping(visits: Sequence[Mapping[Adjuster, float]], slack: float = SLACK, limit: float = LIMIT) -> Creep | None:
    """The adjuster whose chart stands highest after the last visit, when it stands beyond the limit.

    Parameters: ``visits`` scores of each visit, oldest first; ``slack`` and ``limit`` in standard deviations. The limit
    holds for an engine that was evened at every visit.

    Source: best of the charts tried on a simulated engine.

    >>> from app.sync.engine.layout import Coupler
    >>> creeping([{Coupler(2, 3): 2.0, Coupler(3, 4): 0.5}] * 4)
    Creep(adjuster=Coupler(near=2, far=3), opening=True, since=0)
    """
    worst, highest = None, limit
    for adjuster in dict.fromkeys(adjuster for visit in visits for adjuster in visit):
        chart = cusum([visit.get(adjuster, 0.0) for visit in visits], slack, limit)
        opening = chart.high[-1] >= chart.low[-1]
        side = chart.high if opening else chart.low
        if side[-1] > highest:
            quiet = [at for at, height in enumerate(side) if height == 0.0]
            worst, highest = Creep(adjuster, opening, quiet[-1] + 1 if quiet else 0), side[-1]
    return worst
