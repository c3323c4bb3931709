"""From screw, feeler and rod to the plates: by which angle each turns them, and which gap that makes.

Which bores an adjuster acts on is said by its kind, in ``app.sync.engine.adjusters``. Levers are treated as straight
(``angle = travel / lever``): up to one turn of the usual screws the ball and flat contacts differ from that by less
than 0.05 %.
"""

import math

from app.sync.engine.hardware import Hardware
from app.sync.engine.units import MM, THOU

FLATS_PER_TURN = 6  # by definition of a hexagon
IDLE_GAP = 5 * THOU  # our judgement

COUPLER_LEVER = 20 * MM
"""Arm that a coupler's screw acts on, its thread taken to be that of the stop screw (our judgement; what the
screw does is learned from the readings after it was turned)."""


def stop_rotation(turns: float, hardware: Hardware) -> float:
    """Angle by which a stop screw turns its plates [rad], positive opening.

    Parameters: ``turns`` of the screw, positive inward; ``hardware`` fitted.

    Source: ``pitch turns / lever``.

    >>> from app.sync.engine.hardware import likely_hardware
    >>> round(stop_rotation(0.25, likely_hardware(4e-3, 8)) * 1e3, 2)  # milliradians
    7.87
    """
    return turns * hardware.stop_pitch.value / hardware.stop_lever.value


def turns_for(rotation: float, hardware: Hardware) -> float:
    """Turns of a stop screw that turn its plates by an angle; the inverse of ``stop_rotation``.

    Parameters: ``rotation`` [rad], positive opening; ``hardware`` fitted.

    >>> from app.sync.engine.hardware import likely_hardware
    >>> round(turns_for(0.001, likely_hardware(4e-3, 8)), 3)
    0.032
    """
    return rotation * hardware.stop_lever.value / hardware.stop_pitch.value


def coupler_rotation(turns: float, hardware: Hardware) -> float:
    """Angle by which a coupler's screw turns the plates beyond it [rad]; its sign is the engine's own.

    Parameters: ``turns`` of the screw; ``hardware`` fitted.

    Source: ``pitch turns / lever``, with ``COUPLER_LEVER``.

    >>> from app.sync.engine.hardware import likely_hardware
    >>> round(coupler_rotation(0.25, likely_hardware(4e-3, 8)) * 1e3, 1)  # milliradians
    10.0
    """
    return turns * hardware.stop_pitch.value / COUPLER_LEVER


def gap_width(hardware: Hardware) -> float:
    """Area that one meter of edge gap opens [m]: half the bore's circumference, to 0.5 % at idle.

    Parameters: ``hardware`` fitted.

    >>> from app.sync.engine.hardware import likely_hardware
    >>> round(gap_width(likely_hardware(4e-3, 8)) * 1e3, 1)  # millimeters
    75.4
    """
    return math.pi * hardware.bore_diameter.value / 2


def link_rotation(flats: float, hardware: Hardware, both_hands: bool = False) -> float:
    """Angle by which a link rod turns its bank once that has left its stop [rad], positive earlier.

    Parameters: ``flats`` sixths of a turn of the rod; ``hardware`` fitted, ``link_pitch`` being the pitch of one
    thread; ``both_hands`` True for a rod with a left-hand and a right-hand thread, which changes length twice as fast.

    Source: ``pitch flats / (6 lever)`` with the link rod square to its lever.

    >>> from app.sync.engine.hardware import likely_hardware
    >>> round(link_rotation(1, likely_hardware(4e-3, 8)) * 1e3, 1)  # milliradians
    4.4
    """
    threads = 2 if both_hands else 1
    return threads * flats * hardware.link_pitch.value / FLATS_PER_TURN / hardware.link_lever.value


def flats_for(rotation: float, hardware: Hardware, both_hands: bool) -> float:
    """Flats of a link rod that turn its bank by an angle; the inverse of ``link_rotation``.

    Parameters: ``rotation`` [rad], positive earlier; ``hardware`` fitted; ``both_hands`` as there.

    >>> from app.sync.engine.hardware import likely_hardware
    >>> round(flats_for(0.0089, likely_hardware(4e-3, 8), both_hands=True), 1)
    1.0
    """
    return rotation / link_rotation(1.0, hardware, both_hands)
