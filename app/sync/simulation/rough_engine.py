"""A simulated engine whose plates are even by the meter and that runs rough for another cause, to train on.

What every test of it shows follows from the seed and from how often the test was made. Nothing here is used by the
diagnosis, and none of its curves are shared; how large each effect is is our own judgement.
"""

import math
from collections.abc import Collection, Mapping
from dataclasses import dataclass
from typing import Literal

import numpy as np

from app.sync.diagnosis.measurements import CATALOGUE, Extent, FindingKind, Use

RoughCause = Literal["leak", "lean", "rings", "sticking", "coupler", "slack"]

GRADES: Mapping[str, Mapping[RoughCause, tuple[float, float]]] = {
    "rough-easy": {"leak": (0.45, 0.6), "lean": (0.38, 0.45), "coupler": (0.25, 0.35)},
    "rough-fair": {
        "leak": (0.28, 0.4),
        "lean": (0.28, 0.34),
        "rings": (0.35, 0.5),
        "slack": (1.5, 2.0),
        "sticking": (1.5, 2.0),
    },
    "rough-hard": {
        "leak": (0.14, 0.22),
        "lean": (0.2, 0.25),
        "rings": (0.2, 0.28),
        "coupler": (0.11, 0.15),
        "sticking": (0.9, 1.2),
        "slack": (0.9, 1.2),
    },
}
"""By grade, the causes there are and how large: air beside a plate's own, fuel missing, compression lost, a plate's air
off, or scatter of the returns as a natural logarithm; our judgement."""

MEASURED: Mapping[FindingKind, tuple[float, float]] = {
    FindingKind.AIR: (6.5, 0.03),
    FindingKind.VACUUM: (41.0, 0.045),
    FindingKind.DROP: (58.0, 0.16),
    FindingKind.MIXTURE: (0.98, 0.05),
    FindingKind.SNAP: (0.7, 0.33),
    FindingKind.RECORD: (1.0, 0.05),
    FindingKind.ADAPTER: (1.0, 0.03),
    FindingKind.FLOW: (190.0, 0.03),
    FindingKind.COMPRESSION: (1180.0, 0.03),
}
"""What a sound bore shows and the spread of one reading of it, as a share; our judgement."""

APART: Mapping[FindingKind, tuple[float, float]] = {
    FindingKind.HEAT: (435.0, 20.0),
    FindingKind.TIMING: (10.0, 1.0),
    FindingKind.RESET: (1.0, 0.18),
    FindingKind.LASH: (0.0, 0.02),
    FindingKind.SQUEEZE: (0.0, 0.1),
    FindingKind.BACK_PRESSURE: (4.0, 1.4),
}
"""The same where the spread is in the unit of the reading; our judgement."""

SHOWN_BY: Mapping[FindingKind, Mapping[str, str]] = {
    FindingKind.SPRAY: {"leak": "moved"},
    FindingKind.SMOKE: {"leak": "seen"},
    FindingKind.PLUG: {"lean": "white", "rings": "oily"},
    FindingKind.FEEL: {"slack": "slack", "sticking": "hangs"},
    FindingKind.LEAK_DOWN: {"rings": "crankcase"},
}
"""The word by which a test shows a cause."""
COLD_PIPE = 375.0
"""By how much the pipe of a bore that does not burn is cooler [°C]: some 60 °C are left, the warmth of the engine; our
judgement."""
SEEN, FALSE = 0.86, 0.04
"""Chance that such a word is seen where the cause is, and where it is not; our judgement."""


