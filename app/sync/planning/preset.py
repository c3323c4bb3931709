"""How far to turn each stop screw in before the first start, and how sure that is.

Everything counts from one place: plates closed, the base feeler held between stop screw and stop lever, the screw just
touching it. The feeler is then taken out and the screw turned in until the plates open the area that the engine needs.
"""

import math
from dataclasses import dataclass, replace
from typing import Literal

from app.sync.engine.adjusters.bypass_screw import BYPASS_AREA, BYPASS_BASE
from app.sync.engine.engine_air import (
    CONTRACTION_SD,
    DEMAND_SD,
    IDLE_RATIO,
    IDLE_RATIO_SD,
    LEAK_SD,
    MOST_RATIO,
    RANGES,
    Ambient,
    Beyond,
    IdleFlowModel,
    area_at,
    beyond,
    log_speed_at,
    ratio_at,
    usual_breathing,
)
from app.sync.engine.hardware import DOUBT, NINE_IN_TEN, Figure, Hardware
from app.sync.engine.linkage import IDLE_GAP, gap_width, turns_for
from app.sync.engine.plate import FIT, angle_at, closed_leakage
from app.sync.engine.units import THOU

BASE_BLADE = 3 * THOU
"""Held under each stop screw for the contact [m] (common practice, no published source)."""

AIM = 1.15
"""Speed aimed at over the one wanted: cold oil wants more air, and a fast idle is found sooner than a stall (our
judgement)."""

MOST_TURNS = 4.0
"""Turns up to which an upper end is stated (our judgement)."""

Basis = Literal["usual", "physics"]


@dataclass(frozen=True, slots=True)
class Preset:
    """Turns of every stop screw from the base feeler contact, with a band meant to hold nine engines of ten.

    open_ended
        Whether the band has no upper end that could be stated: ``high`` is then as far as the model speaks.
    basis
        What the geometry rests on: ``usual`` hardware, or ``physics``, figures of this engine, at least one of them
        measured.
    aim
        Speed aimed at [rev/s].
    outside
        What lies outside the range that the model speaks for.
    base_blade
        The feeler held under each stop screw for the contact [m].
    gap
        The edge gap that the turns open [m].
    """

    turns: float
    low: float
    high: float
    basis: Basis
    aim: float
    open_ended: bool = False
    outside: tuple[Beyond, ...] = ()
    base_blade: float = BASE_BLADE
    gap: float = IDLE_GAP


def turns_for_idle(
    displacement: float,
    bores: int,
    idle_speed: float,
    hardware: Hardware,
    ambient: Ambient | None = None,
    base_blade: float = BASE_BLADE,
    bypass_screws: int = 0,
) -> Preset:
    """Turns of each stop screw from the base feeler contact to a first start.

    They open the area on which the engine idles at ``AIM`` times the speed wanted, less where its runners would come
    closer to ambient pressure than ``MOST_RATIO``. The band moves one doubtful thing at a time to either end of its
    range, demand, leak, contraction, filling and every figure of the hardware that was not measured, and adds the
    changes of ln(turns) in squares.

    Parameters: ``displacement`` [m3] of the whole engine, above 0; ``bores`` at least 1; ``idle_speed`` wanted [rev/s],
    above 0; ``hardware`` fitted; ``ambient`` the air of the day, standard air when None; ``base_blade`` [m] that the
    turns are counted from, 0 or more; ``bypass_screws`` how many bores have one, which lets by a part of the air as it
    stands after the preset. Raises ValueError outside.

    Source: plate geometry and ``app.sync.engine.engine_air``.

    >>> from app.sync.engine.hardware import likely_hardware
    >>> preset = turns_for_idle(5.7e-3, 8, 15.0, likely_hardware(5.7e-3, 8))
    >>> round(preset.turns, 1), round(preset.low, 1), round(preset.high, 1), preset.open_ended
    (1.2, 0.7, 1.9, False)
    """
    if displacement <= 0 or bores < 1 or idle_speed <= 0 or base_blade < 0:
        raise ValueError("An engine has displacement, bores and an idle speed.")
    engine = usual_breathing(bores, displacement, idle_speed, ambient=ambient)
    log_aim = min(math.log(AIM), log_speed_at(engine, MOST_RATIO))
    past_plates = BYPASS_BASE * BYPASS_AREA * bypass_screws / bores
    likely = _Case(engine, hardware, base_blade, past_plates, log_aim)
    measured = any(getattr(hardware, name).measured for name in DOUBT)
    outside = beyond(likely.gap, ratio_at(engine, 0.0), idle_speed, engine.ambient, hardware.bore_diameter.value)
    trials = _trials(likely)
    changes = [math.log(trial.turns / likely.turns) for trial in trials]
    down, up = (math.hypot(*(change for change in changes if way * change > 0)) for way in (-1, 1))
    high = likely.turns * math.exp(up)
    open_ended = high > MOST_TURNS or not all(trial.inside for trial in trials)
    return Preset(
        likely.turns,
        likely.turns * math.exp(-down),
        max(min(high, likely.farthest), likely.turns) if open_ended else high,
        "physics" if measured else "usual",
        idle_speed * math.exp(log_aim),
        open_ended,
        outside,
        base_blade,
        likely.gap,
    )


