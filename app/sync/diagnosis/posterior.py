"""The exact odds of every cause and place: over the states of the engine, and bore by bore within each of them.

Bores are tied by one thing: how many things are likely to be wrong at once. A second one is rare.
"""

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from functools import cache, lru_cache

import numpy as np

from app.sync.diagnosis.causes import BORE_CAUSES, ENGINE_CAUSES, SOUND_BEFORE, TABLE, EngineFault, bore_states
from app.sync.diagnosis.evidence import Deviation, Finding, Place, seen
from app.sync.diagnosis.likelihood import engine_states, of_bore, of_engine, shift_of_vacuum
from app.sync.diagnosis.measurements import CATALOGUE, Extent, FindingKind
from app.sync.slips.changes import Floats

_SHIFTED = (FindingKind.VACUUM, FindingKind.RECORD)
SECOND = 0.1
"""How likely one thing more is wrong, where something is; our judgement."""
MOST_WRONG = 3
"""Things wrong at once that are thought of, our judgement: repair, then look again."""
ROUGH: Mapping[float, float] = {1.0: 0.6, 1.3: 0.25, 1.7: 0.15}
"""How many times as wide as told all spreads may be, and how likely each is before evidence; our judgement."""


@dataclass(frozen=True, slots=True, eq=False)
class Beliefs:
    """Odds after the evidence: of the bores' states (bores, states), of the engine's (states,), and that all is sound.

    ``banks`` gives each bore's bank; ``evened`` is what the plates were evened by; ``said`` is the logarithm of how
    likely all that was seen is, but for a constant; ``rough`` the likeliest width of the spreads, 1 as told.
    """

    bores: Floats
    engine: Floats
    sound: float
    banks: tuple[int, ...]
    evened: FindingKind
    said: float
    rough: float = 1.0

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


def believed(
    banks: Sequence[int],
    findings: Iterable[Finding],
    sound: float = SOUND_BEFORE,
    evened: FindingKind = FindingKind.AIR,
) -> Beliefs:
    """The odds of every cause and place, with how rough the instruments are learnt from the same findings.

    Parameters: ``banks`` gives each bore's bank, counted from 0; ``findings`` in the order they were made; ``sound`` is
    the chance before them that nothing is wrong; ``evened`` is what the plates were evened by.
    """
    kept = tuple(findings)
    several = [replace(posterior(banks, seen(kept, rough), sound, evened), rough=rough) for rough in ROUGH]
    said = np.array([one.said for one in several]) + np.log(list(ROUGH.values()))
    weights = np.exp(said - said.max())
    weights /= weights.sum()
    return Beliefs(
        np.asarray(sum(weight * one.bores for weight, one in zip(weights, several, strict=True))),
        np.asarray(sum(weight * one.engine for weight, one in zip(weights, several, strict=True))),
        float(sum(weight * one.sound for weight, one in zip(weights, several, strict=True))),
        tuple(banks),
        evened,
        float(said.max()),
        several[int(weights.argmax())].rough,
    )


def posterior(
    banks: Sequence[int],
    shown: Mapping[Place, Deviation],
    sound: float = SOUND_BEFORE,
    evened: FindingKind = FindingKind.AIR,
) -> Beliefs:
    """The odds of every cause and place after what was seen, with every spread as told.

    Parameters: ``banks`` gives each bore's bank, counted from 0; ``shown`` is what was seen; ``sound`` is the chance
    before it that nothing is wrong; ``evened`` is what the plates were evened by.
    """
    count, sides = len(banks), max(banks) + 1
    said, said_of_engine = _likelihoods(banks, shown, evened)
    top = said.max(axis=2)
    weighed = np.exp(said - top[:, :, None]) * _shares()
    none = by_cause()[:, BORE_CAUSES.index(EngineFault.NONE)]
    fine, wrong = weighed @ none, weighed @ (1 - none)
    bore_odds = _bore_odds(count) * wrong / fine
    chances = _chances_of_number(sound, count)
    numbers = np.stack([chances[1:] if state.cause is not EngineFault.NONE else chances[:-1]
                        for state in engine_states(sides)])  # fmt: skip
    total = (numbers * _sums(bore_odds)).sum(axis=1)
    engine = said_of_engine + np.log(_engine_odds(sides) * total) + (top + np.log(fine)).sum(axis=1)
    highest = float(engine.max())
    engine = np.exp(engine - highest)
    of_all = highest + float(np.log(engine.sum()))
    engine = engine / engine.sum()
    others = np.where(np.eye(count, dtype=bool)[:, None, :], 0.0, bore_odds)
    with_it = (numbers[:, 1:] * _sums(others)[:, :, :-1]).sum(axis=2)
    faulty = bore_odds * with_it.T / total[:, None]
    of_state = np.where(none > 0, ((1 - faulty) / fine)[:, :, None], (faulty / wrong)[:, :, None]) * weighed
    all_sound = float(engine[0] * numbers[0, 0] / total[0])
    return Beliefs(np.einsum("e,ebs->bs", engine, of_state), engine, all_sound, tuple(banks), evened, of_all)


