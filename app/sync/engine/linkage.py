"""From screw, blade and rod to the plates: which adjuster moves which bore, which way and how far.

A stop screw turns every plate of its bank; a coupler, reset on a blade or turned by its screw, its far plate and all
beyond; a link turns every plate of its bank once that bank has left its stop. A bypass screw turns no plate: what it
lets past one of them counts as if that edge gap had changed. Levers are treated as straight (``angle = travel /
lever``): up to one turn of the usual screws the ball and flat contacts differ from that by less than 0.05 %.
"""

import math
from collections.abc import Mapping
from dataclasses import dataclass
from functools import lru_cache

import numpy as np
from numpy.typing import NDArray

from app.sync.engine.hardware import Hardware
from app.sync.engine.layout import Adjuster, Bypass, Coupler, JointKind, Layout, Link, StopScrew
from app.sync.engine.plate import angle_at, gap_at, gap_rate
from app.sync.engine.units import MM, THOU

FLATS_PER_TURN = 6
IDLE_GAP = 5 * THOU

COUPLER_LEVER = 20 * MM
"""Arm that a coupler's screw acts on, its thread taken to be that of the stop screw (this program's choice; what the
screw does is learned from the readings after it was turned)."""

BYPASS_AREA = 0.5e-6
"""Area that one turn of a bypass screw opens [m2]: about one twentieth of what a bore draws at idle (this program's
choice; learned from the readings after it was turned)."""

WAYS: Mapping[JointKind, int] = {"screw-in": 1, "screw-out": -1}
"""Which way a coupler's screw, turned in, moves the plates beyond it: opens them, or closes them."""


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


def adjusters(layout: Layout) -> tuple[Adjuster, ...]:
    """Every adjuster of an engine, bank by bank: stop screw, couplers outward from the stop bore, bypass screws, link.

    Parameters: ``layout`` of the engine. A single bank has no link to balance against another.

    >>> from app.sync.engine.layout import Bank
    >>> twins = Bank("A", (1, 2, 3, 4), stop=2, drive=2, joints=("shaft", "screw", "shaft"))
    >>> adjusters(Layout((twins,), bypass=frozenset({1, 4})))
    (StopScrew(bank='A'), Coupler(near=2, far=3), Bypass(bore=1), Bypass(bore=4))
    """
    found: list[Adjuster] = []
    for bank in layout.banks:
        found += [StopScrew(bank.name), *bank.couplers()]
        found += [screw for screw in layout.bypass_screws if screw.bore in bank.bores]
        if len(layout.banks) > 1:
            found.append(Link(bank.name))
    return tuple(found)


def moved_bores(layout: Layout, adjuster: Adjuster) -> tuple[int, ...]:
    """The bores that follow one adjuster, nearest first for a coupler, front first otherwise.

    Parameters: ``layout`` of the engine; ``adjuster`` one of its own.
    """
    if isinstance(adjuster, Coupler):
        return layout.bank_of(adjuster.near).beyond(adjuster)
    if isinstance(adjuster, Bypass):
        return (adjuster.bore,)
    return layout.bank(adjuster.bank).bores


@lru_cache(maxsize=64)
def carried(layout: Layout) -> NDArray[np.bool_]:
    """Which bores hang on each coupler: one row a coupler, one column a bore as walked; not to be written to.

    Parameters: ``layout`` of the engine.

    >>> from app.sync.engine.layout import Bank
    >>> carried(Layout((Bank("A", (1, 2, 3), 1, 1),))).astype(int)
    array([[0, 1, 1],
           [0, 0, 1]])
    """
    couplers = layout.couplers()
    found = np.zeros((len(couplers), len(layout.bores)), dtype=bool)
    for at, coupler in enumerate(couplers):
        found[at, [layout.bores.index(bore) for bore in layout.bank_of(coupler.far).beyond(coupler)]] = True
    return found


