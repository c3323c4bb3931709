"""How far to turn each stop screw in before the first start, and how sure that is.

Everything counts from one place: plates closed, the base blade held between stop screw and stop lever, the screw just
touching it. The blade is then taken out and the screw turned in.
"""

import math
from dataclasses import dataclass, replace
from typing import Literal

from app.sync.engine.adjusters.bypass_screw import BYPASS_AREA, BYPASS_BASE
from app.sync.engine.hardware import Figure, Hardware, likely_hardware
from app.sync.engine.linkage import stop_rotation, turns_for
from app.sync.engine.plate import angle_at, gap_at
from app.sync.engine.units import DEGREE, LITRE, MM, REV_PER_MIN, THOU

BASE_BLADE = 3 * THOU  # common practice, no published source

# About one turn for eight cylinders of 5.7 litres together and 1.25 to 1.5 for eight of 582 cubic inches (9.54 litres):
# common practice, no published source. The power law goes through the first and the middle of the second.
PRACTICE_DISPLACEMENT = 5.7 * LITRE / 8
PRACTICE_POWER = math.log(1.375) / math.log(9.54 / 5.7)
PRACTICE_IDLE = 900 * REV_PER_MIN  # our judgement

# How much more or less air one engine may need than another of the same size. Published idle demands run from 0.8 to
# 2 g/s for a litre across all kinds of engine; engines of one build are closer (our judgement).
NEED_SPREAD = 1.35

# How far a figure that nobody measured may be off, each way: our judgement.
DOUBT = {
    "bore_diameter": 3 * MM,
    "closed_angle": 1.5 * DEGREE,
    "stop_pitch": 0.1 * MM,
    "stop_lever": 3 * MM,
}

Basis = Literal["practice", "physics"]


@dataclass(frozen=True, slots=True)
class Preset:
    """Turns of every stop screw from the base blade contact, with a band meant to hold nine engines of ten.

    ``basis`` says what it rests on: ``practice`` (displacement alone) or ``physics`` (the figures of this engine);
    ``base_blade`` [m] is the blade held under each stop screw for the contact.
    """

    turns: float
    low: float
    high: float
    basis: Basis
    base_blade: float = BASE_BLADE


def starting_turns(
    displacement: float,
    bores: int,
    idle_speed: float,
    hardware: Hardware,
    base_blade: float = BASE_BLADE,
    bypass_screws: int = 0,
) -> Preset:
    """Turns of each stop screw from the base blade contact to a first start.

    Common practice knows how far the screws of usual hardware are turned in for a displacement, hence how much area
    each plate of it opens, counted from the usual base blade. With every figure still an estimate that is the answer.
    Once a figure that matters was measured, geometry finds the turns that open the same area here, in proportion to the
    idle speed wanted. Each figure still estimated widens the band. Practice lies at the top of published idle demands:
    a first start idles fast rather than stalls.

    Parameters: ``displacement`` [m3] of the whole engine, above 0; ``bores`` at least 1; ``idle_speed`` wanted [rev/s],
    above 0; ``hardware`` fitted; ``base_blade`` [m] that the turns are counted from, 0 or more; ``bypass_screws`` how
    many bores have one, which lets by a part of the air as it stands after the preset. Raises ValueError outside.

    Source: the constants of this module, each with its own.

    >>> preset = starting_turns(5.7e-3, 8, 15.0, likely_hardware(5.7e-3, 8))
    >>> preset.basis, round(preset.turns, 2), preset.low < 0.8, preset.high > 1.3
    ('practice', 1.0, True, True)
    """
    if displacement <= 0 or bores < 1 or idle_speed <= 0 or base_blade < 0:
        raise ValueError("An engine has displacement, bores and an idle speed.")
    usual = likely_hardware(displacement, bores)
    by_practice = (displacement / bores / PRACTICE_DISPLACEMENT) ** PRACTICE_POWER
    area = _gap_after(by_practice, usual) * usual.bore_diameter.value
    if any(getattr(hardware, name).measured for name in DOUBT):
        basis: Basis = "physics"
        area *= idle_speed / PRACTICE_IDLE
    else:
        basis, hardware = "practice", usual
    past_plates = BYPASS_BASE * BYPASS_AREA * bypass_screws / bores
    area = max(area - past_plates * 2 / math.pi, area / 4)
    likely = _turns_to_open(area, hardware, base_blade)
    changes = [math.log(trial / likely) for trial in _trials(area, hardware, base_blade)]
    down = math.hypot(*(change for change in changes if change < 0))
    up = math.hypot(*(change for change in changes if change > 0))
    return Preset(likely, likely * math.exp(-down), likely * math.exp(up), basis, base_blade)


def _trials(area: float, hardware: Hardware, base_blade: float) -> list[float]:
    """The turns with one doubtful thing at a time moved to either end of its range."""
    trials = [_turns_to_open(need, hardware, base_blade) for need in (area / NEED_SPREAD, area * NEED_SPREAD)]
    for name, doubt in DOUBT.items():
        figure: Figure = getattr(hardware, name)
        if not figure.measured:
            for value in (max(figure.value - doubt, figure.value / 2), figure.value + doubt):
                trials.append(_turns_to_open(area, replace(hardware, **{name: Figure(value)}), base_blade))
    return trials


# The area a plate opens at idle is pi D gap / 2 to 0.5 %, shaft included, so gap times diameter stands for it here.


def _gap_after(turns: float, hardware: Hardware) -> float:
    """Edge gap [m] after so many turns from the base blade contact, the blade taken out."""
    diameter, closed = hardware.bore_diameter.value, hardware.closed_angle.value
    rotation = stop_rotation(turns, hardware) - BASE_BLADE / hardware.stop_lever.value
    return gap_at(closed + max(rotation, 0.0), diameter, closed)


def _turns_to_open(area: float, hardware: Hardware, base_blade: float) -> float:
    """Turns from the base blade contact until gap times diameter reaches ``area`` [m2]."""
    diameter, closed = hardware.bore_diameter.value, hardware.closed_angle.value
    rotation = angle_at(min(area / diameter, diameter / 2), diameter, closed) - closed
    return turns_for(rotation + base_blade / hardware.stop_lever.value, hardware)