def _likelihoods(banks: Sequence[int], shown: Mapping[Place, Deviation], evened: FindingKind) -> tuple[Floats, Floats]:
    """Logarithms of (engine states, bores, states) and (engine states,)."""
    sides = max(banks) + 1
    states = engine_states(sides)
    said = np.zeros((len(states), len(banks), len(bore_states().size)))
    of_whole = np.zeros(len(states))
    for (measure, place), one in shown.items():
        if CATALOGUE[measure].scope in (Extent.ENGINE, Extent.BANK):
            of_whole = of_whole + np.log(of_engine(measure, one, place, sides))
        elif place is not None and measure in _SHIFTED:
            shifts = [shift_of_vacuum(measure, state, banks[place], sides) for state in states]
            table = {shift: _log_of_bore(measure, one, shift, evened) for shift in set(shifts)}
            said[:, place] += np.array([table[shift] for shift in shifts])
        elif place is not None:
            said[:, place] += _log_of_bore(measure, one, 0.0, evened)
    return said, of_whole


@lru_cache(maxsize=8192)
def _log_of_bore(measure: FindingKind, one: Deviation, shift: float, evened: FindingKind) -> Floats:
    return np.asarray(np.log(of_bore(measure, one, shift, evened)))


@cache
def _shares() -> Floats:
    """The share of each state, where it is known whether something is wrong at the bore, of shape (states,)."""
    states = bore_states()
    return states.share * np.where(states.of(EngineFault.NONE) > 0, 1.0, 1 / (len(BORE_CAUSES) - 1))


def _bore_odds(bores: int) -> float:
    """The share of one bore among all that may be wrong: every cause is as likely."""
    kinds = len(BORE_CAUSES) - 1
    return kinds / (kinds + len(ENGINE_CAUSES)) / bores


@cache
def _engine_odds(banks: int) -> Floats:
    """The share of each state of the engine among all that may be wrong, 1 for the sound one, of shape (states,)."""
    kinds, wholes = len(BORE_CAUSES) - 1, len(ENGINE_CAUSES)
    shares = [1.0]
    for state in engine_states(banks)[1:]:
        places = banks if state.cause is EngineFault.EXHAUST else 1
        shares.append(1 / (kinds + wholes) / len(TABLE[state.cause].sizes) / places)
    return np.array(shares)


@cache
def _chances_of_number(sound: float, bores: int) -> Floats:
    """What the product of shares counts with 0, 1, 2 ... things wrong, of shape (`MOST_WRONG` + 2,)."""
    of_bores = _sums(np.full(bores, _bore_odds(bores)))
    ways = np.append(of_bores, 0.0)
    ways[1:] += len(ENGINE_CAUSES) / (len(BORE_CAUSES) - 1 + len(ENGINE_CAUSES)) * of_bores
    chances = np.append(SECOND ** np.arange(-1.0, MOST_WRONG), 0.0)
    chances[0] = 0.0
    chances *= (1 - sound) / chances.sum()
    chances[0] = sound
    return np.asarray(np.divide(chances, ways, out=np.zeros_like(chances), where=ways > 0))


def _sums(odds: Floats) -> Floats:
    """Sums of the products of none, one, two ... of the last axis' odds, of shape (..., `MOST_WRONG` + 1)."""
    sums = np.zeros((*odds.shape[:-1], MOST_WRONG + 1))
    sums[..., 0] = 1.0
    for number in range(odds.shape[-1]):
        sums[..., 1:] += odds[..., number, None] * sums[..., :-1]
    return sums
