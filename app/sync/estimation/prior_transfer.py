"""What earlier visits of an engine taught: what leaks past its plates, what it needs to idle, and the meter's scale.

Gaps are not among it: a year of use moves them, and the first round reads them again. Of what is carried, some is in
doubt again by the next visit, more where parts were changed meanwhile.
"""

from dataclasses import replace

import numpy as np

from app.sync.engine.plate import FIT, closed_leakage
from app.sync.estimation.posterior import Posterior

# How far what was learned may be off by the next visit; our judgement.
LEAK_AGED = 0.2  # of the usual leak: deposits, a plate that came to rest otherwise
SCALE_AGED = 0.03  # of the meter: another day's air, wear
DEMAND_AGED = 0.05  # of the engine: another day's air and oil


def prior_from_history(posterior: Posterior, fresh: Posterior, *, same_meter: bool, same_air: bool) -> Posterior:
    """What a visit leaves to start the next one from.

    Where anything else is fitted than before, only the meter's scale is carried: leaks and demand were those of other
    parts. Demand is not carried either where the engine breathes otherwise.

    Parameters: ``posterior`` at the end of the visit; ``fresh`` the usual posterior of the engine as it is now;
    ``same_meter`` whether it is read with the same meter; ``same_air`` whether what it breathes through (exhaust,
    intake, the place it is fitted in) is as it was.
    """
    n, scale, demand = fresh.bores, len(fresh.mean) - 2, len(fresh.mean) - 1
    aged = np.zeros(len(fresh.mean))
    aged[n : 2 * n] = LEAK_AGED * FIT * closed_leakage(fresh.hardware.bore_diameter.value)
    aged[scale], aged[demand] = SCALE_AGED, DEMAND_AGED
    new = old = [scale] if same_meter else []
    if (posterior.layout, posterior.hardware) == (fresh.layout, fresh.hardware):
        new = old = [*range(n, scale), *new, *([demand] if same_air else [])]
    elif same_meter:
        old = [len(posterior.mean) - 2]
    if demand in new:
        fresh = demand_known(fresh, float(posterior.covariance[-1, -1]) + DEMAND_AGED**2)
    mean, cov = fresh.mean.copy(), fresh.covariance.copy()
    mean[new] = posterior.mean[old]
    cov[np.ix_(new, new)] = posterior.covariance[np.ix_(old, old)] + np.diag(aged[new] ** 2)
    return replace(fresh, mean=mean, covariance=cov)


def demand_known(fresh: Posterior, variance: float) -> Posterior:
    """A usual engine of which it is better known what it needs to idle: by so much less its gaps are in doubt together.

    Parameters: ``fresh``, the usual posterior; ``variance`` of ln(demand) that is left, at most that of ``fresh``.

    Source: regression of the other quantities on one of a Gaussian; any text on the multivariate normal.
    """
    with_it = fresh.covariance[:, -1] / fresh.covariance[-1, -1]
    narrower = np.outer(with_it, with_it) * (fresh.covariance[-1, -1] - variance)
    return replace(fresh, covariance=fresh.covariance - narrower)
