"""The lines of a drift chart as paths, 176 by 164: per cent of the average upward, real dates across.

24 % fits each way; what lies further is a triangle at the edge.
"""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from itertools import pairwise

from app.wording.quantities import signed

WIDE, MIDDLE, HALF = 176.0, 70.0, 60.0
EDGE = 0.24
"""The largest deviation that is drawn to scale, a fraction of the average."""

MARKS = (0.16, 0.0, -0.16)
"""Where the axis has figures."""

MARGIN, AXIS = 10.0, 42.0
"""Room left of the first visit and right of the last, and left of it where the axis has its figures."""

SIZE, NARROW = 5.0, 2.5
"""Half the width of a mark, and the least one where visits stand close."""

NEAREST = 6.0
"""How close two visits are drawn at the least: the same day is no room."""

LABEL = 58.0
"""How wide a month and its year are."""


@dataclass(frozen=True, slots=True)
class Point:
    """One visit in a chart: ``at`` [s], and as found and as left as fractions of the average, open positive; letters
    of what changed; ``day`` is the label of its date."""

    visit: int
    found: float | None
    left: float | None
    marks: str = ""
    day: str = ""
    at: float = 0.0


@dataclass(frozen=True, slots=True)
class Trace:
    """Paths of a chart: hollow squares as found, solid discs as left, triangles ``beyond`` the edge, lines in use and
    where it was adjusted, the ``average`` across, uprights where something else changed with their letters; ``dates``
    stand below, and ``axis`` at the left with figures in per cent, empty where another chart of the row has it."""

    found: str
    left: str
    beyond: str
    use: str
    adjusted: str
    changed: tuple[tuple[float, str], ...]
    dates: tuple[tuple[float, str], ...]
    axis: tuple[tuple[float, str], ...]
    band: str
    window: str
    average: str


def trace(points: Sequence[Point], window: float, band: float, axis: bool = False) -> Trace:
    """The paths of a chart's points, oldest first; ``window`` is the tolerance and ``band`` what the meter repeats
    within, fractions of the average.

    >>> trace([Point(1, 0.16, 0.0)], 0.08, 0.02).adjusted
    'M88 30V70'
    """
    first = AXIS if axis else MARGIN
    at, start = _across(points, first), first - MARGIN
    room = min([later - earlier for earlier, later in pairwise(at)], default=WIDE)
    half = min(SIZE, max(NARROW, room / 2 - 1))
    use, adjusted = [], []
    seen: tuple[float, float] | None = None
    for x, point in zip(at, points, strict=True):
        if point.found is not None:
            if seen is not None:
                use.append(f"M{seen[0]:.4g} {seen[1]:.4g}L{x:.4g} {_height(point.found)}")
            if point.left is not None:
                adjusted.append(f"M{x:.4g} {_height(point.found)}V{_height(point.left)}")
        ends = point.found if point.left is None else point.left
        if ends is not None:
            seen = (x, float(_height(ends)))
    found = [(x, p.found) for x, p in zip(at, points, strict=True) if p.found is not None]
    left = [(x, p.left) for x, p in zip(at, points, strict=True) if p.left is not None]
    return Trace(
        found="".join(_square(x, value, half) for x, value in found if abs(value) <= EDGE),
        left="".join(_disc(x, value, half) for x, value in left if abs(value) <= EDGE),
        beyond="".join(_triangle(x, value, half) for x, value in (*found, *left) if abs(value) > EDGE),
        use="".join(use),
        adjusted="".join(adjusted),
        changed=tuple((round(x - half - 3, 1), p.marks) for x, p in zip(at, points, strict=True) if p.marks),
        dates=tuple(_dates(points, at)),
        axis=tuple((float(_height(mark)), signed(100 * mark, 0)) for mark in MARKS) if axis else (),
        band=f"M{start:g} {_height(band)}H{WIDE:g}V{_height(-band)}H{start:g}z" if band else "",
        window="".join(f"M{start:g} {_height(edge)}H{WIDE:g}" for edge in (window, -window)),
        average=f"M{start:g} {MIDDLE:g}H{WIDE:g}",
    )


def _across(points: Sequence[Point], first: float) -> list[float]:
    """Where each visit stands by its date; those of one day side by side."""
    last = WIDE - MARGIN
    if not points:
        return []
    span = points[-1].at - points[0].at
    if len(points) == 1:
        return [WIDE / 2]
    step = min(NEAREST, (last - first) / (len(points) - 1))
    free = last - first - step * (len(points) - 1)
    return [
        first + step * n + (free * (p.at - points[0].at) / span if span > 0 else free * n / (len(points) - 1))
        for n, p in enumerate(points)
    ]


def _height(share: float) -> str:
    return f"{MIDDLE - HALF * min(1.0, max(-1.0, share / EDGE)):.4g}"


def _square(x: float, share: float, half: float) -> str:
    y = float(_height(share))
    return f"M{x - half:.4g} {y - half:.4g}h{2 * half:.4g}v{2 * half:.4g}h-{2 * half:.4g}z"


def _disc(x: float, share: float, r: float) -> str:
    y = float(_height(share))
    return f"M{x - r:.4g} {y:.4g}a{r:.4g} {r:.4g} 0 1 0 {2 * r:.4g} 0a{r:.4g} {r:.4g} 0 1 0 -{2 * r:.4g} 0z"


def _triangle(x: float, share: float, half: float) -> str:
    """Its point away from the middle."""
    y, tip = float(_height(share)), -half if share > 0 else half
    return f"M{x - half:.4g} {y - tip:.4g}h{2 * half:.4g}L{x:.4g} {y + tip:.4g}z"


def _dates(points: Sequence[Point], at: Sequence[float]) -> Iterable[tuple[float, str]]:
    """The dates of the first visit and the last, and of those between that have room; a label lies within the chart."""
    places = [min(max(x, LABEL / 2), WIDE - LABEL / 2) for x in at]
    taken = -LABEL
    for n, (x, point) in enumerate(zip(places, points, strict=True)):
        newest = n == len(points) - 1
        if x - taken >= LABEL and (newest or places[-1] - x >= LABEL):
            taken = x
            yield x, point.day
