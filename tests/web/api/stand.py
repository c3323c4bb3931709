"""The made-up engine of ``bench_engine`` as a bench program has it before itself: read, turned and waited for."""

from dataclasses import dataclass, field
from typing import Any

from app.shop.training.typical import TYPICAL
from app.sync.engine.layout import Coupler
from app.sync.engine.units import THOU
from tests.web.api.bench_engine import Clock, Engine


@dataclass
class MadeUpStand:
    """An engine with a meter, a tachometer and gauges."""

    engine: Engine
    clock: Clock
    shows: dict[str, float] = field(default_factory=dict)

    def read(self, bore: int, lever_thou: float) -> float:
        """What the meter shows."""
        return self.engine.read(bore, lever_thou * THOU)

    def speed(self, lever_thou: float) -> float:
        """What the tachometer shows [rpm]."""
        return self.engine.speed(lever_thou * THOU)

    def figure(self, item: str) -> float:
        """What is read for an item; after a blip of the lever, the meter at that bore."""
        blipped = item.removeprefix("snap-")
        return self.read(int(blipped), 0.0) if blipped != item else {**TYPICAL, **self.shows}[item]

    def make(self, step: dict[str, Any]) -> None:
        """Turn or reset what a step says."""
        match step["kind"]:
            case "stop":
                self.engine.turn_stop(step["bank"], step["turns"])
            case "link":
                self.engine.turn_link(step["bank"], step["flats"])
            case "blade":
                coupler = Coupler(step["coupler"]["near"], step["coupler"]["far"])
                self.engine.reset(coupler, sum(step["leaves_thou"]))

    def wait(self, minutes: float) -> None:
        """Let time pass."""
        self.clock.wait(minutes)
