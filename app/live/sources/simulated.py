"""An instrument that is not there, to see the live page without one: pulses of the runners, an idle that wanders, and a
meter that scatters.

    [source.bench]
    kind = "simulated"
    speed = 850
    [source.bench.flows]
    b1 = 6.4
    b2 = 6.1
"""

import math
import random

from app.live.sources.source import Reader, Settings, SourceError, number_of
from app.sync.signals.averaging import cycle_of

RATE = 100.0
"""Values a second."""

LEFT = 0.3
"""What a hose leaves of a pulse (our judgement)."""

WANDER, MEMORY = 0.007, 3.0
"""How far the idle strays, and for how long it remembers that [s] (our judgement)."""

SCATTER = 0.02


def instrument(settings: Settings, reader: Reader) -> None:
    """Send the flows, and the speed as channel ``speed``, until it is to stop. Raises SourceError."""
    flows = settings.get("flows")
    if not isinstance(flows, dict) or not flows:
        raise SourceError("flows")
    rpm, chance = number_of(settings, "speed", 850.0), random.Random(int(number_of(settings, "seed", 1)))
    at, turned, strays = reader.now(), 0.0, 0.0
    while not reader.stopped.wait(1 / RATE):
        while at + 1 / RATE <= reader.now():  # an instrument of its own keeps time where this computer is busy
            at += 1 / RATE
            strays += (-strays / MEMORY + WANDER * math.sqrt(2 / MEMORY) * chance.gauss(0, 1) * math.sqrt(RATE)) / RATE
            turned += 1 / RATE / cycle_of(rpm * (1 + strays) / 60)
            values = {"speed": rpm * (1 + strays)}
            for place, (name, flow) in enumerate(flows.items()):
                draws = 1 + LEFT * (_pulse(turned + place / len(flows)) - 1)
                values[str(name)] = float(flow) * (1 + strays) * draws * (1 + SCATTER * chance.gauss(0, 1))
            reader.take(values, ",".join(f"{name}={value:.3f}" for name, value in values.items()), at)


def _pulse(cycles: float) -> float:
    """What a cylinder draws that draws for a third of its cycle, a half sine of mean 1."""
    at = cycles % 1.0
    return math.pi / 2 * 3 * math.sin(3 * math.pi * at) if at < 1 / 3 else 0.0
