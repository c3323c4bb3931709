"""What hangs on what in an engine's linkage, and what it costs that a bore is disturbed again."""

from functools import lru_cache
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from app.sync.engine.adjusters.registry import carried
from app.sync.engine.layout import Layout

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]

BEYOND_PRICE = 0.6  # minutes, of each bore that hangs on one that is set anew (our judgement)
STOP_BORE_PRICE = 5.0  # minutes, of the bore that a stop screw holds (our judgement)


class Dependency(NamedTuple):
    """What hangs on what, as numbers. ``bank`` of each bore; ``stops`` and ``far`` the rows of the stop bores and of
    each coupler's far bore; ``beyond`` the number of each coupler, from 1, at the bores beyond it, 0 at the others;
    ``weight`` what hangs on each bore, as a price [min]."""

    bank: Ints
    stops: Ints
    far: Ints
    beyond: Ints
    weight: Floats


@lru_cache(maxsize=64)
def dependency_of(layout: Layout) -> Dependency:
    """What hangs on what in an engine; not to be written to.

    Parameters: ``layout`` of the engine.
    """
    rows = {bore: at for at, bore in enumerate(layout.bores)}
    hanging = carried(layout)
    far = np.array([rows[coupler.far] for coupler in layout.couplers()], dtype=np.int64)
    weight = np.zeros(len(rows))
    weight[far] = BEYOND_PRICE * (hanging.sum(axis=1) - 1)
    for bank in layout.banks:
        weight[rows[bank.stop]] = STOP_BORE_PRICE + BEYOND_PRICE * max(len(bank.bores) - 4, 0)
    return Dependency(
        np.array([at for at, bank in enumerate(layout.banks) for _ in bank.bores]),
        np.array([rows[bank.stop] for bank in layout.banks]),
        far,
        hanging * np.arange(1, len(far) + 1)[:, None],
        weight,
    )
