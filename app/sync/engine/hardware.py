"""The figures of what is fitted, each with word of whether it was measured on this engine or is our estimate."""

import math
from dataclasses import dataclass, fields

from app.sync.engine.units import DEGREE, INCH, LITRE, MM

NINE_IN_TEN = 1.645
"""Standard deviations either side that hold nine in ten of a normal spread (any table of the normal distribution)."""

DOUBT = {
    "bore_diameter": 3 * MM,
    "closed_angle": 1.5 * DEGREE,
    "stop_pitch": 0.1 * MM,
    "stop_lever": 3 * MM,
}
"""How far a figure that was not measured may be off, each way, in nine engines of ten (our judgement)."""


@dataclass(frozen=True, slots=True)
class Figure:
    """One hardware figure in base units; an estimate until it was measured."""

    value: float
    measured: bool = False


@dataclass(frozen=True, slots=True)
class Hardware:
    """What the physics needs to know of an engine's throttles. Lengths in meters, angles in radians."""

    bore_diameter: Figure
    shaft_diameter: Figure
    closed_angle: Figure
    stop_pitch: Figure
    stop_lever: Figure
    link_pitch: Figure
    link_lever: Figure

    def estimated(self) -> tuple[str, ...]:
        """Names of the figures not measured yet, in the order of the fields."""
        return tuple(f.name for f in fields(self) if not getattr(self, f.name).measured)


def likely_hardware(displacement: float, bores: int) -> Hardware:
    """Estimates to start from when nothing was measured.

    The bore grows with the square root of the air one cylinder draws, anchored at 48 mm for half a liter (common
    practice, no published source); a shaft of 8 mm to 10 mm, a plate closed at 6 degrees, a screw and rod of M5 x 0.8
    on levers of 25 mm and 30 mm are the usual small-engine choices (common practice, no published source; the pitch
    of the thread itself is ISO 261).

    Parameters: ``displacement`` [m3] of the whole engine, above 0; ``bores`` at least 1.
    """
    per_bore = displacement / bores / LITRE
    diameter = 48 * MM * math.sqrt(per_bore / 0.5)
    diameter = min(max(round(diameter / MM), 26), 70) * MM
    return Hardware(
        bore_diameter=Figure(diameter),
        shaft_diameter=Figure((8 if diameter < 45 * MM else 10) * MM),
        closed_angle=Figure(6 * DEGREE),
        stop_pitch=Figure(0.8 * MM),
        stop_lever=Figure(1.0 * INCH),
        link_pitch=Figure(0.8 * MM),
        link_lever=Figure(30 * MM),
    )
