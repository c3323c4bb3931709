"""Which adjuster moves which bore, which way and how far: all kinds as one matrix."""

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from app.sync.engine.adjusters.registry import adjusters, kind_at
from app.sync.engine.hardware import Hardware
from app.sync.engine.layout import Adjuster, Layout
from app.sync.engine.linkage import IDLE_GAP
from app.sync.engine.plate import gap_rate


@dataclass(frozen=True, slots=True, eq=False)
class Influence:
    """Change of edge gap per unit of each adjuster: one row a bore, one column an adjuster.

    Units: metres of gap per turn of a stop screw or of a coupler's screw inward, per metre of blade thickness at a
    coupler, per turn of a bypass screw outward, per flat of a link. A link acts only off idle: at idle the stop screw
    holds the bank. Where nobody knows which way a coupler's screw opens, it stands here as if inward did.
    """

    bores: tuple[int, ...]
    adjusters: tuple[Adjuster, ...]
    matrix: NDArray[np.float64]

    def of(self, adjuster: Adjuster) -> Mapping[int, float]:
        """The bores that ``adjuster`` moves, with the change of gap per unit. Raises ValueError for a stranger."""
        column = self.matrix[:, self.adjusters.index(adjuster)]
        return {bore: float(change) for bore, change in zip(self.bores, column, strict=True) if change}


def influence(layout: Layout, hardware: Hardware, gap: float = IDLE_GAP) -> Influence:
    """Which bores each adjuster moves, and by how much of gap per unit.

    Parameters: ``layout`` of the engine; ``hardware`` fitted; ``gap`` [m] around which the plates stand, five
    thousandths of an inch unless told (the gap opens faster the wider the plate stands).

    Source: lever arms and the plate's geometry.

    >>> from app.sync.engine.hardware import likely_hardware
    >>> from app.sync.engine.layout import Bank, Coupler, StopScrew
    >>> from app.sync.engine.units import THOU
    >>> four = Layout((Bank("A", (1, 2, 3, 4), stop=2, drive=2),))
    >>> found = influence(four, likely_hardware(2e-3, 4))
    >>> {bore: round(change / THOU, 1) for bore, change in found.of(StopScrew("A")).items()}
    {1: 4.4, 2: 4.4, 3: 4.4, 4: 4.4}
    >>> found.of(Coupler(2, 3))
    {3: 1.0, 4: 1.0}
    """
    per_radian = gap_rate(gap, hardware.bore_diameter.value, hardware.closed_angle.value)
    columns = adjusters(layout)
    matrix = np.zeros((len(layout.bores), len(columns)))
    for at, adjuster in enumerate(columns):
        kind = kind_at(layout, adjuster)
        for bore in kind.reach(layout, adjuster):
            matrix[layout.bores.index(bore), at] = kind.gap_per_unit(layout, hardware, adjuster, per_radian)
    return Influence(layout.bores, columns, matrix)
