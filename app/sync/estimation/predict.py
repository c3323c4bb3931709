"""How moves change the posterior of an engine, before anything is read.

A stop turn shifts every gap of its bank; a feeler sets one gap outright and carries what lies beyond, so that it
forgets the old gap and keeps the leak, which is how a feeler is a measurement too; a screw with a gain turns the plates
that it acts on, or changes what leaks past them, by what a turn of it does by the posterior. Which of these a move does
is said by the kind of its adjuster.
"""

from dataclasses import replace

import numpy as np

from app.sync.engine.adjusters.kind import ScrewWithGain
from app.sync.engine.adjusters.registry import adjusters_with_gain, kind_of
from app.sync.engine.events import BladeReset, Move, StopTurn
from app.sync.engine.layout import Bank, Coupler
from app.sync.engine.linkage import stop_rotation
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


def predict(posterior: Posterior, move: Move) -> Posterior:
    """The posterior once a move was made, before anything is read.

    Parameters: ``posterior`` before; ``move`` made. A link rod does nothing at idle.
    """
    kind = kind_of(move.kind)
    if isinstance(move, StopTurn):
        return _after_stop(posterior, move)
    if isinstance(move, BladeReset):
        return _after_blade(posterior, move)
    if isinstance(kind, ScrewWithGain):
        turns_plates = kind.effect == "turns plates"
        return _after_turn(posterior, kind, move) if turns_plates else _after_air(posterior, kind, move)
    return posterior


def _after_stop(posterior: Posterior, move: StopTurn) -> Posterior:
    bank = posterior.layout.bank(move.bank)
    rows = [posterior.row(bore) for bore in bank.bores]
    before = posterior.gaps[rows]
    after = turned(posterior, before, stop_rotation(move.turns, posterior.hardware))
    rate_after = rates(posterior, after)
    stretch = rate_after / rates(posterior, before)
    shaken = rate_after * turn_noise(posterior, move.turns)
    mean, cov = posterior.mean.copy(), posterior.covariance.copy()
    mean[rows] = after
    cov[rows] *= stretch[:, None]
    cov[:, rows] *= stretch
    cov[np.ix_(rows, rows)] += np.outer(shaken, shaken)
    _add_process_noise(posterior, cov, bank)
    return replace(posterior, mean=mean, covariance=cov)


def _after_blade(posterior: Posterior, move: BladeReset) -> Posterior:
    bank = posterior.layout.bank_of(move.far)
    rows = [posterior.row(bore) for bore in bank.beyond(Coupler(move.near, move.far))]
    before = posterior.gaps[rows]
    after = turned(posterior, before, rotation_between(posterior, before[0], move.gap))
    after[0] = move.gap
    rate_before, rate_after = rates(posterior, before), rates(posterior, after)
    stretch, follow_first = (rate_after / rate_before)[:, None], (rate_after / rate_before[0])[:, None]
    hand = FEELER_SD * rate_after / rate_after[0]
    mean, cov = posterior.mean.copy(), posterior.covariance.copy()
    mean[rows] = after
    for side in (cov, cov.T):  # what lies beyond keeps its distance from the first, which forgets where it was
        side[rows] = stretch * side[rows] - follow_first * side[rows[0]]
        side[rows[0]] = 0.0
    cov[np.ix_(rows, rows)] += np.outer(hand, hand)
    _add_process_noise(posterior, cov, bank)
    cov[rows[0], rows[0]] = FEELER_SD**2
    return replace(posterior, mean=mean, covariance=cov)


def _after_turn(posterior: Posterior, kind: ScrewWithGain, move: Move) -> Posterior:
    screw = kind.adjuster(move.place)
    bores, gain = kind.reach(posterior.layout, screw), posterior.at_gain(screw)
    rows = [posterior.row(bore) for bore in bores]
    before = posterior.gaps[rows]
    after = turned(posterior, before, float(posterior.mean[gain]) * move.amount)
    rate_after = rates(posterior, after)
    change = np.eye(len(posterior.mean))[rows]
    change[range(len(rows)), rows] = rate_after / rates(posterior, before)
    change[:, gain] = rate_after * move.amount
    mean, cov = posterior.mean.copy(), posterior.covariance.copy()
    mean[rows] = after
    within = change @ posterior.covariance @ change.T
    cov[rows] = change @ cov
    cov[:, rows] = cov[rows].T
    shaken = rate_after * TURN_SD * gain_size(posterior, screw)
    cov[np.ix_(rows, rows)] = within + np.outer(shaken, shaken)
    _add_process_noise(posterior, cov, posterior.layout.bank_of(bores[0]))
    return replace(posterior, mean=mean, covariance=cov)


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


def _add_process_noise(posterior: Posterior, cov: Floats, bank: Bank) -> None:
    """Add to ``cov`` what handling a bank and the heat meanwhile do."""
    handled = [posterior.row(bore) for bore in bank.bores]
    every = range(posterior.bores)
    cov[handled, handled] += SETTLING_SD**2
    cov[every, every] += THERMAL_SD**2
