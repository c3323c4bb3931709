"""What the gauges of an engine in good order say, for engines that are made up. All figures are invented."""

from collections.abc import Mapping

TYPICAL: Mapping[str, float] = {
    "air-pressure": 101.3,
    "air-temperature": 21,
    "base-blade": 3,
    "preset-turns": 1,
    "bypass-turns": 1.5,
    "sensor-closed": 0.52,
    "oil-pressure": 310,
    "coolant": 84,
    "oil": 87,
    "oil-pressure-hot": 190,
    "pulls": 4,
    "idle-speed": 850,
    "idle": 850,
    "rev-limit": 3000,
    "sensor-open": 4.61,
}
"""By item of a phase, in the unit of the item."""
