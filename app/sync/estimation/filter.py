"""How readings narrow the posterior of an engine, and the posterior after a whole visit.

A reading is taken in by an iterated extended Kalman step through the flow model (``foretold``). What moves do to a
posterior stands in ``predict``. A posterior may be a stack of several, one for each hypothesis of the visit
(``hypotheses``): all of them take in the same readings.

Source of the step: B. M. Bell and F. W. Cathey, "The iterated Kalman filter update as a Gauss-Newton method", IEEE
Transactions on Automatic Control 38 (1993) 294-297.
"""

import math
from collections.abc import Sequence
from dataclasses import replace
from functools import lru_cache
from typing import NamedTuple

import numpy as np

from app.sync.engine.adjusters.registry import kind_of
from app.sync.engine.events import Event, IdleSpeed, Meter, Reading
from app.sync.engine.units import THOU
from app.sync.estimation.foretold import (
    AS_TOLD,
    Bools,
    Innovation,
    Ints,
    Roughness,
    Taken,
    innovation_of,
    predict_readings,
    taken,
)
from app.sync.estimation.posterior import LEAST_GAP, Floats, Posterior
from app.sync.estimation.predict import predict, set_cold
from app.sync.readings.rounds import MOST_OF_A_BORE, last_of_each, reading_sd
from app.sync.readings.trail import Seen, Stage, Trail

MOST_STEPS = 4  # our judgement
RELINEARIZE_GAP = 0.5 * THOU
"""A change of gap below which the flow model is straight enough not to be linearized again (our judgement)."""

RELINEARIZE_NEED = 0.2
"""The same for ln(demand), which moves alone where most gaps are known to ``GAPS_KNOWN`` (our judgement)."""

GAPS_KNOWN = 1 * THOU  # our judgement

INNOVATION_GATE = 2.2
"""Standard deviations from what was foretold at which it is asked whether the move before moved anything
(our judgement)."""

NO_EFFECT_LOG_ODDS = 5.0
"""Log-likelihood by which "it did not move" must lead over "it moved" before that is taken as so: odds of 150, as a
move that moves nothing is rare. At odds of 20 it was wrongly taken as so on 6 % of 400 engines of the benchmark, mostly
of a feeler that landed where the one before it had (our judgement)."""

MISREAD_SD, MISREAD_LOG_ODDS = 0.3, math.log(0.01)
"""How far a figure that was read or typed wrong is from the right one, as a fraction, and how often there is one, as a
logarithm (our judgement)."""

ASTRAY, LEAST_ASTRAY = 1.0, 1.2 * THOU
"""By what part of itself a move may go astray, and by how much of a gap [m] at the least: another feeler than the one
named, a turn the other way, a plate that hung (our judgement)."""

ASTRAY_LOG_ODDS = 3.0
"""Log-likelihood by which "it went astray" must lead over "it moved as it was to" (our judgement)."""

MOST_MISREADS = 4
"""Misreads looked for between two moves (our judgement)."""


class _Stood(NamedTuple):
    """A posterior after a move as foretold, and ``before`` it, None where nothing at idle was moved."""

    posterior: Posterior
    before: Posterior | None = None


def run_filter(start: Posterior, meter: Meter, events: Sequence[Event]) -> Posterior:
    """The posterior after all of this happened.

    Readings between two moves are taken together, because nothing was moved among them, of very many the last ones.
    Where they say that the move before them moved nothing, it is taken back.

    Parameters: ``start`` before; ``meter`` read with; ``events`` oldest first.
    """
    return _run(Trail(_Stood(start)), meter, events)


def followed(start: Posterior, meter: Meter, events: Sequence[Event]) -> Posterior:
    """``run_filter``, begun at the latest move that it was asked about before.

    Parameters: ``start`` before; ``meter`` read with; ``events`` oldest first.
    """
    return _run(_trail(start, meter), meter, events)


@lru_cache(maxsize=128)
def _trail(start: Posterior, _meter: Meter) -> Trail[_Stood]:
    """What is remembered of a visit that began so."""
    return Trail(_Stood(start))


def _run(trail: Trail[_Stood], meter: Meter, events: Sequence[Event]) -> Posterior:
    stood, seen = trail.after(tuple(events), lambda one, stage: _passed(one, meter, stage))
    return _learn_one(stood, meter, seen)