@dataclass(frozen=True, slots=True)
class RoughEngine:
    """An engine drawn from ``seed``: how many ``bores``, its ``grade``, and the bores on a stop screw of their own,
    counted from 0, that no coupler carries; `cured` says that it was repaired."""

    bores: int
    seed: int
    grade: str
    stops: tuple[int, ...] = ()
    cured: bool = False

    @property
    def drawn(self) -> tuple[RoughCause, int, float]:
        """The cause, the bore, and the size as `GRADES` has it."""
        rng = np.random.default_rng([self.seed, self.bores, 17])
        causes = list(GRADES[self.grade])
        cause = causes[int(rng.integers(len(causes)))]
        low, high = GRADES[self.grade][cause]
        carried = [bore for bore in range(self.bores) if bore not in self.stops]
        return cause, carried[int(rng.integers(len(carried)))], float(rng.uniform(low, high))

    def shows(self, measure: FindingKind, place: int, made: int) -> float | str:
        """What a test shows at a bore or bank counted from 0, the ``made``-th time it is made there, from 0."""
        rng = np.random.default_rng([self.seed, self.bores, 19, [*FindingKind].index(measure), place, made])
        cause, bore, size = self.drawn
        of_bore = CATALOGUE[measure].scope in (Extent.ROUND, Extent.BORE)
        here = not self.cured and of_bore and place == bore
        if CATALOGUE[measure].use is Use.WORD:
            return _word(measure, cause if here else "", rng)
        if measure in APART:
            usual, spread = APART[measure]
            return round(usual + (_apart(measure, cause, size) if here else 0.0) + spread * rng.standard_normal(), 3)
        usual, spread = MEASURED[measure]
        value = usual * (_share(measure, cause, size) if here else 1.0)
        if measure is FindingKind.SNAP:
            return round(float(value * math.exp(spread * rng.standard_normal())), 2)
        return round(max(float(value * (1 + spread * rng.standard_normal())), 0.0), 3)


def grades() -> Collection[str]:
    """The grades there are, from easy to hard."""
    return tuple(GRADES)


def _word(measure: FindingKind, cause: str, rng: np.random.Generator) -> str:
    words = CATALOGUE[measure].words
    shown = SHOWN_BY.get(measure, {}).get(cause)
    if shown is not None and rng.random() < SEEN:
        return shown
    return words[1 + int(rng.integers(len(words) - 1))] if rng.random() < FALSE else words[0]


def _burns(cause: str, size: float) -> tuple[float, float]:
    """Lambda beside the others', and the share of cycles that do not burn."""
    mixture = {"leak": 1 + 0.8 * size, "lean": 1 / (1 - size), "coupler": 1 + 0.5 * size}.get(cause, 1.0)
    dead = {"leak": 0.0, "lean": max(mixture - 1.3, 0.0), "rings": max(size - 0.4, 0.0)}.get(cause, 0.0)
    return mixture, min(dead, 1.0)


def _apart(measure: FindingKind, cause: str, size: float) -> float:
    mixture, dead = _burns(cause, size)
    if measure is FindingKind.HEAT:
        return -min(900 * (mixture - 1) ** 2 + 330 * dead, COLD_PIPE)
    if measure is FindingKind.RESET:
        return {"coupler": -1.0, "slack": -0.45}.get(cause, 0.0)
    return 0.0


def _share(measure: FindingKind, cause: str, size: float) -> float:
    mixture, dead = _burns(cause, size)
    shares: Mapping[FindingKind, float] = {
        FindingKind.AIR: 1 + size if cause == "coupler" else 1.0,
        FindingKind.VACUUM: {"leak": 1 - 1.1 * size, "coupler": 1 - 1.2 * size}.get(cause, 1.0),
        FindingKind.RECORD: {"leak": 1 - 1.1 * size, "coupler": 1 - 1.2 * size}.get(cause, 1.0),
        FindingKind.DROP: (1 - dead) * {"lean": 1 - 0.5 * size, "rings": 1 - 0.6 * size}.get(cause, 1.0),
        FindingKind.MIXTURE: mixture + 0.5 * dead,
        FindingKind.SNAP: math.exp(size) if cause in ("sticking", "slack") else 1.0,
        FindingKind.FLOW: 1 - size if cause == "lean" else 1.0,
        FindingKind.COMPRESSION: 1 - size if cause == "rings" else 1.0,
    }
    return shares.get(measure, 1.0)
