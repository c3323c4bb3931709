"""How likely what was seen is at a bore in each state, and for each state of the engine."""

from dataclasses import dataclass
from functools import cache, lru_cache

import numpy as np
from numpy.typing import NDArray

from app.sync.diagnosis.causes import BORE_CAUSES, TABLE, EngineFault, bore_states
from app.sync.diagnosis.chain import expected, worded
from app.sync.diagnosis.evidence import Deviation
from app.sync.diagnosis.measurements import CATALOGUE, FindingKind, Use
from app.sync.slips.changes import Floats

WRONG, WRONG_AGAIN = 0.025, 0.003
"""Chance that a reading is wrong altogether, and where it was read again; our judgement."""
HIDDEN, HIDDEN_DIRECT = 0.10, 0.03
"""Chance that a cause shows nothing in a measurement, and in the one that looks at it; our judgement."""
SIZE_DOUBT, VACUUM_DOUBT = 0.15, 0.30
"""Share of an effect by which engines differ, one standard deviation, and that of an effect on vacuum, which goes with
how deep the idle is; our judgement."""
UNKNOWN_USUAL = 0.5
"""Share of readings that are as usual at a bore with an unknown fault, our judgement."""

VACUUM_BY_SHARED_LEAK = -0.5
"""Share of the engine's own vacuum lost for a shared leak of all its air, our judgement."""
VACUUM_BY_BACK_PRESSURE = -0.002
"""Share of a bank's vacuum lost at idle for each kPa of back pressure off idle [1/kPa], our judgement: pressure goes
with the square of the flow, and at idle a third of the flow is left, of which little stays in the bore."""
SQUEEZE_LEAST, SQUEEZE_BY_SIZE = 0.45, 1.1
"""How clearly a squeezed hose changes the idle, for no and for each share of air leaking; our judgement."""


@dataclass(frozen=True, slots=True)
class WholeState:
    """A state of the whole engine: its cause, size and the bank that it is at."""

    cause: EngineFault
    size: float
    bank: int | None


@cache
def engine_states(banks: int) -> tuple[WholeState, ...]:
    """Every state that an engine may be in, the sound one first.

    Parameters: ``banks`` of the engine, how many.
    """
    shared = [WholeState(EngineFault.SHARED_LEAK, size, None) for size in TABLE[EngineFault.SHARED_LEAK].sizes]
    choked = [
        WholeState(EngineFault.EXHAUST, size, bank)
        for bank in range(banks)
        for size in TABLE[EngineFault.EXHAUST].sizes
    ]
    return (WholeState(EngineFault.NONE, 0.0, None), *shared, *choked)


@lru_cache(maxsize=4096)
def of_bore(
    measure: FindingKind, shown: Deviation, shift: float = 0.0, evened: FindingKind = FindingKind.AIR
) -> Floats:
    """The likelihood of what a bore showed in each of its states, of shape (states,).

    Parameters: ``measure`` that was made; ``shown`` by it at the bore; ``shift`` [the measurement's own form] is what
    the engine's own state adds at that bore; ``evened`` is what the plates were evened by.
    """
    kind, wrong = CATALOGUE[measure], WRONG_AGAIN if shown.again else WRONG
    unknown = BORE_CAUSES.index(EngineFault.UNKNOWN)
    states = bore_states()
    if kind.use is Use.WORD:
        flat = 1 / len(kind.words)
        said = _word(measure, shown.word)
        if shown.before:
            same = kind.stays * (shown.before == shown.word)
            said = _word(measure, shown.before) * (same + (1 - kind.stays) * said)
            flat = flat * (same + (1 - kind.stays) * flat)
    else:
        flat = 1 / (kind.high - kind.low)
        middle = expected(evened)[measure]
        hidden = np.where(direct(measure), HIDDEN_DIRECT, HIDDEN)
        spread = np.hypot(shown.spread, doubt(measure) * middle)
        there, absent = _normal(shown.off, middle + shift, spread), _normal(shown.off, shift, shown.spread)
        said = (1 - wrong) * ((1 - hidden) * there + hidden * absent) + wrong * flat
    usual = said[states.cause == BORE_CAUSES.index(EngineFault.NONE)][0]
    return np.where(states.cause == unknown, UNKNOWN_USUAL * usual + (1 - UNKNOWN_USUAL) * flat, said)


def _word(measure: FindingKind, word: str) -> Floats:
    """The likelihood of one look's word, of shape (states,)."""
    words = CATALOGUE[measure].words
    return np.asarray((1 - WRONG) * worded()[measure][:, words.index(word)] + WRONG / len(words))


def doubt(measure: FindingKind) -> float:
    """Share by which engines differ in an effect on a measurement, one standard deviation.

    Parameters: ``measure`` that the effect is seen by.
    """
    return VACUUM_DOUBT if measure in (FindingKind.VACUUM, FindingKind.RECORD) else SIZE_DOUBT


@lru_cache(maxsize=4096)
def of_engine(measure: FindingKind, shown: Deviation, place: int | None, banks: int) -> Floats:
    """The likelihood of what a test of the engine or of one bank showed in each of its states, of shape (states,).

    Parameters: ``measure`` that was made; ``shown`` by it; ``place`` is the bank, None for the engine; ``banks`` of the
    engine, how many.
    """
    kind, wrong = CATALOGUE[measure], WRONG_AGAIN if shown.again else WRONG
    middle = np.array([_shown_by_engine(measure, state, place) for state in engine_states(banks)])
    said = _normal(shown.off, middle, np.hypot(shown.spread, SIZE_DOUBT * middle))
    return (1 - wrong) * said + wrong / (kind.high - kind.low)


def shift_of_vacuum(measure: FindingKind, state: WholeState, bank: int, banks: int) -> float:
    """What a state of the engine adds to the vacuum seen at a bore, as a fraction.

    Parameters: ``measure`` by which the vacuum is seen; ``state`` of the engine; ``bank`` of the bore, counted from 0;
    ``banks`` of the engine, how many.
    """
    if state.cause is EngineFault.EXHAUST:
        lost = VACUUM_BY_BACK_PRESSURE * state.size
        middle = lost / banks if measure is FindingKind.VACUUM else 0.0
        return (lost if bank == state.bank else 0.0) - middle
    if state.cause is EngineFault.SHARED_LEAK and measure is FindingKind.RECORD:
        return VACUUM_BY_SHARED_LEAK * state.size
    return 0.0


@cache
def direct(measure: FindingKind) -> NDArray[np.bool_]:
    """Which states of a bore a measurement looks at itself, of shape (states,).

    Parameters: ``measure`` that is made.
    """
    causes = [cause for cause in BORE_CAUSES if measure in TABLE[cause].direct]
    return np.asarray(bore_states().of(*causes) > 0)


def _shown_by_engine(measure: FindingKind, state: WholeState, place: int | None) -> float:
    if measure is FindingKind.SQUEEZE and state.cause is EngineFault.SHARED_LEAK:
        return min(SQUEEZE_LEAST + SQUEEZE_BY_SIZE * state.size, 1.0)
    if measure is FindingKind.BACK_PRESSURE and state.cause is EngineFault.EXHAUST and state.bank == place:
        return state.size
    return 0.0


def _normal(value: float | Floats, middle: float | Floats, spread: float | Floats) -> Floats:
    return np.asarray(np.exp(-0.5 * ((value - middle) / spread) ** 2) / (spread * np.sqrt(2 * np.pi)))