def _passed(stood: _Stood, meter: Meter, stage: Stage) -> _Stood:
    """How the posterior stands after a stage of a visit."""
    posterior = _learn_one(stood, meter, stage.seen)
    if stage.move is None:
        return _Stood(set_cold(posterior, stage.cold))
    return _Stood(predict(posterior, stage.move), posterior if kind_of(stage.move.kind).at_idle else None)


def update(posterior: Posterior, meter: Meter, seen: Sequence[Reading | IdleSpeed]) -> Posterior:
    """The posterior once readings were taken with nothing moved between them.

    Parameters: ``posterior`` before; ``meter`` read with; ``seen`` at least one, in the order taken.
    """
    read, stack = taken(posterior, meter, seen), stacked([posterior])
    return at(_iterate_update(stack, meter, read, AS_TOLD, _fit(stack, meter, read, AS_TOLD, misreads=0)), 0)


def predicted_readings(posterior: Posterior, meter: Meter) -> tuple[Floats, Floats]:
    """What the meter is to show at each bore [kg/s or Pa], and how well that is known (standard deviation).

    Both have shape (bores,).

    Parameters: ``posterior`` about the engine; ``meter`` read with. The meter's own noise comes on top.
    """
    told = predict_readings(posterior, meter)
    known = np.sqrt(np.maximum(np.diag(told.jacobian @ posterior.covariance @ told.jacobian.T), 0.0))[:-1]
    return meter.turned(told.values[:-1]), known * told.values[:-1]


def foretold_at(posterior: Posterior, meter: Meter, bores: Sequence[int]) -> dict[int, tuple[float, float]]:
    """What the meter is to show at some bores, and the standard deviation of one reading there, both [kg/s or Pa].

    Parameters: ``posterior`` about the engine; ``meter`` read with; ``bores`` of its layout.
    """
    rows = posterior.row_of_bore
    shown, known = (found.tolist() for found in predicted_readings(posterior, meter))
    each = [(bore, shown[rows[bore]], known[rows[bore]]) for bore in bores]
    return {bore: (value, math.hypot(reading_sd(value, meter), sd)) for bore, value, sd in each}


def stacked(posteriors: Sequence[Posterior]) -> Posterior:
    """Several posteriors of one engine as a stack.

    Parameters: ``posteriors``, at least one.
    """
    return replace(
        posteriors[0],
        mean=np.stack([one.mean for one in posteriors]),
        covariance=np.stack([one.covariance for one in posteriors]),
        log_evidence=np.array([one.log_evidence for one in posteriors]),
    )


def at(stack: Posterior, place: int) -> Posterior:
    """One posterior of a stack.

    Parameters: ``stack`` of several; ``place`` among them.
    """
    evidence = float(np.asarray(stack.log_evidence)[place])
    return replace(stack, mean=stack.mean[place], covariance=stack.covariance[place], log_evidence=evidence)


def _learn_one(stood: _Stood, meter: Meter, seen: Seen) -> Posterior:
    """``learn`` for a single posterior."""
    if not seen:
        return stood.posterior
    before = None if stood.before is None else stacked([stood.before])
    return at(learn(stacked([stood.posterior]), before, meter, seen, AS_TOLD), 0)


def learn(
    stack: Posterior,
    before: Posterior | None,
    meter: Meter,
    seen: Sequence[Reading | IdleSpeed],
    rough: Roughness,
    sure: Bools | None = None,
) -> Posterior:
    """The posteriors of a stack once they took in what was read after a move, or after the start.

    Each goes by what the move was to do, or, where the readings speak for that, by its having gone astray or having
    moved nothing.

    Parameters: ``stack`` as foretold after the move; ``before`` it, None where nothing at idle was moved; ``meter``
    read with; ``seen`` at least one reading; ``rough``, one for each; ``sure`` of what the move did, whatever is read,
    of shape (stack,), none where None.
    """
    if len(seen) > MOST_OF_A_BORE:
        bores = [one.bore if isinstance(one, Reading) else 0 for one in seen]
        seen = [seen[place] for place in last_of_each(bores, stack.bores)]
    read = taken(stack, meter, seen)
    fit = _fit(stack, meter, read, rough)
    told = fit.told
    if before is not None:
        spread = np.diagonal(fit.spread, axis1=-2, axis2=-1)
        far = (fit.innovation.residual**2 > INNOVATION_GATE**2 * spread).any(axis=-1)  # a cheap look before dear ones
        places = np.flatnonzero(far if sure is None else far & ~sure)
        if len(places):
            instead = what_else(_some(stack, places), _some(before, places))
            stack, fit, told = _weighed(stack, fit, instead, places, meter, read, rough)
    found = _iterate_update(stack, meter, read, rough, fit)
    return replace(found, log_evidence=np.asarray(stack.log_evidence + told))


