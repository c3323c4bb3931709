"""What a meter and the tachometer are to show by a posterior, and how far what they showed lies from that.

A posterior may be a stack of several, of one engine: the leading axes of its mean are those of everything here.
"""

import math
from collections.abc import Sequence
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray
from scipy.optimize import brentq
from scipy.special import ndtr, stdtrit

from app.sync.engine.engine_air import TACHOMETER_SD
from app.sync.engine.events import IdleSpeed, Meter, Reading
from app.sync.engine.idle_flow import FlowJacobian, IdleSolution, slopes, solve_idle
from app.sync.estimation.posterior import Floats, Posterior, rates
from app.sync.readings.idle_wander import EVERY_READING, MEMORY, WANDER, drift_over

Ints = NDArray[np.int64]
Bools = NDArray[np.bool_]


class Innovation(NamedTuple):
    """Readings less what a posterior foretells, relative to it, shape (..., readings); how that answers to the state,
    shape (..., readings, n); the noise, shape (readings, readings) where all of a stack have it, else (..., readings,
    readings); ln of what was foretold, all together; and the variance of each reading's own on top, shape (...,
    readings)."""

    residual: Floats
    jacobian: Floats
    noise: Floats
    log_scale: Floats | float = 0.0
    own: Floats | float = 0.0

    def covariance(self, cov: Floats) -> Floats:
        """Covariance of the innovation under a posterior of covariance ``cov``."""
        each = np.arange(self.residual.shape[-1])
        found = np.asarray(self.jacobian @ cov @ self.jacobian.swapaxes(-1, -2))
        found += self.noise  # where it stands: of many readings it is as large as all else together
        found[..., each, each] += self.own
        return found


FREEDOM, AS_FORETOLD = 3.0, 0.95
"""How many readings the prior about how far those after a move lie from what was foretold is worth, and that distance
over the spread foretold (our judgement; bands that come of it are held to ``tests/benchmarks/README.md``)."""

FAR = 3.0
"""Distances past which one reading teaches no more: it may be misread (our judgement)."""


OUT_OF_SIGHT = 8.0
"""Standard deviations from a mean past which an end of a band is not looked for (our judgement: a normal law leaves
fewer than one reading in 10^14 there)."""


class Surprise(NamedTuple):
    """How far the first readings of bores after moves lay from what was foretold, over the spread foretold: how many
    ``readings``, with those that the prior is worth, and their sum of ``squares``. Hands, levers and meters are often
    unlike the prior of them; a visit shows by how much.

    Source: A. Gelman et al., Bayesian Data Analysis, 3rd ed., 2.6 (normal, unknown variance) and 3.2 (Student's law).
    """

    readings: float = FREEDOM
    squares: float = FREEDOM * AS_FORETOLD**2

    def and_at(self, distance: float) -> "Surprise":
        """With one more reading, that many spreads from what was foretold."""
        mean = self.squares / self.readings
        return Surprise(self.readings + 1, self.squares + min(distance**2, FAR**2 * mean))

    @property
    def nine_in_ten(self) -> float:
        """Spreads foretold either side of a value that hold nine readings of ten after the next move.

        >>> round(Surprise().nine_in_ten, 2), round(Surprise(1e6, 1e6).nine_in_ten, 3)
        (2.24, 1.645)
        """
        return float(stdtrit(self.readings, 0.95)) * math.sqrt(self.squares / self.readings)


def band_of_either(moved: tuple[float, float], unmoved: tuple[float, float], doubt: float) -> tuple[float, float]:
    """The ends that leave one reading of twenty on either side, of two normal laws one of which holds; none below 0.

    Parameters: ``moved`` and ``unmoved``, mean and standard deviation of each in one unit; ``doubt``, the chance of
    the second, from 0 to 1.

    >>> [round(end, 2) for end in band_of_either((6.0, 0.1), (9.0, 0.1), 0.5)]
    [5.87, 9.13]
    """
    laws = ((1 - doubt, *moved), (doubt, *unmoved))

    def below(value: float, share: float) -> float:
        return float(sum([chance * ndtr((value - mean) / sd) for chance, mean, sd in laws])) - share

    least = min([mean - OUT_OF_SIGHT * sd for _, mean, sd in laws])
    most = max([mean + OUT_OF_SIGHT * sd for _, mean, sd in laws])
    low, high = (float(brentq(below, least, most, args=(share,))) for share in (0.05, 0.95))
    return max(low, 0.0), high


class Roughness(NamedTuple):
    """How much rougher than told readings are, one for each posterior of a stack: ``noise`` times the meter's
    repeatability, and at the bore of ``row`` by a plate that comes to rest anywhere within ``lost_motion`` [rad], and
    by a figure that is ``wrong`` by a fraction, both standard deviations."""

    noise: Floats
    row: Ints
    lost_motion: Floats
    wrong: Floats

    def of(self, places: Ints) -> "Roughness":
        """That of some of the posteriors."""
        return Roughness(self.noise[places], self.row[places], self.lost_motion[places], self.wrong[places])


AS_TOLD = Roughness(np.ones(1), np.zeros(1, dtype=np.int64), np.zeros(1), np.zeros(1))


