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
    HAND,
    TURN,
    Belief,
    Floats,
    gain_size,
    rates,
    rotation_between,
    turn_noise,
    turned,
)

REST = 0.06 * THOU  # where the plates of a handled bank come to rest
HEAT = 0.04 * THOU  # what heat moves every plate by between two moves


def after_move(belief: Belief, move: Move) -> Belief:
    """What is believed once a move was made, before anything is read.

    Parameters: ``belief`` before; ``move`` made. A link does nothing at idle.
    """
    match move:
        case StopTurn():
            return _after_stop(belief, move)
        case BladeReset():
            return _after_blade(belief, move)
        case ScrewTurn():
            return _after_screw(belief, move)
        case BypassTurn():
            return _after_bypass(belief, move)
        case LinkTurn():
            return belief


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


def _after_stop(belief: Belief, move: StopTurn) -> Belief:
    bank = belief.layout.bank(move.bank)
    rows = [belief.row(bore) for bore in bank.bores]
    before = belief.gaps[rows]
    after = turned(belief, before, stop_rotation(move.turns, belief.hardware))
    rate_after = rates(belief, after)
    stretch = rate_after / rates(belief, before)
    shaken = rate_after * turn_noise(belief, move.turns)
    mean, cov = belief.mean.copy(), belief.cov.copy()
    mean[rows] = after
    cov[rows] *= stretch[:, None]
    cov[:, rows] *= stretch
    cov[np.ix_(rows, rows)] += np.outer(shaken, shaken)
    _unsettle(belief, cov, bank)
    return replace(belief, mean=mean, cov=cov)


def _after_blade(belief: Belief, move: BladeReset) -> Belief:
    bank = belief.layout.bank_of(move.far)
    rows = [belief.row(bore) for bore in bank.beyond(Coupler(move.near, move.far))]
    before = belief.gaps[rows]
    after = turned(belief, before, rotation_between(belief, before[0], move.gap))
    after[0] = move.gap
    rate_before, rate_after = rates(belief, before), rates(belief, after)
    stretch, follow_first = (rate_after / rate_before)[:, None], (rate_after / rate_before[0])[:, None]
    hand = HAND * rate_after / rate_after[0]
    mean, cov = belief.mean.copy(), belief.cov.copy()
    mean[rows] = after
    for side in (cov, cov.T):  # what lies beyond keeps its distance from the first, which forgets where it was
        side[rows] = stretch * side[rows] - follow_first * side[rows[0]]
        side[rows[0]] = 0.0
    cov[np.ix_(rows, rows)] += np.outer(hand, hand)
    _unsettle(belief, cov, bank)
    cov[rows[0], rows[0]] = HAND**2
    return replace(belief, mean=mean, cov=cov)


def _after_screw(belief: Belief, move: ScrewTurn) -> Belief:
    coupler = Coupler(move.near, move.far)
    bank, gain = belief.layout.bank_of(move.far), belief.at_gain(coupler)
    rows = [belief.row(bore) for bore in bank.beyond(coupler)]
    before = belief.gaps[rows]
    after = turned(belief, before, float(belief.mean[gain]) * move.turns)
    rate_after = rates(belief, after)
    change = np.eye(len(belief.mean))[rows]
    change[range(len(rows)), rows] = rate_after / rates(belief, before)
    change[:, gain] = rate_after * move.turns
    mean, cov = belief.mean.copy(), belief.cov.copy()
    mean[rows] = after
    within = change @ belief.cov @ change.T
    cov[rows] = change @ cov
    cov[:, rows] = cov[rows].T
    shaken = rate_after * TURN * gain_size(belief, coupler)
    cov[np.ix_(rows, rows)] = within + np.outer(shaken, shaken)
    _unsettle(belief, cov, bank)
    return replace(belief, mean=mean, cov=cov)


def _after_bypass(belief: Belief, move: BypassTurn) -> Belief:
    leak, cov = belief.bores + belief.row(move.bore), belief.cov.copy()
    if move.bore not in belief.layout.bypass:  # kept before it was known what is fitted: nobody knows what it did
        cov[leak, leak] += (2 * BYPASS_AREA * move.turns) ** 2
        return replace(belief, cov=cov)
    screw = Bypass(move.bore)
    mean, gain = belief.mean.copy(), belief.at_gain(screw)
    mean[leak] = max(mean[leak] + mean[gain] * move.turns, 0.0)
    cov[leak] += move.turns * cov[gain]
    cov[:, leak] += move.turns * cov[:, gain]
    cov[leak, leak] += (TURN * gain_size(belief, screw)) ** 2
    cov[range(belief.bores), range(belief.bores)] += HEAT**2
    return replace(belief, mean=mean, cov=cov)


def _unsettle(belief: Belief, cov: Floats, bank: Bank) -> None:
    """Add to ``cov`` what handling a bank and the heat meanwhile do."""
    handled = [belief.row(bore) for bore in bank.bores]
    every = range(belief.bores)
    cov[handled, handled] += REST**2
    cov[every, every] += HEAT**2
