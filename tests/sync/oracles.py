"""What tests of the numerical core compare with: published formulas and geometry that the program never asks for."""

import math
from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from app.sync.engine.adjusters.registry import adjusters, kind_at
from app.sync.engine.air import GAMMA, GAS_CONSTANT, SHOP_TEMPERATURE, flow_function
from app.sync.engine.hardware import Hardware
from app.sync.engine.layout import Adjuster, Layout
from app.sync.engine.linkage import IDLE_GAP, stop_rotation, turns_for
from app.sync.engine.plate import angle_at, gap_at, gap_rate, open_area


def mass_flow(
    area: float,
    upstream: float,
    downstream: float,
    temperature: float = SHOP_TEMPERATURE,
    gamma: float = GAMMA,
    gas_constant: float = GAS_CONSTANT,
) -> float:
    """Mass flow of a gas through an effective area [kg/s].

    Parameters: ``area`` effective, contraction included [m2]; ``upstream`` pressure [Pa]; ``downstream`` pressure [Pa],
    at most ``upstream``; ``temperature`` upstream [K]; ``gamma`` ratio of heat capacities; ``gas_constant`` [J/(kg K)].

    Source: isentropic flow, any gas dynamics text.

    >>> round(mass_flow(10e-6, 101325, 40e3) * 3600, 2)  # kg/h through 10 mm2, choked
    8.61
    """
    return area * upstream * flow_function(downstream / upstream, gamma) / math.sqrt(gas_constant * temperature)


def area_for(
    flow: float,
    upstream: float,
    downstream: float,
    temperature: float = SHOP_TEMPERATURE,
    gamma: float = GAMMA,
    gas_constant: float = GAS_CONSTANT,
) -> float:
    """Effective area that passes a mass flow [m2]; the inverse of ``mass_flow``.

    Parameters: ``flow`` [kg/s]; ``upstream`` pressure [Pa]; ``downstream`` pressure [Pa], less than ``upstream``;
    ``temperature`` upstream [K]; ``gamma`` ratio of heat capacities; ``gas_constant`` [J/(kg K)].

    Source: isentropic flow, any gas dynamics text.

    >>> round(area_for(10 / 3600, 101325, 80e3) * 1e6, 2)  # mm2 for 10 kg/h
    13.93
    """
    return flow / mass_flow(1.0, upstream, downstream, temperature, gamma, gas_constant)


def output_angle(lever: float, rod: float, follower: float, ground: float, angle: float) -> float:
    """Angle of the output lever of a four-bar linkage, open branch [rad].

    Parameters: lengths of input ``lever``, ``rod``, output lever (``follower``) and ``ground`` in one unit; ``angle``
    of the input lever from the ground [rad].

    Source: Freudenstein's equation as a quadratic of the half angle's tangent (A. Ghosal, Resonance, August 2010).
    """
    constant = (lever**2 - rod**2 + follower**2 + ground**2) / (2 * lever * follower)
    near, far = ground / lever, ground / follower
    square = math.cos(angle) - near - far * math.cos(angle) + constant
    linear = -2 * math.sin(angle)
    rest = near - (far + 1) * math.cos(angle) + constant
    return 2 * math.atan((-linear - math.sqrt(linear**2 - 4 * square * rest)) / (2 * square))


def area_of_gap(gap: float, diameter: float, shaft: float, closed: float) -> float:
    """Area left open by a plate that shows an edge gap [m2]; close to ``pi D gap / 2`` at idle.

    Parameters: ``gap`` [m] from 0 to half the bore; ``diameter`` of the bore [m]; ``shaft`` diameter [m]; ``closed``
    angle [rad].

    Source: ``open_area`` at ``angle_at``.

    >>> round(area_of_gap(127e-6, 0.048, 0.010, math.radians(6)) * 1e6, 2)  # mm2 at five thousandths of an inch
    9.54
    """
    return open_area(angle_at(gap, diameter, closed), diameter, shaft, closed)


def gap_after_turns(gap: float, turns: float, hardware: Hardware) -> float:
    """Edge gap after the stop screw was turned [m]; a plate that meets its bore stays closed.

    Parameters: ``gap`` [m] before; ``turns`` of the screw, positive opens; ``hardware`` fitted.

    Source: ``gap_at``, ``angle_at`` and ``stop_rotation``.

    >>> from app.sync.engine.hardware import likely_hardware
    >>> from app.sync.engine.units import THOU
    >>> round(gap_after_turns(5 * THOU, 0.25, likely_hardware(2e-3, 4)) / THOU, 1)
    6.1
    """
    diameter, closed = hardware.bore_diameter.value, hardware.closed_angle.value
    angle = angle_at(gap, diameter, closed) + stop_rotation(turns, hardware)
    return gap_at(max(angle, closed), diameter, closed)


def turns_between(before: float, after: float, hardware: Hardware) -> float:
    """Turns of the stop screw that take the edge gap from one value to another, positive when it opens.

    Parameters: ``before`` [m] and ``after`` [m] edge gaps; ``hardware`` fitted.

    >>> from app.sync.engine.hardware import likely_hardware
    >>> from app.sync.engine.units import THOU
    >>> round(turns_between(5 * THOU, 6 * THOU, likely_hardware(2e-3, 4)), 2)
    0.22
    """
    diameter, closed = hardware.bore_diameter.value, hardware.closed_angle.value
    return turns_for(angle_at(after, diameter, closed) - angle_at(before, diameter, closed), hardware)


@dataclass(frozen=True, slots=True, eq=False)
class Influence:
    """Change of edge gap per unit of each adjuster: one row a bore, one column an adjuster.

    Units: meters of gap per turn of a stop screw or of a coupler's screw inward, per meter of blade thickness at a
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
