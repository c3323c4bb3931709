"""How moves change the posterior of an engine, before anything is read.

A stop turn shifts every gap of its bank; a feeler sets one gap outright and carries what lies beyond, so that it
forgets the old gap and keeps the leak, which is how a feeler is a measurement too; a screw with a gain turns the plates
that it acts on, or changes what leaks past them, by what a turn of it does by the posterior. Which of these a move does
is said by the kind of its adjuster. A plate set cold is set outright too, and then the heat moves it.
"""

from collections.abc import Sequence
from dataclasses import replace

import numpy as np

from app.sync.engine.adjusters.kind import ScrewWithGain
from app.sync.engine.adjusters.registry import adjusters_with_gain, kind_of
from app.sync.engine.events import BladeReset, ColdSetting, LinkTurn, Move, StopTurn
from app.sync.engine.layout import Bank, Coupler
from app.sync.engine.units import THOU
from app.sync.estimation.posterior import (
    FEELER_SD,
    TURN_SD,
    Floats,
    Posterior,
    gain_size,
    rates,
    rotation_between,
    turn_noise,
    turned,
)

SETTLING_SD = 0.06 * THOU  # where the plates of a handled bank come to rest (our judgement)
THERMAL_SD = 0.04 * THOU  # what heat moves every plate by between two moves (our judgement)

GAUGED_FEELER_SD = 0.2 * THOU
"""How well a hand sets a plate on a feeler that was shown to repeat, half of ``FEELER_SD`` [m] (our judgement)."""

WARMING_SD = 0.2 * THOU
"""What warming up moves all plates by alike [m] (our judgement: about what a brass plate of 48 mm has more room at its
edge in an aluminum bore 60 K warmer, by expansion coefficients of 19 and 23 millionths per kelvin, from memory)."""

WARMING_BORE_SD = 0.15 * THOU
"""What warming up moves each plate by on its own, with shaft, coupler and lever [m] (our judgement)."""


def predict(posterior: Posterior, move: Move, kept: float = 1.0) -> Posterior:
    """The posterior once a move was made, before anything is read.

    Parameters: ``posterior`` before; ``move`` made; ``kept``, the part of it that the adjuster keeps. A link rod does
    nothing at idle.
    """
    kind = kind_of(move.kind)
    if isinstance(move, BladeReset):
        return _after_blade(posterior, move, kept)
    if kept != 1.0 and not isinstance(move, LinkTurn):
        move = replace(move, turns=kept * move.turns)
    if isinstance(move, StopTurn):
        return _after_stop(posterior, move)
    if isinstance(kind, ScrewWithGain):
        turns_plates = kind.effect == "turns plates"
        return _after_turn(posterior, kind, move) if turns_plates else _after_air(posterior, kind, move)
    return posterior


def _after_stop(posterior: Posterior, move: StopTurn) -> Posterior:
    bank = posterior.layout.bank(move.bank)
    number = posterior.layout.banks.index(bank)
    rows = [posterior.row(bore) for bore in bank.bores]
    rotation = float(posterior.stop_travel[number]) * move.turns
    found = _rotated(posterior, rows, rotation, posterior.at_travel(number), rotation)
    shaken = rates(posterior, found.gaps[rows]) * turn_noise(posterior, move.turns)
    found.covariance[np.ix_(rows, rows)] += np.outer(shaken, shaken)
    _add_process_noise(posterior, found.covariance, bank)
    return found


def _rotated(posterior: Posterior, rows: Sequence[int], rotation: float, column: int, by_column: float) -> Posterior:
    """Plates turned by an angle that is known no better than the state in ``column``, of which one more turns them by
    ``by_column``."""
    before = posterior.gaps[rows]
    after = turned(posterior, before, rotation)
    rate_after = rates(posterior, after)
    change = np.eye(len(posterior.mean))[rows]
    change[range(len(rows)), rows] = rate_after / rates(posterior, before)
    change[:, column] = rate_after * by_column
    mean, cov = posterior.mean.copy(), posterior.covariance.copy()
    mean[rows] = after
    within = change @ posterior.covariance @ change.T
    cov[rows] = change @ cov
    cov[:, rows] = cov[rows].T
    cov[np.ix_(rows, rows)] = within
    return replace(posterior, mean=mean, covariance=cov)


def set_cold(posterior: Posterior, settings: Sequence[ColdSetting]) -> Posterior:
    """The posterior of a hot engine whose plates were set cold, before anything is read; the same object for none.

    Parameters: ``posterior`` before; ``settings`` in the order made.
    """
    for setting in settings:
        hanging = _hanging_on(posterior, setting.bore)
        posterior = _on_feeler(posterior, hanging, setting.gap, hand_sd(setting.gauged), heat=0.0)
    if not settings:
        return posterior
    rows = sorted({posterior.row(setting.bore) for setting in settings})
    cov = posterior.covariance.copy()
    cov[np.ix_(rows, rows)] += WARMING_SD**2
    cov[rows, rows] += WARMING_BORE_SD**2
    return replace(posterior, covariance=cov)


