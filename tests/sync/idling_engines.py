"""Engines that only idle and are read: flows drawn at random, an idle that drifts and wanders, a meter that rounds.

Nothing of the program's own models is in here. Flows are in kg/h as a meter shows them.
"""

import math
import random
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass, field
from statistics import fmean

from app.sync.engine.events import Meter, Reading
from app.sync.estimation.shares import LogReading, SharePosterior, pooled
from app.sync.readings.observation import log_air

TOLERANCE = 0.08
METERS = {0.008: 0.1, 0.02: 0.25, 0.04: 0.25}
"""Step [kg/h] by repeatability."""

SECONDS_A_READING = 18.0


def log_reading(reading: Reading, meter: Meter) -> LogReading:
    """A reading of a flow meter as the pooled shares take it. Raises ValueError for one that has no ln(air)."""
    if meter.quantity != "flow" or max(reading.value, meter.step) <= 0:
        raise ValueError("Only a flow above 0 has a logarithm that is ln(air).")
    log_flow, sd = log_air(reading.value, meter)
    return LogReading(reading.bore, log_flow, sd**2, reading.at)


def near(rng: random.Random, bores: int) -> list[float]:
    """Plates set roughly: 2 to 6 % spread, Gaussian."""
    spread = rng.uniform(0.02, 0.06)
    return [1 + spread * rng.gauss(0, 1) for _ in range(bores)]


def done(rng: random.Random, bores: int) -> list[float]:
    """Plates worked on until none seemed far: even chances up to 4.5 to 8.5 % either way, seldom beyond 8."""
    reach = rng.uniform(0.045, 0.085)
    return [1 + rng.uniform(-reach, reach) for _ in range(bores)]


def single(rng: random.Random, bores: int) -> list[float]:
    """All plates alike but one, which is up to 15 % off."""
    flows = [1 + 0.01 * rng.gauss(0, 1) for _ in range(bores)]
    flows[rng.randrange(bores)] += rng.choice((-1, 1)) * rng.uniform(0.03, 0.15)
    return flows


@dataclass
class IdlingEngine:
    """An engine at idle. ``flows`` by bore about 1; ``level`` [kg/h]; ``wander``, ``drift`` a minute as fractions."""

    rng: random.Random
    flows: Sequence[float]
    meter: Meter
    level: float
    drift: float
    wander: float
    at: float = 0.0
    off: float = 0.0
    readings: list[Reading] = field(default_factory=list)

    @property
    def shares(self) -> list[float]:
        """True deviations from the mean, as fractions."""
        mean = fmean(self.flows)
        return [flow / mean - 1 for flow in self.flows]

    @property
    def inside(self) -> bool:
        """Whether all bores are within the tolerance."""
        return all(abs(share) <= TOLERANCE for share in self.shares)

    def read(self, bore: int, closing: bool = False) -> None:
        """Read a bore, numbered from 1."""
        keeps = math.exp(-SECONDS_A_READING / 180)
        self.off = keeps * self.off + self.wander * math.sqrt(1 - keeps**2) * self.rng.gauss(0, 1)
        air = self.level * self.flows[bore - 1] * (1 + self.drift * self.at / 60) * (1 + self.off)
        shown = air * (1 + self.meter.repeatability * self.rng.gauss(0, 1))
        step = self.meter.step * 3600
        self.readings.append(Reading(bore, round(shown / step) * step / 3600, self.at, closing))
        self.at += SECONDS_A_READING

    def round(self) -> None:
        """Every bore once, and the first again."""
        for bore in range(1, len(self.flows) + 1):
            self.read(bore)
        self.read(1, closing=True)
        self.at += 30.0

    def logs(self) -> list[LogReading]:
        """All that was read, as the pooled shares take it."""
        return [log_reading(reading, self.meter) for reading in self.readings]

    def posterior(self) -> SharePosterior:
        """What is known of the shares."""
        return pooled(range(1, len(self.flows) + 1), self.logs(), TOLERANCE)


def engines(
    count: int,
    kind: Callable[[random.Random, int], list[float]],
    repeatability: float,
    *,
    bores: int = 8,
    wander: float = 0.0,
    step: float | None = None,
    seed: int = 0,
) -> Iterator[IdlingEngine]:
    """Seeded engines of a kind with a meter of a repeatability; its ``step`` [kg/h] is the usual one unless given."""
    for n in range(count):
        rng = random.Random(f"{seed} {kind.__name__} {repeatability} {bores} {wander} {n}")
        meter = Meter("flow", (METERS[repeatability] if step is None else step) / 3600, repeatability)
        flows = kind(rng, bores)
        yield IdlingEngine(rng, flows, meter, rng.uniform(5.0, 8.0), rng.gauss(0, 0.006), wander)
