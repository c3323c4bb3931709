"""The plates of a simulated engine that runs rough: even by the meter, but for one whose coupler is dead."""

from collections.abc import Collection
from dataclasses import dataclass

import numpy as np

from app.sync.engine.layout import Layout
from app.sync.simulation.rough_engine import RoughEngine
from app.sync.simulation.simulator import SimulatedEngine


def rough_engine(layout: Layout, seed: int, grade: str) -> RoughEngine:
    """The rough engine of a layout.

    Parameters: ``layout`` of its bores; ``seed`` it is drawn from; ``grade`` of `rough_engine.GRADES`.
    """
    stops = tuple(layout.bores.index(bank.stop) for bank in layout.banks)
    return RoughEngine(len(layout.bores), seed, grade, stops)


@dataclass
class RoughStand(SimulatedEngine):
    """Plates that answer as any others, unless the cause is a dead coupler: then that of its bore stands off and no
    reset moves it."""

    def __post_init__(self) -> None:
        """Even every plate, and leave that of a dead coupler off."""
        super().__post_init__()
        cause, place, size = rough_engine(self.layout, self.seed, self.trouble).drawn
        self.dead = self.layout.bores[place] if cause == "coupler" else None
        if self.dead is not None:
            self._stand_off(place, size)
            self.worst_at_first = self.worst()

    def repair(self) -> None:
        """Make a dead coupler answer, with its plate set to the others."""
        if self.dead is not None:
            self._stand_off(self.place[self.dead], 0.0)
            self.dead = None

    def _stand_off(self, place: int, by: float) -> None:
        others = [at for at in range(len(self.place)) if at != place]
        for _ in range(20):
            flow, _ = self.solve()
            self.angle[place] -= 0.03 * np.log(flow[place] / (flow[others].mean() * (1 + by)))

    def _close_on(self, feeler: float, bore: int, moving: Collection[int], cold: bool = False) -> None:
        if bore != self.dead:
            super()._close_on(feeler, bore, tuple(moving), cold)
