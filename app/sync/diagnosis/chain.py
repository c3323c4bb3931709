"""The one chain from a cause to what every test of its bore shows, so that its readings are not counted as strangers.

Air, fuel, spark and compression make the mixture; the mixture makes the chance of a miss; both make exhaust heat,
torque and oxygen. Air against pumping makes the vacuum.
"""

from collections.abc import Mapping
from functools import cache

import numpy as np

from app.sync.diagnosis.causes import BORE_CAUSES, EngineFault, bore_states
from app.sync.diagnosis.measurements import CATALOGUE, FindingKind
from app.sync.engine.engine_air import IDLE_RATIO, IDLE_RATIO_SD, vacuum_by_air
from app.sync.slips.changes import Floats

VACUUM_BY_AIR = vacuum_by_air(IDLE_RATIO - IDLE_RATIO_SD / 2)
"""Share of its vacuum that a runner loses for one share of air more, at an idle a little deeper than usual (our
judgement): a vacuum that is thought to answer more than it does hides small leaks."""
LEAN_LIMIT, LEAN_DEAD = 1.18, 1.42
"""Lambda from which an idling bore begins to miss, and at which it always does; our judgement."""
COMPRESSION_LIMIT, COMPRESSION_DEAD = 0.38, 0.60
"""Share of its compression lost from which a bore begins to miss, and at which it always does; our judgement."""
HEAT_BY_MIXTURE = 60.0
"""How much cooler the exhaust is at a fifth to either side of the correct mixture [°C], from memory."""
HEAT_OF_A_MISS = 380.0
"""How much cooler the pipe of a dead bore is [°C], our judgement."""
HEAT_BY_TIMING = -3.0
"""Exhaust heat for each degree of earlier spark [°C/°], from memory."""
OXYGEN_OF_A_MISS = 0.6
"""Lambda that the air of a bore that always misses adds at its pipe, our judgement."""
RICHEST, LEANEST = 0.55, 2.0
"""Lambda between which a probe tells one mixture from another, our judgement."""
FILLING_BY_VALVE = 0.25
"""Filling that a leaking valve costs for each share of compression, our judgement."""
STUCK_OPEN = 0.06
"""Share of air by which a plate that sticks stays open, our judgement."""

FALSE_ALARM = {"spray": 0.06, "smoke": 0.03, "swap": 0.05, "feel": 0.06, "resistance": 0.03, "leak_down": 0.04}
"""Chance that a sound bore shows the other word; our judgement."""
SEEN = {"swap": 0.88, "feel": 0.83, "resistance": 0.58, "leak_down": 0.90}
"""Chance that a bore with the fault shows it; our judgement."""
SPRAY_SEEN, SMOKE_SEEN = (0.50, 0.95), (0.68, 0.88)
"""Chance that the smallest and the largest leak is seen; our judgement."""
PLUG_NORMAL = 0.75
"""Share of sound bores with a plug that looks normal, our judgement."""
PLUG_TELLS = {"lean": 0.45, "rich": 0.62, "no_fuel": 0.35, "spark": 0.6, "rings": 0.55, "leak": 0.3}
"""Chance that the plug shows the look of that cause; common practice, no published source for the figures."""
PLUG_LOOK = {
    "lean": "white", "rich": "sooty", "no_fuel": "white", "spark": "wet", "rings": "oily", "leak": "white",
}  # fmt: skip


def _between(value: Floats, low: float, high: float) -> Floats:
    return np.clip((value - low) / (high - low), 0.0, 1.0)


