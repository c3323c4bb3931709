"""What can be measured of an engine that runs uneven, and what each measurement costs and tells.

A spread is one standard deviation at a sound bore, in the form in which the measurement is used. Minutes hold nothing
but the work itself: going from running to off, and back, is added where tests are chosen.
"""

from collections.abc import Mapping
from dataclasses import dataclass
from enum import Enum, StrEnum


class FigureSource(Enum):
    """Where a figure of a table comes from: common practice, no published source; our judgement; from memory."""

    PRACTICE = "practice"
    JUDGEMENT = "judgement"
    MEMORY = "memory"


class FindingKind(StrEnum):
    """What is measured, once a bore unless `SCOPES` says otherwise."""

    AIR = "air"
    VACUUM = "vacuum"
    HEAT = "heat"
    DROP = "drop"
    MIXTURE = "mixture"
    SNAP = "snap"
    TIMING = "timing"
    SQUEEZE = "squeeze"
    BACK_PRESSURE = "back_pressure"
    RECORD = "record"
    SPRAY = "spray"
    ADAPTER = "adapter"
    SMOKE = "smoke"
    PLUG = "plug"
    SWAP = "swap"
    FEEL = "feel"
    RESET = "reset"
    RESISTANCE = "resistance"
    FLOW = "flow"
    COMPRESSION = "compression"
    LEAK_DOWN = "leak_down"
    LASH = "lash"


class Use(Enum):
    """How a figure is held against the others: the logarithm of its ratio to the `middle` of the other bores, its
    fraction off that, its difference from it, or its difference from what a sound engine shows; or a word."""

    LOG = "log"
    FRACTION = "fraction"
    DIFFERENCE = "difference"
    ALONE = "alone"
    WORD = "word"


class Run(Enum):
    """What the engine does meanwhile."""

    RUNNING = "running"
    OPENED = "opened"
    OFF = "off"
    CRANKING = "cranking"


class Extent(Enum):
    """What one test looks at: every bore in turn, one bore, each bank, or the engine as a whole."""

    ROUND = "round"
    BORE = "bore"
    BANK = "bank"
    ENGINE = "engine"


@dataclass(frozen=True, slots=True)
class Measurement:
    """One kind of test: spread and range in the form of ``use``, ``once`` and ``each`` bore in minutes.

    ``sound`` is what a sound bore shows where the figure stands alone. ``lasts`` says that it counts for the whole
    visit; the others count until a plate of their bore is moved. ``stays`` is what a second look at the same place
    does not change: the share of a figure's variance, or the chance that a word is only said again.
    """

    unit: str
    use: Use
    run: Run
    scope: Extent
    once: float
    each: float
    spread: float = 0.0
    low: float = 0.0
    high: float = 1.0
    sound: float = 0.0
    words: tuple[str, ...] = ()
    lasts: bool = False
    stays: float = 0.3
    source: FigureSource = FigureSource.JUDGEMENT


_R, _O, _S = Run.RUNNING, Run.OPENED, Run.OFF
_ROUND, _BORE = Extent.ROUND, Extent.BORE

CATALOGUE: Mapping[FindingKind, Measurement] = {
    FindingKind.AIR: Measurement("kg/h", Use.LOG, _R, _ROUND, 0.5, 0.3, 0.038, -0.8, 0.8),
    FindingKind.VACUUM: Measurement("kPa", Use.FRACTION, _R, _ROUND, 1.0, 0.4, 0.06, -0.9, 0.9),
    FindingKind.HEAT: Measurement("°C", Use.DIFFERENCE, _R, _ROUND, 1.0, 0.3, 28.0, -500.0, 150.0, stays=0.75),
    FindingKind.DROP: Measurement("rev/min", Use.FRACTION, _R, _ROUND, 1.0, 0.7, 0.22, -1.1, 1.1),
    FindingKind.MIXTURE: Measurement("lambda", Use.DIFFERENCE, _R, _ROUND, 3.0, 1.5, 0.075, -0.6, 1.2),
    FindingKind.SNAP: Measurement("kPa", Use.LOG, _O, _ROUND, 1.0, 1.2, 0.42, -2.0, 3.0),
    FindingKind.TIMING: Measurement("°", Use.DIFFERENCE, _R, _ROUND, 3.0, 0.7, 1.4, -20.0, 20.0),
    FindingKind.SQUEEZE: Measurement("0-1", Use.ALONE, _R, Extent.ENGINE, 2.0, 0.0, 0.13, -0.5, 1.5),
    FindingKind.BACK_PRESSURE: Measurement("kPa", Use.ALONE, _O, Extent.BANK, 8.0, 0.0, 1.8, -8.0, 40.0, 4.0),
    FindingKind.RECORD: Measurement("1", Use.ALONE, _R, _ROUND, 0.0, 0.0, 0.075, -0.9, 0.9, 1.0, stays=1.0),
    FindingKind.SPRAY: Measurement("", Use.WORD, _R, _BORE, 0.0, 1.5, words=("still", "moved")),
    FindingKind.ADAPTER: Measurement("1", Use.ALONE, _R, _BORE, 0.0, 1.5, 0.035, -0.6, 0.6, 1.0),
    FindingKind.SMOKE: Measurement("", Use.WORD, _S, _ROUND, 8.0, 0.5, words=("none", "seen")),
    FindingKind.PLUG: Measurement("", Use.WORD, _S, _BORE, 0.0, 3.0, words=("normal", "sooty", "wet", "white", "oily")),
    FindingKind.SWAP: Measurement("", Use.WORD, _S, _BORE, 0.0, 6.0, words=("stayed", "moved")),
    FindingKind.FEEL: Measurement("", Use.WORD, _S, _BORE, 1.0, 0.35, words=("free", "slack", "hangs")),
    FindingKind.RESET: Measurement("1", Use.ALONE, _S, _BORE, 0.0, 3.0, 0.25, -1.5, 1.0, 1.0),
    FindingKind.RESISTANCE: Measurement("", Use.WORD, _S, _BORE, 0.0, 2.0, words=("right", "wrong"), lasts=True),
    FindingKind.FLOW: Measurement("cm³/min", Use.FRACTION, _S, _ROUND, 18.0, 0.0, 0.04, -1.0, 0.8, lasts=True),
    FindingKind.COMPRESSION: Measurement(
        "kPa", Use.FRACTION, Run.CRANKING, _ROUND, 10.0, 2.0, 0.045, -0.8, 0.5, lasts=True
    ),
    FindingKind.LEAK_DOWN: Measurement(
        "", Use.WORD, _S, _BORE, 0.0, 9.0, words=("tight", "crankcase", "valve", "neighbor"), lasts=True
    ),
    FindingKind.LASH: Measurement("mm", Use.ALONE, _S, _BORE, 0.0, 14.0, 0.03, -0.5, 0.5, lasts=True),
}
"""Units, spreads, ranges and minutes of each measurement: our judgement throughout."""

CHANGE_OF_STATE = 1.5
"""Stopping a running engine, or starting it again, with what its list asks for [min], our judgement."""


def minutes(measure: FindingKind, bores: int) -> float:
    """What a test takes [min], without a change of state.

    Parameters: ``measure`` that is made; ``bores`` it is made at, how many.
    """
    kind = CATALOGUE[measure]
    return kind.once + kind.each * bores


def runs(measure: FindingKind) -> bool:
    """Whether the engine runs on its own during a test.

    Parameters: ``measure`` that is made.
    """
    return CATALOGUE[measure].run in (Run.RUNNING, Run.OPENED)