def what_else(after: Posterior, before: Posterior) -> tuple[tuple[Posterior, float], ...]:
    """What else a move may have done, with the odds against it: gone astray by as much as it was to move, or nothing.

    Parameters: ``after`` it as foretold, a stack; ``before`` it.
    """
    by = ASTRAY * (after.mean - before.mean)
    most = np.abs(by[:, : after.bores]).max(axis=-1)
    by *= np.where((most > 0) & (most < LEAST_ASTRAY), LEAST_ASTRAY / np.maximum(most, 1e-12), 1.0)[:, None]
    astray = replace(after, covariance=after.covariance + by[:, :, None] * by[:, None, :])
    return (astray, ASTRAY_LOG_ODDS), (before, NO_EFFECT_LOG_ODDS)


def _weighed(
    stack: Posterior,
    fit: "_Fit",
    instead: Sequence[tuple[Posterior, float]],
    places: Ints,
    meter: Meter,
    read: Taken,
    rough: Roughness,
) -> tuple[Posterior, "_Fit", Floats]:
    """At the given places of a stack the likeliest of what a move may have done, with its fit; and how likely the
    readings are whatever it did."""
    best, told = fit.told.copy(), fit.told.copy()
    for other, odds in instead:
        fits = _fit(other, meter, read, rough.of(places))
        others = fits.told - odds
        chosen = np.flatnonzero(others > best[places])
        told[places] = np.logaddexp(told[places], others)
        best[places] = np.maximum(best[places], others)
        stack, fit = _put(stack, places[chosen], _some(other, chosen)), fit.put(places[chosen], fits, chosen)
    return stack, fit, told


class _Fit(NamedTuple):
    """How readings fit the posteriors of a stack: the innovation and its covariance, which of them were misread, and
    how likely they are, as a logarithm up to a constant."""

    innovation: Innovation
    spread: Floats
    misread: Bools
    told: Floats

    def put(self, places: Ints, other: "_Fit", chosen: Ints) -> "_Fit":
        """With those ``chosen`` of another fit in the given places."""
        mine, theirs = self.innovation, other.innovation
        innovation = mine._replace(
            residual=_with(mine.residual, places, theirs.residual[chosen]),
            jacobian=_with(mine.jacobian, places, theirs.jacobian[chosen]),
        )
        misread = self.misread.copy()
        misread[places] = other.misread[chosen]
        return self._replace(
            innovation=innovation, spread=_with(self.spread, places, other.spread[chosen]), misread=misread
        )


def _fit(stack: Posterior, meter: Meter, read: Taken, rough: Roughness, misreads: int = MOST_MISREADS) -> _Fit:
    """How readings fit, at most so many taken as misread: one that was is as good as not read, and dear.

    Source of the residuals: R. D. Cook and S. Weisberg, Residuals and Influence in Regression, 1982, 2.2.1, from
    memory; of the inverse with one variance more: W. W. Hager, "Updating the inverse of a matrix", SIAM Review 31
    (1989) 221-239, from memory.
    """
    found = innovation_of(stack, meter, read, rough)
    added, every = MISREAD_SD**2, np.arange(len(stack.mean))
    spread, wrong = found.covariance(stack.covariance), np.zeros(found.residual.shape, dtype=bool)
    precision = np.linalg.inv(spread)
    for left in reversed(range(misreads + 1)):
        pulled = (precision @ found.residual[..., None])[..., 0]
        sharp = np.diagonal(precision, axis1=-2, axis2=-1)
        gain = MISREAD_LOG_ODDS + 0.5 * (added * pulled**2 / (1 + added * sharp) - np.log1p(added * sharp))
        worst = gain.argmax(axis=-1)
        places = np.flatnonzero(gain[every, worst] > 0)
        if not len(places) or not left:
            break
        at_worst = worst[places]
        wrong[places, at_worst] = True
        spread[places, at_worst, at_worst] += added
        of_worst = precision[places, :, at_worst]
        lost = added / (1 + added * sharp[places, at_worst])
        precision[places] -= (lost[:, None] * of_worst)[:, :, None] * of_worst[:, None, :]
    squares = (found.residual * pulled).sum(axis=-1) + np.linalg.slogdet(spread)[1]
    told = MISREAD_LOG_ODDS * wrong.sum(axis=-1) - 0.5 * squares - found.log_scale
    return _Fit(found, spread, wrong, np.asarray(told))


