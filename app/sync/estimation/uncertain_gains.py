"""Screws of which no drawing says what a turn does: those of couplers, bypass screws and further ones like them.

A stop screw's thread and lever are drawn; these are as the maker liked. What a turn of each does is therefore part of
the state: a guess to begin with, mostly common to all screws of a kind, and learned from the readings after one was
turned. A screw that may open either way begins at nothing: it is turned a little, and the next reading tells.
"""

import numpy as np
from numpy.typing import NDArray

from app.sync.engine.adjusters.registry import adjusters_with_gain, gain_kind
from app.sync.engine.hardware import Hardware
from app.sync.engine.layout import Layout

Floats = NDArray[np.float64]

A_LITTLE = 1 / 8
"""Turns of a screw whose way is not known yet, to find it out (our judgement)."""

SIGN_Z = 2.0
"""Standard deviations that what a turn does must stand clear of nothing before a way is named (our judgement)."""


def prior_gains(layout: Layout, hardware: Hardware) -> tuple[Floats, Floats]:
    """Prior mean and covariance of what a turn of each of ``adjusters_with_gain`` does.

    A screw that turns plates in radians per turn, positive opening; one that lets air past in square meters per turn.
    Shape (adjusters,) and shape (adjusters, adjusters).

    Parameters: ``layout`` of the engine; ``hardware`` fitted.

    >>> from app.sync.engine.hardware import likely_hardware
    >>> from app.sync.engine.layout import Bank
    >>> one = Layout((Bank("A", (1, 2), 1, 1, ("screw-out",)),), bypass=frozenset({2}))
    >>> mean, cov = prior_gains(one, likely_hardware(1e-3, 2))
    >>> mean.round(9), (np.sqrt(np.diag(cov)) / abs(mean)).round(2)
    (array([-4.e-02,  5.e-07]), array([0.36, 0.43]))
    """
    screws = adjusters_with_gain(layout)
    kinds = [gain_kind(layout, screw) for screw in screws]
    sizes = np.array([kind.size(hardware) for kind in kinds])
    ways = np.array([kind.way(layout, screw) for kind, screw in zip(kinds, screws, strict=True)])
    mean, cov = ways * sizes, np.zeros((len(screws), len(screws)))
    for kind in dict.fromkeys(kinds):
        common = np.where([one is kind for one in kinds], mean, 0.0)
        cov += kind.common_sd**2 * np.outer(common, common) + kind.own_sd**2 * np.diag(common**2)
    unknown = np.flatnonzero(ways == 0)
    cov[unknown, unknown] = sizes[unknown] ** 2
    return mean, cov