@dataclass(frozen=True, slots=True)
class _Case:
    """One engine to preset: ``past_plates`` [m2] a bore is let past, ``leak`` over the usual one, ``log_demand`` beyond
    the nominal."""

    engine: IdleFlowModel
    hardware: Hardware
    base_blade: float
    past_plates: float
    log_aim: float
    log_demand: float = 0.0
    leak: float = 1.0

    @property
    def gap(self) -> float:
        """Edge gap [m] on which it idles at the speed aimed at; a quarter of the area is the plates' at least."""
        return self._gap_at(self.log_aim)

    @property
    def turns(self) -> float:
        """Turns from the base feeler contact to that gap."""
        return self._turns_to(self.gap)

    @property
    def inside(self) -> bool:
        """Whether the model speaks for gap and runner pressure of it."""
        ratio = float(ratio_at(self.engine, self.log_aim))
        return ratio <= RANGES[Beyond.RATIO][1] and self.gap <= RANGES[Beyond.GAP][1]

    @property
    def farthest(self) -> float:
        """Turns up to which the model speaks for it."""
        gap = min(self._gap_at(log_speed_at(self.engine, RANGES[Beyond.RATIO][1])), RANGES[Beyond.GAP][1])
        return min(self._turns_to(gap), MOST_TURNS)

    def _gap_at(self, log_speed: float) -> float:
        area = float(area_at(self.engine, log_speed, self.log_demand))
        leak = self.leak * FIT * closed_leakage(self.hardware.bore_diameter.value)
        return max(area - leak - self.past_plates, area / 4) / gap_width(self.hardware)

    def _turns_to(self, gap: float) -> float:
        diameter, closed = self.hardware.bore_diameter.value, self.hardware.closed_angle.value
        rotation = angle_at(min(gap, diameter / 2), diameter, closed) - closed
        return turns_for(rotation + self.base_blade / self.hardware.stop_lever.value, self.hardware)


def _trials(likely: _Case) -> list[_Case]:
    """One doubtful thing at a time moved to either end of its range."""
    engine, hardware = likely.engine, likely.hardware
    trials = []
    for end in (-NINE_IN_TEN, NINE_IN_TEN):
        narrower = engine.conductance * math.exp(end * CONTRACTION_SD)
        emptier = engine.filling * IDLE_RATIO / (IDLE_RATIO + end * IDLE_RATIO_SD)
        trials += [
            replace(likely, log_demand=end * DEMAND_SD),
            replace(likely, leak=1 + end * LEAK_SD),
            replace(likely, engine=replace(engine, conductance=narrower)),
            replace(likely, engine=replace(engine, filling=emptier)),
        ]
    for name, doubt in DOUBT.items():
        figure: Figure = getattr(hardware, name)
        if not figure.measured:
            for value in (max(figure.value - doubt, figure.value / 2), figure.value + doubt):
                trials.append(replace(likely, hardware=replace(hardware, **{name: Figure(value)})))
    return trials
