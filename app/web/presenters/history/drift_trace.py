"""The lines of a drift chart as paths, 176 by 140: a window is 20 high, three fit each way, the rest at the edge."""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass

WIDE, MIDDLE, WINDOW, MOST = 176.0, 70.0, 20.0, 3.2
LARGEST, SMALLEST = 5.0, 2.0
FEW, SOME = 8, 14
"""Visits up to which each has its number and its whole year, and up to which a short year fits."""


@dataclass(frozen=True, slots=True)
class Point:
    """One visit in a chart: as found and as left in windows from the mean, wide positive; letters of what changed."""

    visit: int
    found: float | None
    left: float | None
    marks: str = ""
    year: str = ""


@dataclass(frozen=True, slots=True)
class Trace:
    """Paths of a chart: squares as found, circles as left, lines in use and where it was adjusted, uprights where
    something else changed with their letters; ``ticks`` stand below, a number and a year each, empty or not."""

    found: str
    left: str
    use: str
    adjusted: str
    changed: tuple[tuple[float, str], ...]
    ticks: tuple[tuple[str, str], ...]
    band: str


def trace(points: Sequence[Point], band: float) -> Trace:
    """The paths of a chart's points, oldest first; ``band`` is what the meter repeats within, in windows.

    >>> trace([Point(1, 2.0, 0.0)], 0.5).adjusted
    'M88 30V70'
    """
    step = WIDE / max(1, len(points))
    half = min(LARGEST, max(SMALLEST, step / 2 - 1))
    at = [step * (n + 0.5) for n in range(len(points))]
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
    found = ((x, p.found) for x, p in zip(at, points, strict=True) if p.found is not None)
    left = ((x, p.left) for x, p in zip(at, points, strict=True) if p.left is not None)
    return Trace(
        found="".join(_square(x, float(_height(value)), half) for x, value in found),
        left="".join(_circle(x, float(_height(value)), half) for x, value in left),
        use="".join(use),
        adjusted="".join(adjusted),
        changed=tuple((round(x - step / 2, 1), p.marks) for x, p in zip(at, points, strict=True) if p.marks),
        ticks=tuple(_ticks(points)),
        band=f"M0 {_height(band)}h{WIDE:g}V{_height(-band)}h-{WIDE:g}z" if band else "",
    )


def _height(windows: float) -> str:
    return f"{MIDDLE - WINDOW * min(MOST, max(-MOST, windows)):.4g}"


def _square(x: float, y: float, half: float) -> str:
    return f"M{x - half:.4g} {y - half:.4g}h{2 * half:.4g}v{2 * half:.4g}h-{2 * half:.4g}z"


def _circle(x: float, y: float, r: float) -> str:
    return f"M{x - r:.4g} {y:.4g}a{r:.4g} {r:.4g} 0 1 0 {2 * r:.4g} 0a{r:.4g} {r:.4g} 0 1 0 -{2 * r:.4g} 0z"


def _ticks(points: Sequence[Point]) -> Iterable[tuple[str, str]]:
    """Numbers of all visits while they fit, of the first and last one then; years where there is room."""
    for n, point in enumerate(points):
        number = str(point.visit) if len(points) < FEW or n in (0, len(points) - 1) else ""
        if len(points) < FEW:
            yield number, point.year
        else:
            room = len(points) < SOME or n == 0
            yield number, f"’{point.year[2:]}" if point.year and room else ""