@cache
def expected(evened: FindingKind = FindingKind.AIR) -> Mapping[FindingKind, Floats]:
    """What each figure is expected to be off by at a bore in each state, of shape (states,), in the form of its use.

    Parameters: ``evened`` is what the plates were evened by, air or vacuum: where a plate was set to balance
    the cause, that one is even, and the other shows it.
    """
    states = bore_states()
    size = states.size

    def sized(*causes: EngineFault) -> Floats:
        return size * states.of(*causes)

    compression = sized(EngineFault.RINGS, EngineFault.VALVE)
    left = sized(EngineFault.NONE, EngineFault.PLATE, EngineFault.COUPLER) + STUCK_OPEN * states.of(
        EngineFault.STICKING
    )
    leak, adapter = sized(EngineFault.LEAK), sized(EngineFault.METER)
    pumping = 1 - sized(EngineFault.LASH) - FILLING_BY_VALVE * sized(EngineFault.VALVE)
    by_column = evened is FindingKind.VACUUM
    plate = left + states.balanced * (pumping - 1 - leak + adapter / VACUUM_BY_AIR if by_column else adapter)
    metered = plate if by_column else plate - adapter
    air = 1 + plate + leak
    fuel = np.where(states.of(EngineFault.LEAN, EngineFault.RICH, EngineFault.NO_FUEL) > 0, size, 1.0)
    fuel = fuel * np.where(states.follows > 0, 1 + plate, 1.0)
    mixture = np.clip(air / np.maximum(fuel, 0.05), RICHEST, LEANEST)
    miss = 1 - (1 - _between(mixture, LEAN_LIMIT, LEAN_DEAD)) * (
        1 - _between(compression, COMPRESSION_LIMIT, COMPRESSION_DEAD)
    ) * (1 - sized(EngineFault.SPARK))
    off = HEAT_BY_MIXTURE * np.minimum(((mixture - 1) / 0.2) ** 2, 4.0)
    heat = -(1 - miss) * off - HEAT_OF_A_MISS * miss + HEAT_BY_TIMING * sized(EngineFault.TIMING)
    torque = (1 - miss) * np.minimum(air, fuel + 0.25) * (1 - 0.5 * compression)
    scatter = sized(EngineFault.SLACK, EngineFault.STICKING)
    vacuum = np.maximum(-VACUUM_BY_AIR * (air - pumping), -0.9)
    shown = vacuum + adapter if by_column else vacuum
    answered = -1.0 * states.of(EngineFault.COUPLER) - 0.5 * states.of(EngineFault.SLACK)
    return {
        FindingKind.AIR: np.log1p(metered),
        FindingKind.VACUUM: shown,
        FindingKind.HEAT: heat,
        FindingKind.DROP: torque - 1,
        FindingKind.MIXTURE: np.clip(mixture + OXYGEN_OF_A_MISS * miss * (fuel > 0.1), RICHEST, LEANEST) - 1,
        FindingKind.SNAP: scatter,
        FindingKind.TIMING: sized(EngineFault.TIMING),
        FindingKind.RECORD: vacuum,
        FindingKind.ADAPTER: sized(EngineFault.METER),
        FindingKind.RESET: answered,
        FindingKind.FLOW: np.where(
            states.of(EngineFault.LEAN, EngineFault.RICH, EngineFault.NO_FUEL) > 0, size - 1, 0.0
        ),
        FindingKind.COMPRESSION: -compression,
        FindingKind.LASH: states.of(EngineFault.LASH) * (0.05 + (size - 0.04) * 2),
    }


@cache
def worded() -> Mapping[FindingKind, Floats]:
    """The chance of each word at a bore in each state, of shape (states, words)."""
    states = bore_states()

    def table(measure: FindingKind, shown: Mapping[str, Floats]) -> Floats:
        words = CATALOGUE[measure].words
        wrong = FALSE_ALARM[measure.value] / (len(words) - 1)
        chances = np.full((len(states.size), len(words)), wrong)
        for word, chance in shown.items():
            rows = chance > 0
            chances[rows, words.index(word)] = chance[rows]
        chances[:, 0] = 0.0
        chances[:, 0] = 1 - chances.sum(axis=1)
        return chances

    grown = (states.size - 0.12) / 0.48
    leak = states.of(EngineFault.LEAK)
    spray = leak * (SPRAY_SEEN[0] + (SPRAY_SEEN[1] - SPRAY_SEEN[0]) * grown)
    smoke = leak * (SMOKE_SEEN[0] + (SMOKE_SEEN[1] - SMOKE_SEEN[0]) * grown)
    blows = {"crankcase": EngineFault.RINGS, "valve": EngineFault.VALVE}
    return {
        FindingKind.SPRAY: table(FindingKind.SPRAY, {"moved": spray}),
        FindingKind.SMOKE: table(FindingKind.SMOKE, {"seen": smoke}),
        FindingKind.SWAP: table(FindingKind.SWAP, {"moved": SEEN["swap"] * states.of(EngineFault.SPARK)}),
        FindingKind.FEEL: table(
            FindingKind.FEEL,
            {
                "slack": SEEN["feel"] * states.of(EngineFault.SLACK),
                "hangs": SEEN["feel"] * states.of(EngineFault.STICKING),
            },
        ),
        FindingKind.RESISTANCE: table(
            FindingKind.RESISTANCE, {"wrong": SEEN["resistance"] * states.of(EngineFault.NO_FUEL)}
        ),
        FindingKind.LEAK_DOWN: table(
            FindingKind.LEAK_DOWN,
            {word: SEEN["leak_down"] * states.of(cause) for word, cause in blows.items()},
        ),
        FindingKind.PLUG: _plugs(),
    }


def _plugs() -> Floats:
    states = bore_states()
    words = CATALOGUE[FindingKind.PLUG].words
    sound = np.array([PLUG_NORMAL] + [(1 - PLUG_NORMAL) / (len(words) - 1)] * (len(words) - 1))
    chances = np.tile(sound, (len(states.size), 1))
    for name, look in PLUG_LOOK.items():
        rows = states.cause == BORE_CAUSES.index(EngineFault(name))
        chances[rows] = sound * (1 - PLUG_TELLS[name])
        chances[rows, words.index(look)] += PLUG_TELLS[name]
    return chances
