"""Screws whose turn does nobody knows quite how much: those of couplers, and bypass screws.

A stop screw's thread and lever are drawn; a coupler's screw and a bypass screw are as the maker liked. What a turn of
each does is therefore part of what is believed of an engine: a guess to begin with, mostly common to all screws of a
kind, and learned from the readings after one was turned. A screw of which nobody knows which way it opens begins at
nothing either way: it is turned a little, and the next reading tells.
"""

from functools import cache

import numpy as np
from numpy.typing import NDArray

from app.sync.engine.hardware import Hardware
from app.sync.engine.layout import Bypass, Coupler, Layout
from app.sync.engine.linkage import BYPASS_AREA, WAYS, coupler_rotation

Floats = NDArray[np.float64]

# Relative spread of what a turn does, common to all screws of one kind and of each by itself (this program's choice).
SCREW_TOGETHER, SCREW_APART = 0.35, 0.10
BYPASS_TOGETHER, BYPASS_APART = 0.40, 0.15

A_LITTLE = 1 / 8
"""Turns of a coupler's screw of which nobody knows the way yet, to find it out (this program's choice)."""

BYPASS_BASE = 1.5
"""Turns that every bypass screw stands out from its seat after the preset (this program's choice)."""

BYPASS_MOST = 4.0
"""Turns out of its seat beyond which a bypass screw is taken to do nothing more (this program's choice)."""

SIGN_Z = 2.0
"""Standard deviations that what a turn does must stand clear of nothing before a way is named."""


@cache
def adjusters_with_gain(layout: Layout) -> tuple[Coupler | Bypass, ...]:
    """The screws of this kind: those of couplers, outward from each stop bore, then bypass screws in walking order.

    Parameters: ``layout`` of the engine.
    """
    return (*(coupler for coupler in layout.couplers() if layout.by_screw(coupler)), *layout.bypass_screws)


def prior_gains(layout: Layout, hardware: Hardware) -> tuple[Floats, Floats]:
    """What a turn of each of ``adjusters_with_gain`` is believed to do before any was turned, and its covariance.

    A coupler's screw in radians of the plates beyond per turn inward, positive opening; a bypass screw in square metres
    per turn outward. Shape (adjusters,) and shape (adjusters, adjusters).

    Parameters: ``layout`` of the engine; ``hardware`` fitted.

    >>> from app.sync.engine.hardware import likely_hardware
    >>> from app.sync.engine.layout import Bank
    >>> one = Layout((Bank("A", (1, 2), 1, 1, ("screw-out",)),), bypass=frozenset({2}))
    >>> mean, cov = prior_gains(one, likely_hardware(1e-3, 2))
    >>> mean.round(9), (np.sqrt(np.diag(cov)) / abs(mean)).round(2)
    (array([-4.e-02,  5.e-07]), array([0.36, 0.43]))
    """
    screws = adjusters_with_gain(layout)
    mean, cov = np.zeros(len(screws)), np.zeros((len(screws), len(screws)))
    size = coupler_rotation(1.0, hardware)
    for at, one in enumerate(screws):
        mean[at] = BYPASS_AREA if isinstance(one, Bypass) else WAYS.get(layout.joint(one), 0) * size
    turned = np.array([isinstance(one, Coupler) for one in screws], dtype=bool)
    for kind, together, apart in ((turned, SCREW_TOGETHER, SCREW_APART), (~turned, BYPASS_TOGETHER, BYPASS_APART)):
        common = np.where(kind, mean, 0.0)
        cov += together**2 * np.outer(common, common) + apart**2 * np.diag(common**2)
    unknown = turned & (mean == 0)
    cov[unknown, unknown] = size**2
    return mean, cov
