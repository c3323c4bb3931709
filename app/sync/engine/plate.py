"""One throttle plate in its bore: angle, edge gap and open area, by exact geometry.

The closed plate is an ellipse that just fills the bore while standing at ``closed`` from the bore's cross-section. All
angles are measured from that cross-section, so a plate is closed at ``closed`` and wide open at a quarter turn. The gap
is the clearance at the plate's edge farthest from the shaft: what a feeler measures there.
"""

import math

CLOSED_SLIT = 7.2066e-6 / (math.pi * 83e-3)
"""Slit all round a closed plate [m]: a plate of 83 mm passed 7.2066 mm2 of effective area (published: parameter file
EngParameters.m of the engine laboratory in the university module TTC066). Other engines lie between a fifth and twice
of this."""

FIT = 0.3
"""What plates seated by hand leak against that one plate (our judgement)."""


def open_area(angle: float, diameter: float, shaft: float, closed: float) -> float:
    """Area left open beside plate and shaft, seen along the bore [m2].

    The bore less the union of the plate's projected ellipse and the shaft's band. Widely copied versions of this
    formula carry both arcsines with the wrong sign: too small by 0.4 % at idle and by 5 % at 75 degrees.

    Parameters: ``angle`` [rad] from ``closed`` to a quarter turn; ``diameter`` of the bore [m]; ``shaft`` diameter [m],
    0 to less than the bore; ``closed`` angle [rad], 0 to less than a quarter turn. Raises ValueError outside.

    Source: plane geometry; equal to numerical integration to 1e-5.

    >>> round(open_area(math.radians(8), 0.045, 0.009, math.radians(5)) * 1e6, 5)  # mm2
    9.42909
    """
    _check(diameter, closed)
    if not 0 <= shaft < diameter:
        raise ValueError("The shaft is thinner than the bore.")
    if not closed <= angle <= math.pi / 2:
        raise ValueError("A plate stands between its closed angle and a quarter turn.")
    thin = shaft / diameter
    bore = math.pi * diameter**2 / 4
    if math.cos(angle) <= thin * math.cos(closed):  # the plate hides behind its shaft
        return bore * (1 - 2 / math.pi * (thin * math.sqrt(1 - thin**2) + math.asin(thin)))
    squeeze = math.cos(angle) / math.cos(closed)
    beside_shaft = (
        thin * math.sqrt(1 - (thin / squeeze) ** 2)
        + squeeze * math.asin(thin / squeeze)
        - thin * math.sqrt(1 - thin**2)
        - math.asin(thin)
    )
    return bore * (1 - squeeze + 2 / math.pi * beside_shaft)


def gap_at(angle: float, diameter: float, closed: float) -> float:
    """Edge gap of a plate at an angle [m]: ``D/2 (1 - cos(angle) / cos(closed))``.

    Parameters: ``angle`` [rad] from ``closed`` to a quarter turn; ``diameter`` of the bore [m]; ``closed`` angle [rad].
    Raises ValueError outside.

    Source: plane geometry.

    >>> round(gap_at(math.radians(6) + 0.041, 0.048, math.radians(6)) * 1e6)  # micrometers
    124
    """
    _check(diameter, closed)
    if not closed <= angle <= math.pi / 2:
        raise ValueError("A plate stands between its closed angle and a quarter turn.")
    return diameter / 2 * (1 - math.cos(angle) / math.cos(closed))


def angle_at(gap: float, diameter: float, closed: float) -> float:
    """Angle at which a plate shows an edge gap [rad]; the inverse of ``gap_at``.

    Parameters: ``gap`` [m] from 0 to half the bore; ``diameter`` of the bore [m]; ``closed`` angle [rad]. Raises
    ValueError outside.

    Source: plane geometry.

    >>> round(math.degrees(angle_at(124e-6, 0.048, math.radians(6))), 2)
    8.36
    """
    _check(diameter, closed)
    if not 0 <= gap <= diameter / 2:
        raise ValueError("An edge gap lies between nothing and half the bore.")
    return math.acos(math.cos(closed) * (1 - 2 * gap / diameter))


def gap_rate(gap: float, diameter: float, closed: float) -> float:
    """How fast the edge gap opens as the plate turns [m/rad]: ``D/2 sin(angle) / cos(closed)``.

    Parameters: ``gap`` [m] at which the plate stands, from 0 to half the bore; ``diameter`` of the bore [m]; ``closed``
    angle [rad].

    Source: derivative of ``gap_at``.

    >>> round(gap_rate(124e-6, 0.048, math.radians(6)) * 1e3, 2)  # micrometers per milliradian
    3.51
    """
    return diameter / 2 * math.sin(angle_at(gap, diameter, closed)) / math.cos(closed)


def closed_leakage(diameter: float) -> float:
    """Effective area that a closed plate of usual fit still passes [m2].

    Parameters: ``diameter`` of the bore [m], above 0.

    Source: one measured plate of 83 mm scaled by circumference. The scaling is our judgement, not published; take it
    as right to a factor of three.

    >>> round(closed_leakage(0.045) * 1e6, 1)  # mm2
    3.9
    """
    return CLOSED_SLIT * math.pi * diameter


def _check(diameter: float, closed: float) -> None:
    if diameter <= 0:
        raise ValueError("A bore has a diameter.")
    if not 0 <= closed < math.pi / 2:
        raise ValueError("A plate closes at less than a quarter turn.")
