"""The units in which a finding may be typed, and what they come to in the unit that it is weighed in."""

from collections.abc import Mapping

from app.sync.diagnosis.measurements import CATALOGUE, Measure, Use
from app.sync.engine.units import BAR, IN_HG, INCH, KPA, MILLIBAR, MM, PSI, THOU

_PRESSURES = {"kPa": 1.0, "psi": PSI / KPA, "bar": BAR / KPA, "mbar": MILLIBAR / KPA, "inHg": IN_HG / KPA}
_FLOWS = {"kg/h": 1.0, "g/s": 3.6}

UNITS: Mapping[Measure, Mapping[str, float]] = {
    Measure.AIR: _FLOWS,
    Measure.VACUUM: _PRESSURES,
    Measure.SNAP: _PRESSURES,
    Measure.BACK_PRESSURE: _PRESSURES,
    Measure.COMPRESSION: _PRESSURES,
    Measure.HEAT: {"°C": 1.0, "°F": 5 / 9},
    Measure.LASH: {"mm": 1.0, "in": INCH / MM, "thou": THOU / MM},
}
"""Size of each unit in that of the catalogue; exact by definition. A temperature is held against others of its kind."""


def units_of(measure: Measure) -> Mapping[str, float]:
    """Every unit that a measurement may be given in, that of the catalogue first."""
    return UNITS.get(measure, {CATALOGUE[measure].unit: 1.0})


def weighed(measure: Measure, value: float, unit: str) -> float:
    """A figure in the unit that it is weighed in. Raises KeyError for a unit that the measurement has not."""
    return (value - (32 if unit == "°F" else 0)) * units_of(measure)[unit]


def takes_words(measure: Measure) -> bool:
    """Whether a word is recorded and no figure."""
    return CATALOGUE[measure].use is Use.WORD
