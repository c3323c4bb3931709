"""The law of flow past the plates of a simulated engine, apart from the adviser's own."""

import numpy as np

from app.sync.engine.air import critical_ratio
from app.sync.slips.changes import Floats


def flow_functions(ratios: Floats) -> Floats:
    """Isentropic flow function of many ratios, one for each, shape (...); ``app.sync.engine.air.flow_function`` is the
    same for one.

    Parameters: ``ratios`` of pressures, shape (...).
    """
    throat = np.maximum(ratios, critical_ratio())
    return np.asarray(np.sqrt(7.0 * np.maximum(throat ** (2 / 1.4) - throat ** (2.4 / 1.4), 0.0)))


def own_ratios(pull: Floats) -> Floats:
    """Pressure in every runner over that of the air where nothing is shared, shape (...): what comes in is what the
    cylinder takes.

    Parameters: ``pull``, what a cylinder takes at the pressure of the air over the conductance of its plate, shape
    (...).
    """
    return np.interp(np.log(pull), _LOG_PULL, _RATIOS)


_RATIOS = 1 - np.linspace(0.0, 1.0, 6000)[1:-1] ** 2  # close together where the flow law is steep
_LOG_PULL = np.log(flow_functions(_RATIOS) / _RATIOS)  # rises as the ratio falls
