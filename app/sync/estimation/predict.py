"""How moves change what is believed of an engine, before anything is read.

A stop turn shifts every gap of its bank; a blade sets one gap outright and carries what lies beyond, so that it forgets
the old gap and keeps the leak, which is how a blade is a measurement too; a coupler's screw turns what lies beyond, by
what a turn of it is believed to do; a bypass screw changes what leaks past its plate.
"""

from dataclasses import replace

import numpy as np

from app.sync.engine.events import BladeReset, BypassTurn, LinkTurn, Move, ScrewTurn, StopTurn
from app.sync.engine.layout import Adjuster, Bank, Bypass, Coupler, StopScrew
from app.sync.engine.linkage import BYPASS_AREA, stop_rotation
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

SETTLING_SD = 0.06 * THOU  # where the plates of a handled bank come to rest
THERMAL_SD = 0.04 * THOU  # what heat moves every plate by between two moves


def predict(posterior: Posterior, move: Move) -> Posterior:
    """What is believed once a move was made, before anything is read.

    Parameters: ``posterior`` before; ``move`` made. A link does nothing at idle.
    """
    match move:
        case StopTurn():
            return _after_stop(posterior, move)
        case BladeReset():
            return _after_blade(posterior, move)
        case ScrewTurn():
            return _after_screw(posterior, move)
        case BypassTurn():
            return _after_bypass(posterior, move)
        case LinkTurn():
            return posterior


def adjuster_of(move: Move) -> Adjuster | None:
    """What a move was made at; None for a link, which does nothing at idle.

    Parameters: ``move`` made.
    """
    match move:
        case StopTurn(bank):
            return StopScrew(bank)
        case BladeReset(near, far) | ScrewTurn(near, far):
            return Coupler(near, far)
        case BypassTurn(bore):
            return Bypass(bore)
        case LinkTurn():
            return None


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


def _after_screw(posterior: Posterior, move: ScrewTurn) -> Posterior:
    coupler = Coupler(move.near, move.far)
    bank, gain = posterior.layout.bank_of(move.far), posterior.at_gain(coupler)
    rows = [posterior.row(bore) for bore in bank.beyond(coupler)]
    before = posterior.gaps[rows]
    after = turned(posterior, before, float(posterior.mean[gain]) * move.turns)
    rate_after = rates(posterior, after)
    change = np.eye(len(posterior.mean))[rows]
    change[range(len(rows)), rows] = rate_after / rates(posterior, before)
    change[:, gain] = rate_after * move.turns
    mean, cov = posterior.mean.copy(), posterior.covariance.copy()
    mean[rows] = after
    within = change @ posterior.covariance @ change.T
    cov[rows] = change @ cov
    cov[:, rows] = cov[rows].T
    shaken = rate_after * TURN_SD * gain_size(posterior, coupler)
    cov[np.ix_(rows, rows)] = within + np.outer(shaken, shaken)
    _add_process_noise(posterior, cov, bank)
    return replace(posterior, mean=mean, covariance=cov)


def _after_bypass(posterior: Posterior, move: BypassTurn) -> Posterior:
    leak, cov = posterior.bores + posterior.row(move.bore), posterior.covariance.copy()
    if move.bore not in posterior.layout.bypass:  # kept before it was known what is fitted: nobody knows what it did
        cov[leak, leak] += (2 * BYPASS_AREA * move.turns) ** 2
        return replace(posterior, covariance=cov)
    screw = Bypass(move.bore)
    mean, gain = posterior.mean.copy(), posterior.at_gain(screw)
    mean[leak] = max(mean[leak] + mean[gain] * move.turns, 0.0)
    cov[leak] += move.turns * cov[gain]
    cov[:, leak] += move.turns * cov[:, gain]
    cov[leak, leak] += (TURN_SD * gain_size(posterior, screw)) ** 2
    cov[range(posterior.bores), range(posterior.bores)] += THERMAL_SD**2
    return replace(posterior, mean=mean, covariance=cov)


def _add_process_noise(posterior: Posterior, cov: Floats, bank: Bank) -> None:
    """Add to ``cov`` what handling a bank and the heat meanwhile do."""
    handled = [posterior.row(bore) for bore in bank.bores]
    every = range(posterior.bores)
    cov[handled, handled] += SETTLING_SD**2
    cov[every, every] += THERMAL_SD**2
