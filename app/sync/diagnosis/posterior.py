"""The exact odds of every cause and place: over the states of the engine, and bore by bore within each of them."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from functools import cache

import numpy as np

from app.sync.diagnosis.causes import BORE_CAUSES, ENGINE_CAUSES, SOUND_BEFORE, EngineFault, bore_states
from app.sync.diagnosis.evidence import Deviation, Place
from app.sync.diagnosis.likelihood import engine_states, of_bore, of_engine, shift_of_vacuum
from app.sync.diagnosis.measurements import CATALOGUE, Extent, FindingKind
from app.sync.slips.changes import Floats

_SHIFTED = (FindingKind.VACUUM, FindingKind.RECORD)


@dataclass(frozen=True, slots=True, eq=False)
class Beliefs:
    """Odds after the evidence: of the bores' states (bores, states), of the engine's (states,), and that all is sound.

    ``banks`` gives each bore's bank.
    """

    bores: Floats
    engine: Floats
    sound: float
    banks: tuple[int, ...]

    def of_causes(self) -> Floats:
        """Odds of each cause at each bore, of shape (bores, causes), in the order of `BORE_CAUSES`."""
        return self.bores @ by_cause()

    def of_engine_causes(self) -> Mapping[tuple[EngineFault, int | None], float]:
        """Odds of each cause of the engine, with the bank it is at."""
        odds: dict[tuple[EngineFault, int | None], float] = {}
        for state, chance in zip(engine_states(max(self.banks) + 1), self.engine, strict=True):
            if state.cause is not EngineFault.NONE:
                odds[state.cause, state.bank] = odds.get((state.cause, state.bank), 0.0) + float(chance)
        return odds


@cache
def by_cause() -> Floats:
    """Which state belongs to which cause: 1.0 or 0.0, of shape (states, causes)."""
    return np.stack([bore_states().of(cause) for cause in BORE_CAUSES], axis=1)


def posterior(banks: Sequence[int], shown: Mapping[Place, Deviation], sound: float = SOUND_BEFORE) -> Beliefs:
    """The odds of every cause and place after what was seen.

    Parameters: ``banks`` gives each bore's bank, counted from 0; ``shown`` is what was seen; ``sound`` is the chance
    before it that nothing is wrong.
    """
    count, sides = len(banks), max(banks) + 1
    states = engine_states(sides)
    bores_before, engine_before = _before(count, sides, sound)
    said = np.zeros((len(states), count, len(bores_before)))
    engine = np.log(engine_before)
    for (measure, place), one in shown.items():
        if CATALOGUE[measure].scope in (Extent.ENGINE, Extent.BANK):
            engine = engine + np.log(of_engine(measure, one, place, sides))
        elif place is not None and measure in _SHIFTED:
            shifts = [shift_of_vacuum(measure, state, banks[place], sides) for state in states]
            table = {shift: np.log(of_bore(measure, one, shift)) for shift in set(shifts)}
            said[:, place] += np.array([table[shift] for shift in shifts])
        elif place is not None:
            said[:, place] += np.log(of_bore(measure, one))
    joint = said + np.log(bores_before)
    top = joint.max(axis=2, keepdims=True)
    weights = np.exp(joint - top)
    totals = weights.sum(axis=2)
    engine = engine + (np.log(totals) + top[:, :, 0]).sum(axis=1)
    engine = np.exp(engine - engine.max())
    engine = engine / engine.sum()
    each = weights / totals[:, :, None]
    none = bore_states().of(EngineFault.NONE)
    all_sound = float(engine[0] * np.prod(each[0] @ none))
    return Beliefs(np.einsum("e,ebs->bs", engine, each), engine, all_sound, tuple(banks))


def _before(bores: int, banks: int, sound: float) -> tuple[Floats, Floats]:
    """Odds before evidence of a bore's states and of the engine's: every cause as likely, and all sound exactly so."""
    kinds, wholes = len(BORE_CAUSES) - 1, len(ENGINE_CAUSES)
    sound_bore = sound ** (kinds / (kinds + wholes) / bores)
    sound_engine = sound ** (wholes / (kinds + wholes))
    states = bore_states()
    bore = states.share * np.where(states.of(EngineFault.NONE) > 0, sound_bore, (1 - sound_bore) / kinds)
    shares = []
    for state in engine_states(banks):
        if state.cause is EngineFault.NONE:
            shares.append(sound_engine)
        else:
            sides = banks if state.cause is EngineFault.EXHAUST else 1
            shares.append((1 - sound_engine) / wholes / 5 / sides)
    return bore, np.array(shares)
