"""The units a shop sees and types in: temperatures, pressures, feelers, distances. Records keep the item's own unit.

A figure is turned from one into the other by a ``Measure`` and nowhere else. What a shop chose changes how figures are
worded, on every visit at once, and nothing of how they are judged.
"""

from dataclasses import dataclass, fields, replace
from functools import cached_property
from typing import Literal

from app.sync.engine.units import BAR, IN_HG, INCH, KPA, MILLIBAR, MM, PSI, THOU

Quantity = Literal["temperature", "oil_pressure", "air_pressure", "blade", "distance"]


@dataclass(frozen=True, slots=True)
class Measure:
    """One unit: ``size`` of the recorded unit is one of it, counted from ``zero``; shown to so many ``places``."""

    name: str
    size: float = 1.0
    zero: float = 0.0
    places: int = 1

    def figure(self, kept: float) -> float:
        """A recorded figure in this unit, to its places."""
        return round((kept - self.zero) / self.size, self.places)

    def shown(self, kept: float) -> str:
        """A recorded figure as it is typed."""
        return f"{self.figure(kept):g}"

    def says(self, kept: float) -> str:
        """A recorded figure with the unit."""
        return f"{self.shown(kept)}\u00a0{self.name}"

    def apart(self, difference: float) -> str:
        """A difference of two recorded figures, to the nearest whole one, with the unit."""
        return f"{difference / self.size:.0f}\u00a0{self.name}"

    @property
    def span(self) -> "Measure":
        """The same unit for differences, which count from nothing."""
        return replace(self, zero=0.0)

    def kept(self, typed: float) -> float:
        """A typed figure as it is recorded, to six places."""
        return round(typed * self.size + self.zero, 6)


@dataclass(frozen=True, slots=True)
class Amount:
    """A recorded figure with the unit it is to be shown in; a ``difference`` counts from nothing, in whole units."""

    figure: float
    measure: Measure
    difference: bool = False

    def __str__(self) -> str:
        return self.measure.apart(self.figure) if self.difference else self.measure.says(self.figure)


MEASURES: dict[Quantity, tuple[Measure, ...]] = {
    "temperature": (Measure("°C"), Measure("°F", 5 / 9, -32 * 5 / 9)),
    "oil_pressure": (Measure("kPa"), Measure("psi", PSI / KPA), Measure("bar", BAR / KPA, places=2)),
    "air_pressure": (
        Measure("kPa abs."),
        Measure("inHg abs.", IN_HG / KPA, places=2),
        Measure("mbar abs.", MILLIBAR / KPA, places=0),
    ),
    "blade": (Measure("thou", places=2), Measure("mm", MM / THOU, places=3), Measure("in", INCH / THOU, places=4)),
    "distance": (Measure("km", places=0), Measure("miles", 63360 * INCH / 1000, places=0)),
}
"""The units of each quantity; the first one is what is recorded in. Pounds, inches, miles of 63,360 of them and the
degree Fahrenheit are exact by definition (NIST SP 811, appendix B)."""

_NAMED: dict[tuple[Quantity, str], Measure] = {
    (quantity, measure.name): measure for quantity, measures in MEASURES.items() for measure in measures
}


@dataclass(frozen=True)
class Units:
    """The names of the units chosen, by quantity. Raises ValueError for one that is none of ``MEASURES``."""

    temperature: str = "°C"
    oil_pressure: str = "kPa"
    air_pressure: str = "kPa abs."
    blade: str = "thou"
    distance: str = "km"

    def __post_init__(self) -> None:
        for quantity, measures in MEASURES.items():
            if getattr(self, quantity) not in (measure.name for measure in measures):
                raise ValueError(f"{getattr(self, quantity)} is no unit of {quantity}")

    def of(self, quantity: Quantity) -> Measure:
        """The unit chosen for a quantity."""
        return named(quantity, getattr(self, quantity))

    @property
    def height(self) -> Measure:
        """The unit of an altitude: feet beside miles, else meters. The foot is 0.3048 m by definition."""
        return Measure("m", places=0) if self.distance == "km" else Measure("ft", 12 * INCH, places=0)

    @cached_property
    def on_screen(self) -> "Units":
        """The units to show and type figures in: feelers in inches where thousandths of one are recorded."""
        return replace(self, blade=INCHES) if self.blade == THOUSANDTHS else self

    @cached_property
    def metric(self) -> bool:
        """Whether feelers are in millimeters."""
        return self.blade == "mm"

    @property
    def code(self) -> str:
        """All of them in a line, which a form carries along so that its figures are read in what stood beside them."""
        return ",".join(getattr(self, f.name) for f in fields(self))

    @staticmethod
    def coded(code: str) -> "Units":
        """The units of such a line. Raises ValueError when it is none."""
        names = code.split(",")
        if len(names) != len(MEASURES):
            raise ValueError("a unit for every quantity")
        return Units(*names)


INCHES, THOUSANDTHS = "in", "thou"
"""Feelers of a shop that chose ``thou`` are shown and typed in inches; ``thou`` is what records and settings say."""

CHOICES: dict[Quantity, tuple[str, ...]] = {
    quantity: tuple(measure.name for measure in measures if measure.name != INCHES)
    for quantity, measures in MEASURES.items()
}
"""The units a shop chooses from."""

RECORDED = Units()
"""The units of the records."""


def offered(quantity: Quantity) -> tuple[str, ...]:
    """The units a figure may be typed in, as they are shown."""
    return tuple(INCHES if name == THOUSANDTHS else name for name in CHOICES[quantity])


def named(quantity: Quantity, unit: str) -> Measure:
    """The unit of that name. Raises KeyError when the quantity has none."""
    return _NAMED[quantity, unit]
