"""The small engine on its stand, and the time there."""

import math
import random
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta

from app.shop.demo.engine_model import GAP, NOISE, STEP, DemoEngineModel
from app.sync.engine.layout import Bank, Layout
from app.sync.engine.units import THOU

V8 = Layout((Bank("A", (1, 2, 3, 4), 1, 1), Bank("B", (5, 6, 7, 8), 5, 5)), sensor=8)
FOUR = Layout((Bank("A", (1, 2, 3, 4), 1, 1),))

FLAT = 4.4
"""What one flat of a link does, in thousandths of an inch under the central lever: a rod of 0.8 mm pitch on a lever of
30 mm beside one of an inch."""

RISE = 0.016
"""Rise of the logarithm of a bore's flow with each of them, beyond the free play: the usual engine of the estimate."""

PLAY = 3.0
"""Free play of the links, in the same thousandths."""


@dataclass
class Clock:
    """The time at the bench, which goes on a little whenever it is asked for: more often over a database server."""

    now: datetime = datetime(2026, 11, 25, 10, tzinfo=UTC)

    def __call__(self) -> datetime:
        self.now += timedelta(seconds=12)
        return self.now

    def wait(self, minutes: float) -> None:
        """Let time pass."""
        self.now += timedelta(minutes=minutes)


@dataclass
class Engine(DemoEngineModel):
    """The engine of the demonstration, with links that can be turned."""

    def read(self, bore: int, opening: float) -> float:
        """What the meter shows at a bore, the central lever on a blade of that thickness [m]."""
        late = self.link_late if bore in self.layout.banks[-1].bores else 0.0
        lifted = max(0.0, opening / THOU - PLAY - late)
        true: float = self.flow * (self.gaps[bore] / GAP) ** 0.85 * math.exp(RISE * lifted)
        return STEP * round(true * self.rng.gauss(1, NOISE) / STEP)

    def turn_link(self, bank: str, flats: float) -> None:
        """Turn the link of a bank; positive makes it open earlier."""
        self.link_late -= flats * FLAT if bank == self.layout.banks[1].name else -flats * FLAT


def engine(layout: Layout = V8, seed: int = 1, link_late: float = 0.0) -> Engine:
    """An engine on the stand."""
    return Engine(layout, random.Random(seed), link_late=link_late)
