"""Found and left on paper: the air through each cylinder against the average, as a chart and in two rows of figures."""

import math
from dataclasses import dataclass

from app.sync.engine.layout import Layout
from app.sync.estimation.evenness import RoundResult
from app.web.presenters.drawing import by_bore
from app.wording.quantities import percent, signed

REACH = 0.24
"""What the chart shows above and below the average at least; a bore beyond stays at its edge as a triangle."""
STEP = 0.08


@dataclass(frozen=True, slots=True)
class ChartPoint:
    """One bore of one round: its figure in per cent, a dash where none was read, and where it is drawn, ``y`` in per
    cent from the top. ``beyond``: it is further up (1) or down (-1) than the chart reaches."""

    figure: str
    y: str
    beyond: int


@dataclass(frozen=True, slots=True)
class ChartCylinder:
    """A cylinder: ``x`` of its middle in per cent from the left."""

    bore: int
    x: str
    found: ChartPoint | None
    left: ChartPoint | None


@dataclass(frozen=True, slots=True)
class GridLine:
    """A line across; ``heavy`` where it is a limit of what is allowed."""

    y: str
    label: str
    heavy: bool


@dataclass(frozen=True, slots=True)
class Chart:
    """The chart: ``top`` and ``deep`` of the allowed band in per cent, ``between`` where one bank ends."""

    columns: tuple[ChartCylinder, ...]
    lines: tuple[GridLine, ...]
    top: str
    deep: str
    between: str
    allowed: str
    found: bool
    left: bool


def chart_of(layout: Layout, found: RoundResult | None, left: RoundResult | None) -> Chart | None:
    """The chart of an engine of two bores or more; None where none was read."""
    known = left or found
    if known is None or len(layout.bores) < 2:
        return None
    reach = max(REACH, math.ceil(known.window / STEP + 1) * STEP)
    bores = [bore for bank in layout.banks for bore in bank.bores]
    columns = tuple(
        ChartCylinder(bore, _percent((at + 0.5) / len(bores)), _point(found, bore, reach), _point(left, bore, reach))
        for at, bore in enumerate(bores)
    )
    first = len(layout.banks[0].bores)
    return Chart(
        columns=columns,
        lines=_lines(known.window, reach),
        top=_percent(_down(known.window, reach)),
        deep=_percent(known.window / reach),
        between=_percent(first / len(bores)) if first < len(bores) else "",
        allowed=percent(known.window),
        found=found is not None,
        left=left is not None,
    )


def _point(judged: RoundResult | None, bore: int, reach: float) -> ChartPoint | None:
    if judged is None:
        return None
    standing = by_bore(judged).get(bore)
    if standing is None:
        return ChartPoint("–", "", 0)
    share = standing.share
    beyond = 0 if abs(share) <= reach else int(math.copysign(1, share))
    return ChartPoint(signed(100 * share, 0), _percent(_down(max(-reach, min(share, reach)), reach)), beyond)


def _lines(window: float, reach: float) -> tuple[GridLine, ...]:
    """The limits, the average, and every eight per cent that is not too near to one of these."""
    steps = [STEP * step for step in range(1, round(reach / STEP) + 1)]
    plain = [step for step in steps if abs(step - window) > STEP / 2]
    heights = sorted({0.0, window, -window, *plain, *(-step for step in plain)}, reverse=True)
    return tuple(
        GridLine(_percent(_down(height, reach)), f"{signed(100 * height, 0)}\u00a0%", abs(height) == window)
        for height in heights
    )


def _down(share: float, reach: float) -> float:
    return (1 - share / reach) / 2


def _percent(fraction: float) -> str:
    return f"{100 * fraction:.2f}%"