def influence(layout: Layout, hardware: Hardware, gap: float = IDLE_GAP) -> Influence:
    """Which bores each adjuster moves, and by how much of gap per unit.

    Parameters: ``layout`` of the engine; ``hardware`` fitted; ``gap`` [m] around which the plates stand, five
    thousandths of an inch unless told (the gap opens faster the wider the plate stands).

    Source: lever arms and the plate's geometry.

    >>> from app.sync.engine.hardware import likely_hardware
    >>> from app.sync.engine.layout import Bank
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
        if isinstance(adjuster, StopScrew):
            per_unit = stop_rotation(1.0, hardware) * per_radian
        elif isinstance(adjuster, Link):
            per_unit = link_rotation(1.0, hardware) * per_radian
        elif isinstance(adjuster, Bypass):
            per_unit = BYPASS_AREA / gap_width(hardware)
        elif layout.by_screw(adjuster):
            per_unit = WAYS.get(layout.joint(adjuster), 1) * coupler_rotation(1.0, hardware) * per_radian
        else:
            per_unit = 1.0
        for bore in moved_bores(layout, adjuster):
            matrix[layout.bores.index(bore), at] = per_unit
    return Influence(layout.bores, columns, matrix)


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
    """Angle by which a coupler's screw turns the plates beyond it [rad]; its sign is the engine's own (see ``WAYS``).

    Parameters: ``turns`` of the screw; ``hardware`` fitted.

    Source: ``pitch turns / lever``, with ``COUPLER_LEVER``.

    >>> from app.sync.engine.hardware import likely_hardware
    >>> round(coupler_rotation(0.25, likely_hardware(4e-3, 8)) * 1e3, 1)  # milliradians
    10.0
    """
    return turns * hardware.stop_pitch.value / COUPLER_LEVER


def gap_width(hardware: Hardware) -> float:
    """Area that one metre of edge gap opens [m]: half the bore's circumference, to 0.5 % at idle.

    Parameters: ``hardware`` fitted.

    >>> from app.sync.engine.hardware import likely_hardware
    >>> round(gap_width(likely_hardware(4e-3, 8)) * 1e3, 1)  # millimetres
    75.4
    """
    return math.pi * hardware.bore_diameter.value / 2


def link_rotation(flats: float, hardware: Hardware, both_hands: bool = False) -> float:
    """Angle by which a link turns its bank once that has left its stop [rad], positive earlier.

    Parameters: ``flats`` sixths of a turn of the rod; ``hardware`` fitted, ``link_pitch`` being the pitch of one
    thread; ``both_hands`` True for a rod with a left-hand and a right-hand thread, which changes length twice as fast.

    Source: ``pitch flats / (6 lever)`` with the link square to its lever.

    >>> from app.sync.engine.hardware import likely_hardware
    >>> round(link_rotation(1, likely_hardware(4e-3, 8)) * 1e3, 1)  # milliradians
    4.4
    """
    threads = 2 if both_hands else 1
    return threads * flats * hardware.link_pitch.value / FLATS_PER_TURN / hardware.link_lever.value


def flats_for(rotation: float, hardware: Hardware, both_hands: bool = False) -> float:
    """Flats of a link that turn its bank by an angle; the inverse of ``link_rotation``.

    Parameters: ``rotation`` [rad], positive earlier; ``hardware`` fitted; ``both_hands`` as there.

    >>> from app.sync.engine.hardware import likely_hardware
    >>> round(flats_for(0.0089, likely_hardware(4e-3, 8), both_hands=True), 1)
    1.0
    """
    return rotation / link_rotation(1.0, hardware, both_hands)


def gap_after_turns(gap: float, turns: float, hardware: Hardware) -> float:
    """Edge gap after the stop screw was turned [m]; a plate that meets its bore stays closed.

    Parameters: ``gap`` [m] before; ``turns`` of the screw, positive opens; ``hardware`` fitted.

    Source: ``gap_at``, ``angle_at`` and ``stop_rotation``.

    >>> from app.sync.engine.hardware import likely_hardware
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
    >>> round(turns_between(5 * THOU, 6 * THOU, likely_hardware(2e-3, 4)), 2)
    0.22
    """
    diameter, closed = hardware.bore_diameter.value, hardware.closed_angle.value
    return turns_for(angle_at(after, diameter, closed) - angle_at(before, diameter, closed), hardware)
