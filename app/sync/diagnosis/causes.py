"""What may make an engine run uneven, how large each cause may be, and the states that bore and engine may be in."""

from collections.abc import Mapping
from dataclasses import dataclass
from enum import StrEnum
from functools import cache

import numpy as np

from app.sync.diagnosis.measurements import FigureSource, FindingKind
from app.sync.slips.changes import Floats


class EngineFault(StrEnum):
    """A cause at one bore, or one of the engine as a whole or of a bank (`ENGINE_CAUSES`); `NONE` is a sound bore,
    `UNKNOWN` anything that no other cause explains."""

    NONE = "none"
    PLATE = "plate"
    COUPLER = "coupler"
    SLACK = "slack"
    STICKING = "sticking"
    LEAK = "leak"
    LEAN = "lean"
    RICH = "rich"
    NO_FUEL = "no_fuel"
    SPARK = "spark"
    RINGS = "rings"
    VALVE = "valve"
    LASH = "lash"
    METER = "meter"
    TIMING = "timing"
    UNKNOWN = "unknown"
    SHARED_LEAK = "shared_leak"
    EXHAUST = "exhaust"


ENGINE_CAUSES = (EngineFault.SHARED_LEAK, EngineFault.EXHAUST)
BORE_CAUSES = tuple(cause for cause in EngineFault if cause not in ENGINE_CAUSES)


@dataclass(frozen=True, slots=True)
class Sizes:
    """The sizes of a cause, equally likely, in shares of what ``unit`` names (or that unit), and where they come from.

    ``direct`` are the tests that look at the cause itself: any of them is enough before it is called found, once every
    one of ``before`` was made too.
    """

    unit: str
    sizes: tuple[float, ...]
    direct: tuple[FindingKind, ...]
    source: FigureSource
    before: tuple[FindingKind, ...] = ()


_BOTH_WAYS = (-0.35, -0.28, -0.22, -0.16, -0.10, 0.10, 0.16, 0.22, 0.28, 0.35)  # of the air (our judgement)

TABLE: Mapping[EngineFault, Sizes] = {
    EngineFault.NONE: Sizes("air", (0.0, 0.0, -0.04, 0.04), (), FigureSource.JUDGEMENT),
    EngineFault.PLATE: Sizes(
        "air", _BOTH_WAYS, (FindingKind.RESET,), FigureSource.PRACTICE, before=(FindingKind.ADAPTER,)
    ),
    EngineFault.COUPLER: Sizes("air", _BOTH_WAYS, (FindingKind.RESET,), FigureSource.PRACTICE),
    EngineFault.SLACK: Sizes(
        "ln-scatter", (0.7, 1.0, 1.3, 1.6, 1.9), (FindingKind.FEEL, FindingKind.SNAP), FigureSource.PRACTICE
    ),
    EngineFault.STICKING: Sizes(
        "ln-scatter", (0.7, 1.0, 1.3, 1.6, 1.9), (FindingKind.FEEL, FindingKind.SNAP), FigureSource.PRACTICE
    ),
    EngineFault.LEAK: Sizes(
        "plate-air", (0.12, 0.24, 0.36, 0.48, 0.60), (FindingKind.SPRAY, FindingKind.SMOKE), FigureSource.PRACTICE
    ),
    EngineFault.LEAN: Sizes("fuel", (0.55, 0.62, 0.69, 0.76, 0.82), (FindingKind.FLOW,), FigureSource.PRACTICE),
    EngineFault.RICH: Sizes("fuel", (1.22, 1.31, 1.40, 1.50, 1.60), (FindingKind.FLOW,), FigureSource.PRACTICE),
    EngineFault.NO_FUEL: Sizes("fuel", (0.0, 0.05), (FindingKind.FLOW, FindingKind.RESISTANCE), FigureSource.PRACTICE),
    EngineFault.SPARK: Sizes("cycles", (0.30, 0.48, 0.65, 0.82, 1.0), (FindingKind.SWAP,), FigureSource.PRACTICE),
    EngineFault.RINGS: Sizes(
        "compression", (0.18, 0.27, 0.36, 0.45, 0.54), (FindingKind.LEAK_DOWN,), FigureSource.PRACTICE
    ),
    EngineFault.VALVE: Sizes(
        "compression", (0.18, 0.27, 0.36, 0.45, 0.54), (FindingKind.LEAK_DOWN,), FigureSource.PRACTICE
    ),
    EngineFault.LASH: Sizes("filling", (0.04, 0.065, 0.09, 0.115, 0.14), (FindingKind.LASH,), FigureSource.JUDGEMENT),
    EngineFault.METER: Sizes(
        "air",
        (-0.25, -0.21, -0.17, -0.13, -0.09, 0.09, 0.13, 0.17, 0.21, 0.25),
        (FindingKind.ADAPTER,),
        FigureSource.PRACTICE,
    ),
    EngineFault.TIMING: Sizes(
        "°",
        (-14.0, -12.0, -10.0, -8.0, -6.0, 6.0, 8.0, 10.0, 12.0, 14.0),
        (FindingKind.TIMING,),
        FigureSource.JUDGEMENT,
    ),
    EngineFault.UNKNOWN: Sizes("", (0.0,), (), FigureSource.JUDGEMENT),
    EngineFault.SHARED_LEAK: Sizes("air", (0.1, 0.2, 0.3, 0.4, 0.5), (FindingKind.SQUEEZE,), FigureSource.PRACTICE),
    EngineFault.EXHAUST: Sizes(
        "kPa", (6.0, 10.0, 15.0, 20.0, 28.0), (FindingKind.BACK_PRESSURE,), FigureSource.PRACTICE
    ),
}
"""Sizes of each cause. That it exists is of the source named; the figures are our judgement. A sound bore's plate was
left a little off as often as not: that is no fault, but air and vacuum both show it."""

SOUND_BEFORE = 0.5
"""Chance before any evidence that nothing is wrong with the engine, our judgement."""


BALANCED = (EngineFault.LEAK, EngineFault.VALVE, EngineFault.LASH, EngineFault.METER)
"""Causes that the evening may have hidden: their plate was set until the meter was even all the same."""
BALANCED_BEFORE = 0.5
"""How likely the plate was set with the cause there, our judgement: it may have been there, or have come since."""


@dataclass(frozen=True, slots=True, eq=False)
class BoreStates:
    """Every state a bore may be in: its cause (place in `BORE_CAUSES`), size, whether fuel follows its air, whether its
    plate was set to balance the cause, and the share of its cause that it is; all of shape (states,)."""

    cause: Floats
    size: Floats
    follows: Floats
    balanced: Floats
    share: Floats

    def of(self, *causes: EngineFault) -> Floats:
        """1.0 where the cause is one of these, else 0.0, of shape (states,)."""
        return np.isin(self.cause, [BORE_CAUSES.index(cause) for cause in causes]).astype(float)


@cache
def bore_states() -> BoreStates:
    """The states of a bore, cause by cause, each size with fuel that follows its air and with fuel that does not."""
    rows = [
        (number, size, follows, balanced, 0.5 * likely / len(TABLE[cause].sizes))
        for number, cause in enumerate(BORE_CAUSES)
        for balanced, likely in (((1, BALANCED_BEFORE), (0, 1 - BALANCED_BEFORE)) if cause in BALANCED else ((1, 1.0),))
        for size in TABLE[cause].sizes
        for follows in (0.0, 1.0)
    ]
    return BoreStates(*np.array(rows, float).T)
