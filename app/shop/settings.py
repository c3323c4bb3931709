"""What this shop works with, and where each default comes from."""

from app.sync.units import THOU

BASE_BLADE = 3 * THOU
"""Under each stop screw before the turns are given (common practice, no published source)."""

BLADES: tuple[float, ...] = tuple(
    t * THOU for t in (1.5, 2, 2.5, 3, 3.5, 4, 4.5, 5, 6, 7, 8, 9, 10, 12, 14, 16, 18, 20, 25)
)
"""The leaves of the usual inch set [m] (common practice, no published source)."""

RECHECK_KM = 5000
RECHECK_MONTHS = 12
"""When the sync is to be looked at again, whichever comes first (this program's own choice)."""