def _iterate_update(stack: Posterior, meter: Meter, read: Taken, rough: Roughness, fit: _Fit) -> Posterior:
    """The posteriors once readings that fit so are taken in, each linearized again until it stands still."""
    n, innovation, spread = stack.bores, fit.innovation, fit.spread
    variances = np.diagonal(stack.covariance, axis1=-2, axis2=-1)[:, :n]
    known = np.median(variances, axis=-1) < GAPS_KNOWN**2
    mean, cov, moving = stack.mean.copy(), stack.covariance.copy(), np.arange(len(stack.mean))
    for left in reversed(range(MOST_STEPS)):
        prior, before = stack.mean[moving], stack.covariance[moving]
        back = (innovation.jacobian @ (prior - mean[moving])[..., None])[..., 0]
        from_prior = innovation._replace(residual=innovation.residual - back)
        new, narrowed = kalman_update(prior, before, from_prior, spread)
        new[:, :n] = np.maximum(new[:, :n], LEAST_GAP)
        change = np.abs(new - mean[moving])
        mean[moving], cov[moving] = new, (narrowed + narrowed.swapaxes(-1, -2)) / 2
        far = (change[:, :n].max(axis=-1) >= RELINEARIZE_GAP) | (known[moving] & (change[:, -1] >= RELINEARIZE_NEED))
        moving = moving[far]
        if not len(moving) or not left:
            break
        innovation = innovation_of(replace(stack, mean=mean[moving]), meter, read, rough.of(moving))
        innovation = innovation._replace(own=innovation.own + MISREAD_SD**2 * fit.misread[moving])
        spread = innovation.covariance(stack.covariance[moving])
    return replace(stack, mean=mean, covariance=cov)


def kalman_update(mean: Floats, cov: Floats, innovation: Innovation, spread: Floats) -> tuple[Floats, Floats]:
    """Mean, shape (..., n), and covariance, shape (..., n, n), of a Gaussian after readings that depend on it linearly.

    Parameters: ``mean`` before, shape (..., n); ``cov`` before, shape (..., n, n); ``innovation`` of the readings from
    that mean; ``spread`` its covariance, ``innovation.covariance(cov)``, shape (..., readings, readings).

    Read 1 higher, as well known as before:

    >>> near = Innovation(np.array([1.0]), np.array([[1.0]]), np.array([[1.0]]))
    >>> mean, cov = kalman_update(np.array([10.0]), np.array([[1.0]]), near, near.covariance(np.array([[1.0]])))
    >>> float(mean[0]), float(cov[0, 0])
    (10.5, 0.5)
    """
    crossed = innovation.jacobian @ cov
    gain = np.linalg.solve(spread, crossed).swapaxes(-1, -2)
    return mean + (gain @ innovation.residual[..., None])[..., 0], cov - gain @ crossed


def _some(stack: Posterior, places: Ints) -> Posterior:
    """Those posteriors of a stack."""
    return replace(stack, mean=stack.mean[places], covariance=stack.covariance[places])


def _put(stack: Posterior, places: Ints, others: Posterior) -> Posterior:
    """A stack with others in the given places."""
    cov = _with(stack.covariance, places, others.covariance)
    return replace(stack, mean=_with(stack.mean, places, others.mean), covariance=cov)


def _with(values: Floats, places: Ints, others: Floats) -> Floats:
    """A copy with others in the given places."""
    values = values.copy()
    values[places] = others
    return values
