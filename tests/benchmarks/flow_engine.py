"""Engines of another law than the program's, read with an air-flow meter, on which published figures are measured.

Plates, speed and hands are those of ``tests.sync.column_engines``, which shares no formula and no constant with the
program. What of it is unlike the program's belief is told row by row.
"""

import math
from collections.abc import Mapping
from dataclasses import dataclass, field

from app.sync.engine.events import BladeReset, Meter, Reading, StopTurn
from app.sync.engine.layout import Layout
from app.sync.engine.units import KG_PER_HOUR, KPA, LITER
from tests.sync.column_engines import WANTED, ColumnEngine, Truth

DEPRESSIONS = 12.0, 36.0
"""What the runners of an engine may draw at idle, from and to [kPa]."""

BIG = 0.7 * LITER
"""Size of a cylinder: its idle is some 6 kg/h."""

WANDER = ((0.008, 90.0), (0.015, 1200.0))
"""What the idle strays by in ln(flow), quickly and slowly: the standard deviation of each, and how long it is
remembered [s] (our judgement, no published source)."""


@dataclass(frozen=True, slots=True)
class TrueMeter:
    """How a meter reads, whatever the program is told: ``repeatability`` of one reading, ``exponent`` of the flow that
    it shows, ``misread`` how often a figure is read or typed wrong."""

    repeatability: float = 0.02
    step: float = 0.25 * KG_PER_HOUR
    exponent: float = 1.0
    misread: float = 0.0


@dataclass
class FlowEngine(ColumnEngine):
    """One engine drawn from ``seed``. ``slop`` is how far a plate rests beside its place, either way, by bore [rad];
    ``dead`` are the far bores of couplers that keep nothing of a reset."""

    true_meter: TrueMeter = TrueMeter()
    slop: Mapping[int, float] = field(default_factory=dict)
    dead: frozenset[int] = frozenset()
    readings: int = 0
    moves: int = 0

    def __post_init__(self) -> None:
        super().__post_init__()
        self.scale = math.exp(0.07 * self.rng.gauss(0, 1))
        self.astray = [sd * self.rng.gauss(0, 1) for sd, _ in WANDER]
        self.looked = 0.0
        self.usual = sum(self.flows.values()) / len(self.flows)

    def read(self, bore: int, closing: bool = False) -> None:
        """Read the meter to its step."""
        for at, (sd, memory) in enumerate(WANDER):
            kept = math.exp(-60 * (self.minutes - self.looked) / memory)
            self.astray[at] = kept * self.astray[at] + sd * math.sqrt(1 - kept**2) * self.rng.gauss(0, 1)
        self.looked = self.minutes
        self.minutes += 0.3
        self.readings += 1
        flow = self.flows[bore] * math.exp(sum(self.astray))
        if bore in self.slop:
            beside = self.angles[bore] + self.slop[bore] * self.rng.uniform(-1, 1)
            flow *= self.area(beside) / self.area(self.angles[bore])
        shown = self.scale * self.usual * (flow / self.usual) ** self.true_meter.exponent
        shown *= 1 + self.true_meter.repeatability * self.rng.gauss(0, 1)
        if self.rng.random() < self.true_meter.misread:
            shown *= self.rng.choice((0.7, 0.8, 1.25, 1.4))
        value = max(round(shown / self.true_meter.step), 0) * self.true_meter.step
        self.events.append(Reading(bore, value, 60 * self.minutes, closing))

    def make(self, move: StopTurn | BladeReset) -> None:
        """Move, and count it."""
        self.moves += 1
        super().make(move)

    def answers(self, move: BladeReset) -> float:
        """Nothing of a reset is kept by a dead coupler."""
        return 0.0 if move.far in self.dead else 1.0

    @property
    def shown(self) -> float:
        """What the meter showed last."""
        return next(event.value for event in reversed(self.events) if isinstance(event, Reading))

    @property
    def fast_by(self) -> float:
        """How far the idle is above the one wanted [rev/s]."""
        return self.speed - WANTED


def drawn(seed: int, layout: Layout, truth: Truth | None = None, meter: TrueMeter | None = None,
          slop: Mapping[int, float] | None = None, dead: frozenset[int] = frozenset()) -> FlowEngine:  # fmt: skip
    """One engine; its runners draw what the seed says.

    Parameters: ``seed`` of the engine; ``layout``; ``truth`` of plates and hands; ``meter`` as it reads; ``slop`` by
    bore [rad]; ``dead``, far bores of couplers that keep no reset.
    """
    least, most = DEPRESSIONS
    depression = (least + (most - least) * ((seed * 0.6180339887) % 1)) * KPA
    return FlowEngine(
        seed, depression, Meter(), 101.325 * KPA, layout, truth or Truth(), true_meter=meter or TrueMeter(),
        per_bore=BIG, slop=slop or {}, dead=dead,
    )  # fmt: skip
