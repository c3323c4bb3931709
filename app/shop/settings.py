"""What this shop works with, in base units, and where each default comes from."""

from dataclasses import dataclass

from app.sync.heat import HeatRule
from app.sync.units import KPA, MINUTE, THOU, ZERO_CELSIUS

BASE_BLADE = 3 * THOU
"""Under each stop screw before the turns are given (common practice, no published source)."""

BLADES: tuple[float, ...] = tuple(
    t * THOU for t in (1.5, 2, 2.5, 3, 3.5, 4, 4.5, 5, 6, 7, 8, 9, 10, 12, 14, 16, 18, 20, 25)
)
"""The leaves of the usual inch set [m] (common practice, no published source)."""

RECHECK_KM = 5000
RECHECK_MONTHS = 12
"""When the sync is to be looked at again, whichever comes first (this program's own choice)."""


@dataclass(frozen=True, slots=True)
class Limits:
    """Beyond these the phase stops and the engine with it. Pressures [Pa] above ambient, temperatures [K].

    The defaults are common practice, no published source: the maker's figures come first.
    """

    oil_pressure_start: float = 100 * KPA
    oil_pressure_hot: float = 70 * KPA
    coolant: float = 110 + ZERO_CELSIUS
    oil: float = 135 + ZERO_CELSIUS


LIMITS = Limits()

HEAT = HeatRule(
    least_time=15 * MINUTE,
    coolant=70 + ZERO_CELSIUS,
    oil=65 + ZERO_CELSIUS,
    steady_for=5 * MINUTE,
    steady_within=2.0,
)
"""When an engine counts as hot right through. Oil of at least 60 degrees before idle checks stands in public service
sheets; the rest is this program's own choice, for no published rate of heat soak was found."""

PULLS = 3
"""Short pulls off idle before the fine round, to carry heat into plates and shafts (common practice, no published
source)."""
