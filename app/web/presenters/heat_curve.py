"""The heat soak as a curve: temperatures over the minutes since the first figure, and what the gate waits for."""

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Literal

from app.shop.procedure.heat import GATE, HeatSoak
from app.shop.procedure.parts import Metal, temperatures_of
from app.shop.procedure.running import state_of
from app.shop.record.entries import WaiverEntry
from app.shop.record.rounds import seconds
from app.shop.record.visit_record import VisitRecord
from app.sync.engine.units import MINUTE, ZERO_CELSIUS
from app.sync.readings.heat import What
from app.wording.reasons import in_words

WIDTH, HEIGHT, LEFT, BOTTOM = 600.0, 120.0, 40.0, 24.0
COLDEST, HOTTEST, HOTTEST_HEAD = 0.0, 120.0, 240.0
LEAST_SPAN = 20 * MINUTE
TICKS: Mapping[Metal, Mapping[str, tuple[int, ...]]] = {
    "coolant": {"°C": (20, 60, 100), "°F": (60, 130, 200)},
    "head": {"°C": (100, 200), "°F": (200, 400)},
}


@dataclass(frozen=True, slots=True)
class HeatTrace:
    """One temperature: its name, its points in the units of the drawing, and how high is hot enough."""

    name: Metal | Literal["oil"]
    points: tuple[tuple[float, float], ...]
    enough: float

    @property
    def path(self) -> str:
        """The points as an SVG polyline wants them."""
        return " ".join(f"{x:.1f},{y:.1f}" for x, y in self.points)


@dataclass(frozen=True, slots=True)
class HeatView:
    """The curve with its ticks, whether the gate is open, what it waits for, and by whom it was opened early.

    ``recorded`` is how many minutes of running the figures cover.
    """

    lines: tuple[HeatTrace, ...]
    minutes: tuple[tuple[float, int], ...]
    degrees: tuple[tuple[float, str], ...]
    unit: str
    metal: Metal
    open: bool
    waits: tuple[str, ...]
    early: WaiverEntry | None
    recorded: int
    height: float = HEIGHT


def heat_view(record: VisitRecord, heat: HeatSoak) -> HeatView:
    """The heat soak of a visit, to be drawn: of the run that counts, once it was read after the engine cooled."""
    cold, rule = state_of(record).cold, record.settings.heat
    this_run = [one for one in heat.points if cold is not None and one.at >= seconds(cold.at)]
    points = this_run or heat.points
    begin = points[0].at if points else 0.0
    span = max(LEAST_SPAN, points[-1].at - begin) if points else LEAST_SPAN
    metal, oil = temperatures_of(record.layout)
    hottest = HOTTEST if metal == "coolant" else HOTTEST_HEAD

    def traced(what: What) -> HeatTrace:
        series = [(_across(p.at - begin, span), _down(k, hottest)) for p in points if (k := p.of(what)) is not None]
        return HeatTrace(what, tuple(series), _down(rule.least(what), hottest))

    every = next(e for e in (5, 10, 20, 60, 240, 1440, 10080) if span / MINUTE / e <= 8 or e == 10080)
    waits = tuple(in_words(lack) for lack in heat.lacks)
    degrees = record.units.of("temperature")
    return HeatView(
        tuple(line for line in (traced(metal), traced(oil)) if line.points),
        tuple((_across(m * MINUTE, span), m) for m in range(0, int(span / MINUTE) + 1, every)),
        tuple((_down(degrees.kept(t) + ZERO_CELSIUS, hottest), f"{t}") for t in TICKS[metal][degrees.name]),
        degrees.name,
        metal,
        not waits,
        waits,
        next((o for o in reversed(record.overrides) if o.gate == GATE), None),
        round(heat.time / MINUTE) if len(points) > 1 else 0,
    )


def _across(after: float, span: float) -> float:
    return LEFT + (WIDTH - LEFT - 10) * after / span


def _down(kelvin: float, hottest: float) -> float:
    share = (min(max(kelvin - ZERO_CELSIUS, COLDEST), hottest) - COLDEST) / (hottest - COLDEST)
    return (HEIGHT - BOTTOM - 4) * (1 - share) + 4