class Taken(NamedTuple):
    """Readings as numbers, pressures as vacuum below ambient: the row of each bore, -1 for the tachometer; ``read``
    tells those of the meter; ``repeats`` and ``step`` are how far each is to be trusted, as a fraction and in its
    unit; ``shared`` is the noise that they have in common, and that of the tachometer."""

    rows: Ints
    values: Floats
    read: Bools
    repeats: Floats
    step: Floats
    shared: Floats


def taken(posterior: Posterior, meter: Meter, seen: Sequence[Reading | IdleSpeed]) -> Taken:
    """Readings with nothing moved between them as numbers.

    Parameters: ``posterior`` about the engine; ``meter`` read with; ``seen`` at least one, in the order taken.
    """
    rows = np.array([-1 if isinstance(one, IdleSpeed) else posterior.row(one.bore) for one in seen])
    values = np.array([one.speed if isinstance(one, IdleSpeed) else meter.turned(one.value) for one in seen])
    at = np.array([one.at for one in seen])
    read, each = rows >= 0, np.arange(len(rows))
    span = float(at.max() - at.min())
    ramp = read * (at - at.sum() / len(at)) / (span or 1.0) * drift_over(min(span, MEMORY), len(at))
    apart = np.abs(np.subtract.outer(at, at)) if span else EVERY_READING * np.abs(np.subtract.outer(each, each))
    shared = WANDER**2 * np.exp(-apart / MEMORY) * (read[:, None] & read) + ramp[:, None] * ramp
    shared[each, each] += np.where(read, 0.0, TACHOMETER_SD**2)
    own = [None if isinstance(one, IdleSpeed) else one.sd for one in seen]
    repeats = np.array([meter.repeatability if sd is None else sd for sd in own])
    step = np.array([meter.step if sd is None else 0.0 for sd in own])
    return Taken(rows, values, read, repeats, step, shared)


def innovation_of(posterior: Posterior, meter: Meter, seen: Taken, rough: Roughness) -> Innovation:
    """How far readings lie from what each posterior of a stack foretells.

    Parameters: ``posterior``, a stack; ``meter`` read with; ``seen`` readings; ``rough``, one for each posterior.
    """
    told = predict_readings(posterior, meter)
    foretold, jacobian = told.values[..., seen.rows], told.jacobian[..., seen.rows, :]
    repeats = rough.noise[:, None] * seen.repeats * meter.turned(foretold) / foretold
    own = seen.read * (repeats**2 + (seen.step / foretold) ** 2 / 12)
    if rough.lost_motion.any():
        stack = np.arange(len(rough.row))
        by_angle = told.jacobian[stack, rough.row, rough.row] * rates(posterior, posterior.gaps)[stack, rough.row]
        loose = (rough.lost_motion * by_angle)[:, None] * (seen.rows == rough.row[:, None])
        own += loose**2
    if rough.wrong.any():
        own += (rough.wrong[:, None] * (seen.rows == rough.row[:, None])) ** 2
    return Innovation(seen.values / foretold - 1, jacobian, seen.shared, np.log(foretold).sum(axis=-1), own)


class PredictedReading(NamedTuple):
    """What is to be read at each bore, a pressure as vacuum below ambient, and, last, on the tachometer; and its
    relative answer to the state."""

    values: Floats
    jacobian: Floats


def predict_readings(posterior: Posterior, meter: Meter) -> PredictedReading:
    """What is to be read by a posterior, or by each of a stack.

    Parameters: ``posterior`` about the engine; ``meter`` read with.
    """
    n, areas, mean = posterior.bores, posterior.areas, posterior.mean
    settled = solve_idle(posterior.engine, areas, mean[..., -1])
    found = slopes(posterior.engine, areas, settled)
    shown, by_area, by_demand = _shown(meter, settled, found)
    by = np.concatenate([by_area, found.log_speed[..., None, :n]], axis=-2)
    answer = np.zeros((*mean.shape[:-1], n + 1, mean.shape[-1]))
    answer[..., :n] = by * (posterior.width / areas)[..., None, :]
    answer[..., n : 2 * n] = by / areas[..., None, :]
    answer[..., :n, -2] = 1.0
    answer[..., :n, -1], answer[..., n, -1] = by_demand, found.log_speed[..., n]
    speed = posterior.engine.speed * np.exp(settled.log_speed)
    return PredictedReading(
        np.concatenate([shown * np.exp(mean[..., -2])[..., None], np.asarray(speed)[..., None]], axis=-1), answer
    )


def _shown(meter: Meter, settled: IdleSolution, found: FlowJacobian) -> tuple[Floats, Floats, Floats]:
    """What a meter of scale 1 shows at each bore, and its relative answer to areas and to demand."""
    n = settled.flows.shape[-1]
    if meter.quantity == "flow":
        return settled.flows, found.flows[..., :n], found.flows[..., n]
    deep = meter.ambient * (1 - settled.ratios)
    lever = -(settled.ratios / (1 - settled.ratios))
    by = found.ratios
    return deep, lever[..., None] * by[..., :n], lever * by[..., n]
