"""What may make an engine run uneven, how large each cause may be, and the states that bore and engine may be in."""

from collections.abc import Mapping
from dataclasses import dataclass
from enum import StrEnum
from functools import cache

import numpy as np

from app.sync.diagnosis.measurements import Measure, Source
from app.sync.slips.changes import Floats


class Cause(StrEnum):
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


ENGINE_CAUSES = (Cause.SHARED_LEAK, Cause.EXHAUST)
BORE_CAUSES = tuple(cause for cause in Cause if cause not in ENGINE_CAUSES)


@dataclass(frozen=True, slots=True)
class Sizes:
    """The sizes of a cause, equally likely, in the unit that ``unit`` names, and where they come from.

    ``direct`` are the tests that look at the cause itself: any of them is enough before it is called found.
    """

    unit: str
    sizes: tuple[float, ...]
    direct: tuple[Measure, ...]
    source: Source


_BOTH_WAYS = (-0.35, -0.28, -0.22, -0.16, -0.10, 0.10, 0.16, 0.22, 0.28, 0.35)

TABLE: Mapping[Cause, Sizes] = {
    Cause.NONE: Sizes("", (0.0,), (), Source.JUDGEMENT),
    Cause.PLATE: Sizes("of its air", _BOTH_WAYS, (Measure.RESET,), Source.PRACTICE),
    Cause.COUPLER: Sizes("of its air", _BOTH_WAYS, (Measure.RESET,), Source.PRACTICE),
    Cause.SLACK: Sizes("ln of scatter", (0.7, 1.0, 1.3, 1.6, 1.9), (Measure.FEEL, Measure.SNAP), Source.PRACTICE),
    Cause.STICKING: Sizes("ln of scatter", (0.7, 1.0, 1.3, 1.6, 1.9), (Measure.FEEL, Measure.SNAP), Source.PRACTICE),
    Cause.LEAK: Sizes(
        "of its plate's air", (0.12, 0.24, 0.36, 0.48, 0.60), (Measure.SPRAY, Measure.SMOKE), Source.PRACTICE
    ),
    Cause.LEAN: Sizes("of its fuel", (0.55, 0.62, 0.69, 0.76, 0.82), (Measure.FLOW,), Source.PRACTICE),
    Cause.RICH: Sizes("of its fuel", (1.22, 1.31, 1.40, 1.50, 1.60), (Measure.FLOW,), Source.PRACTICE),
    Cause.NO_FUEL: Sizes("of its fuel", (0.0, 0.05), (Measure.FLOW, Measure.RESISTANCE), Source.PRACTICE),
    Cause.SPARK: Sizes("of its cycles missed", (0.30, 0.48, 0.65, 0.82, 1.0), (Measure.SWAP,), Source.PRACTICE),
    Cause.RINGS: Sizes("of its compression", (0.18, 0.27, 0.36, 0.45, 0.54), (Measure.LEAK_DOWN,), Source.PRACTICE),
    Cause.VALVE: Sizes("of its compression", (0.18, 0.27, 0.36, 0.45, 0.54), (Measure.LEAK_DOWN,), Source.PRACTICE),
    Cause.LASH: Sizes("of its filling", (0.04, 0.065, 0.09, 0.115, 0.14), (Measure.LASH,), Source.JUDGEMENT),
    Cause.METER: Sizes(
        "of its air",
        (-0.25, -0.21, -0.17, -0.13, -0.09, 0.09, 0.13, 0.17, 0.21, 0.25),
        (Measure.ADAPTER,),
        Source.PRACTICE,
    ),
    Cause.TIMING: Sizes("°", (-14.0, -12.0, -10.0, -8.0, -6.0, 6.0, 8.0, 10.0, 12.0, 14.0), (Measure.TIMING,),
                        Source.JUDGEMENT),
    Cause.UNKNOWN: Sizes("", (0.0,), (), Source.JUDGEMENT),
    Cause.SHARED_LEAK: Sizes("of its air", (0.1, 0.2, 0.3, 0.4, 0.5), (Measure.SQUEEZE,), Source.PRACTICE),
    Cause.EXHAUST: Sizes("kPa", (6.0, 10.0, 15.0, 20.0, 28.0), (Measure.BACK_PRESSURE,), Source.PRACTICE),
}  # fmt: skip
"""Sizes of each cause. That it exists is of the source named; the figures are our judgement."""

SOUND_BEFORE = 0.5
"""Chance before any evidence that nothing is wrong with the engine, our judgement."""
SOUND_AFTER_COMPLAINT = 0.15
"""The same where the engine came with a complaint, our judgement."""


@dataclass(frozen=True, slots=True, eq=False)
class BoreStates:
    """Every state a bore may be in: its cause (place in `BORE_CAUSES`), size, whether fuel follows its air, and the
    share of its cause that it is; all of shape (states,)."""

    cause: Floats
    size: Floats
    follows: Floats
    share: Floats

    def of(self, *causes: Cause) -> Floats:
        """1.0 where the cause is one of these, else 0.0, of shape (states,)."""
        return np.isin(self.cause, [BORE_CAUSES.index(cause) for cause in causes]).astype(float)


@cache
def bore_states() -> BoreStates:
    """The states of a bore, cause by cause, each size with fuel that follows its air and with fuel that does not."""
    rows = [
        (number, size, follows, 0.5 / len(TABLE[cause].sizes))
        for number, cause in enumerate(BORE_CAUSES)
        for size in TABLE[cause].sizes
        for follows in (0.0, 1.0)
    ]
    return BoreStates(*np.array(rows).T)
