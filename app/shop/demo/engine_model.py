"""The engines of the demonstration: a small model that answers with readings.

Flow grows with the gap, less than in proportion; a stop screw moves a bank, a coupler what hangs on it.
"""

import random
from dataclasses import dataclass, field

from app.sync.engine.layout import Coupler, Layout
from app.sync.engine.units import THOU

STEP = 0.25
NOISE = 0.012
HAND = 0.25
GAP, FLOW = 4.5, 6.5
TURN = 4.2
IDLE = 850


@dataclass
class DemoEngineModel:
    """One engine on the stand: its true gaps in thousandths of an inch, and the meter that reads them."""

    layout: Layout
    rng: random.Random
    flow: float = FLOW
    link_late: float = 0.0
    gaps: dict[int, float] = field(default_factory=dict)

    def __post_init__(self) -> None:
        for bank in self.layout.banks:
            common = self.rng.gauss(0, 0.5)
            self.gaps[bank.stop] = GAP + common + self.rng.gauss(0, 0.3)
            for coupler in bank.couplers():
                self.gaps[coupler.far] = max(1.5, self.gaps[coupler.near] + self.rng.gauss(0, 0.5))

    def read(self, bore: int, opening: float) -> float:
        """What the meter shows at a bore."""
        gap = self.gaps[bore]
        if opening:
            late = self.link_late if len(self.layout.banks) > 1 and bore in self.layout.banks[1].bores else 0.0
            gap += max(0.0, opening / THOU - 3 - late) * 0.55
        true: float = self.flow * (gap / GAP) ** 0.85
        return STEP * round(true * self.rng.gauss(1, NOISE) / STEP)

    def speed(self, opening: float) -> float:
        """What the tachometer shows with a feeler of that thickness [m] under the lever [rpm]."""
        return float(round(IDLE * (1 + max(0.0, opening / THOU - 3) * 0.02) * self.rng.gauss(1, 0.005)))

    def turn_stop(self, name: str, turns: float) -> None:
        """Turn a bank's stop screw."""
        for bore in self.layout.bank(name).bores:
            self.gaps[bore] = max(1.0, self.gaps[bore] + turns * TURN)

    def reset(self, coupler: Coupler, thou: float) -> None:
        """Reset a coupler with its far plate on a feeler."""
        shift = thou + self.rng.gauss(0, HAND) - self.gaps[coupler.far]
        for bore in self.layout.bank_of(coupler.far).beyond(coupler):
            self.gaps[bore] = max(1.0, self.gaps[bore] + shift)

    def slip(self, coupler: Coupler, thou: float) -> None:
        """Let a coupler slip in use."""
        for bore in self.layout.bank_of(coupler.far).beyond(coupler):
            self.gaps[bore] = max(1.0, self.gaps[bore] + thou)
