"""How a visit came even: the largest difference of two bores round by round, with the adjustments between them marked.

Paths are 176 by 164, per cent of the average upward from nothing, the rounds at idle across in their order.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise

from app.shop.assessment.visit_summary import RoundSpread, VisitSummary
from app.wording import names
from app.wording.message import say
from app.wording.office import slips
from app.wording.quantities import percent

WIDE, FOOT, TALL = 176.0, 130.0, 110.0
EDGE = 0.48
"""The largest spread drawn to scale, a fraction of the average: two bores as far off as a drift chart reaches."""

MARKS = (0.32, 0.16, 0.0)
"""Where the axis has figures."""

FIRST, LAST = 52.0, 166.0
"""Where the first round stands, and the last."""

DOT = 5.0
"""Half the width of a mark."""

SHOWN = 4
"""Of the newest visits (our judgement: as many as the eye compares)."""


@dataclass(frozen=True, slots=True)
class SpreadChart:
    """One visit: its number, from what to what it came, what it says aloud, and its paths.

    ``rounds`` and ``moves`` are texts below the foot and above an upright: a round's number, how many adjustments.
    """

    label: str
    word: str
    name: str
    line: str
    found: str
    dots: str
    beyond: str
    adjusted: str
    rounds: tuple[tuple[float, str], ...]
    moves: tuple[tuple[float, str], ...]
    axis: tuple[tuple[float, str], ...]


def spread_charts(visits: Sequence[VisitSummary]) -> tuple[SpreadChart, ...]:
    """The charts of the newest visits with two rounds at idle or more, oldest first."""
    return tuple(_chart(visit) for visit in [one for one in visits if len(one.spreads) > 1][-SHOWN:])


def _chart(visit: VisitSummary) -> SpreadChart:
    spreads = visit.spreads
    step = (LAST - FIRST) / (len(spreads) - 1)
    places = [(FIRST + step * n, _height(one.share)) for n, one in enumerate(spreads)]
    moved = [
        ((x + before) / 2, one.moves)
        for ((before, _), (x, _)), one in zip(pairwise(places), spreads[1:], strict=True)
        if one.moves
    ]
    within = [place for place, one in zip(places[1:], spreads[1:], strict=True) if one.share <= EDGE]
    first, last = percent(spreads[0].share), percent(spreads[-1].share)
    (x, y), *_ = places
    return SpreadChart(
        label=names.month(visit.opened_at),
        word=say(slips.SPREAD_CAME, first=first, last=last),
        name=say(slips.CHART_OF_SPREAD, visit=visit.number, rounds=_aloud(spreads)),
        line="M" + "L".join(f"{x:.4g} {y:.4g}" for x, y in places),
        found=f"M{x - DOT:.4g} {y - DOT:.4g}h{2 * DOT:g}v{2 * DOT:g}h-{2 * DOT:g}z" if spreads[0].share <= EDGE else "",
        dots="".join(
            f"M{x - DOT:.4g} {y:.4g}a{DOT:g} {DOT:g} 0 1 0 {2 * DOT:g} 0a{DOT:g} {DOT:g} 0 1 0 -{2 * DOT:g} 0z"
            for x, y in within
        ),
        beyond="".join(
            f"M{x - DOT:.4g} {y + DOT:.4g}h{2 * DOT:g}L{x:.4g} {y - DOT:.4g}z"
            for (x, y), one in zip(places, spreads, strict=True)
            if one.share > EDGE
        ),
        adjusted="".join(f"M{x:.4g} 24V{FOOT:g}" for x, _ in moved),
        rounds=tuple((round(x, 1), str(one.number)) for (x, _), one in _with_room(places, spreads)),
        moves=tuple((round(x, 1), str(count)) for x, count in moved),
        axis=tuple((_height(mark), percent(mark)) for mark in MARKS),
    )


def _with_room(
    places: Sequence[tuple[float, float]], spreads: Sequence[RoundSpread]
) -> list[tuple[tuple[float, float], RoundSpread]]:
    """The rounds that get their number below: every one, or every so many where they stand close; always the last."""
    every = max(1, round(20.0 * (len(places) - 1) / (LAST - FIRST)))
    both = list(zip(places, spreads, strict=True))
    return [one for n, one in enumerate(both) if (len(both) - 1 - n) % every == 0]


def _aloud(spreads: Sequence[RoundSpread]) -> str:
    return "; ".join(
        say(slips.ROUND_SPREAD, number=one.number, spread=percent(one.share), count=one.moves) for one in spreads
    )


def _height(share: float) -> float:
    return round(FOOT - TALL * min(1.0, share / EDGE), 1)