def hand_sd(gauged: bool) -> float:
    """How well a hand sets a plate on a feeler, standard deviation [m].

    Parameters: ``gauged`` whether it was shown to repeat.
    """
    return GAUGED_FEELER_SD if gauged else FEELER_SD


def _hanging_on(posterior: Posterior, bore: int) -> tuple[int, ...]:
    """A bore and all that move as it is set, itself first."""
    bank = posterior.layout.bank_of(bore)
    carrier = bank.carrier(bore)
    moving = bank.bores if carrier is None else bank.beyond(carrier)
    return (bore, *(other for other in moving if other != bore))


def _after_blade(posterior: Posterior, move: BladeReset, kept: float) -> Posterior:
    bores = posterior.layout.bank_of(move.far).beyond(Coupler(move.near, move.far))
    return _on_feeler(posterior, bores, move.gap, FEELER_SD, THERMAL_SD, kept)


def _on_feeler(
    posterior: Posterior, bores: Sequence[int], gap: float, sd: float, heat: float, kept: float = 1.0
) -> Posterior:
    """The first of ``bores`` set to a gap, of which it keeps a part; the others keep their distance from it."""
    bank = posterior.layout.bank_of(bores[0])
    rows = [posterior.row(bore) for bore in bores]
    before = posterior.gaps[rows]
    after = turned(posterior, before, rotation_between(posterior, before[0], gap))
    after[0] = gap
    rate_before, rate_after = rates(posterior, before), rates(posterior, after)
    stretch, follow_first = (rate_after / rate_before)[:, None], (rate_after / rate_before[0])[:, None]
    hand = kept * sd * rate_after / rate_after[0]
    mean, cov = posterior.mean.copy(), posterior.covariance.copy()
    mean[rows] = before + kept * (after - before)
    for side in (cov, cov.T):  # what lies beyond keeps its distance from the first, which forgets where it was
        old = side[rows]
        set_anew = stretch * old - follow_first * old[0]
        set_anew[0] = 0.0
        side[rows] = old + kept * (set_anew - old)
    cov[np.ix_(rows, rows)] += np.outer(hand, hand)
    _add_process_noise(posterior, cov, bank, heat)
    if kept == 1.0:
        cov[rows[0], rows[0]] = sd**2
    return replace(posterior, mean=mean, covariance=cov)


def _after_turn(posterior: Posterior, kind: ScrewWithGain, move: Move) -> Posterior:
    screw = kind.adjuster(move.place)
    bores, gain = kind.reach(posterior.layout, screw), posterior.at_gain(screw)
    rows = [posterior.row(bore) for bore in bores]
    found = _rotated(posterior, rows, float(posterior.mean[gain]) * move.amount, gain, move.amount)
    shaken = rates(posterior, found.gaps[rows]) * TURN_SD * gain_size(posterior, screw)
    found.covariance[np.ix_(rows, rows)] += np.outer(shaken, shaken)
    _add_process_noise(posterior, found.covariance, posterior.layout.bank_of(bores[0]))
    return found


def _after_air(posterior: Posterior, kind: ScrewWithGain, move: Move) -> Posterior:
    screw, cov = kind.adjuster(move.place), posterior.covariance.copy()
    leaks = [posterior.bores + posterior.row(bore) for bore in kind.reach(posterior.layout, screw)]
    if screw not in adjusters_with_gain(posterior.layout):  # recorded before it was known that there is none
        cov[leaks, leaks] += (2 * kind.size(posterior.hardware) * move.amount) ** 2
        return replace(posterior, covariance=cov)
    mean, gain = posterior.mean.copy(), posterior.at_gain(screw)
    mean[leaks] = np.maximum(mean[leaks] + mean[gain] * move.amount, 0.0)
    cov[leaks] += move.amount * cov[gain]
    cov[:, leaks] += move.amount * cov[:, [gain]]
    cov[np.ix_(leaks, leaks)] += (TURN_SD * gain_size(posterior, screw)) ** 2
    cov[range(posterior.bores), range(posterior.bores)] += THERMAL_SD**2
    return replace(posterior, mean=mean, covariance=cov)


def _add_process_noise(posterior: Posterior, cov: Floats, bank: Bank, heat: float = THERMAL_SD) -> None:
    """Add to ``cov`` what handling a bank and the heat meanwhile do."""
    handled = [posterior.row(bore) for bore in bank.bores]
    every = range(posterior.bores)
    cov[handled, handled] += SETTLING_SD**2
    cov[every, every] += heat**2
