"""Many engines at once that were left even, ran for a year, and come back: as left, as found, and just off idle.

Richer than what the fits assume: every plate has its own closed angle, leak, contraction and cylinder behind it; the
runner pressures share some of the plenum; idle speed answers to all the air drawn; plates age and are never warmed
quite alike; the meter has a scale, noise, steps and the odd misread value. Arrays are engines by bores.
"""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from app.sync.engine.air import ATMOSPHERE, GAS_CONSTANT, SHOP_TEMPERATURE, critical_ratio
from app.sync.engine.events import Meter
from app.sync.engine.layout import Bank, Layout
from app.sync.engine.units import DEGREE, KG_PER_HOUR, MM, REV_PER_MIN
from app.sync.slips.changes import Conditions

Floats = NDArray[np.float64]
Places = NDArray[np.int64]

DIAMETER, SHAFT = 48 * MM, 10 * MM
IDLE_FLOW, IDLE_SPEED = 6.4 * KG_PER_HOUR, 850 * REV_PER_MIN
IDLE_RATIO = 0.674
REPEATABILITY = 0.02


@dataclass(frozen=True, slots=True)
class Rough:
    """How rough engines, meter and hands are, as spreads: fractions, radians, or as named.

    ``uneven`` as left; ``closed``, ``leak`` [m2], ``discharge`` and ``cylinder`` from plate to plate; ``ageing`` of a
    bore's flow and ``warmth`` of its plate [rad] between two visits; ``wander`` of the idle from reading to reading;
    ``misread`` share of readings that are wrong by 8 to 30 %.
    """

    repeatability: float = REPEATABILITY
    step: float = 0.25 * KG_PER_HOUR
    uneven: float = 0.03
    closed: float = 0.3 * DEGREE
    leak: float = 0.5e-6
    discharge: float = 0.02
    cylinder: float = 0.02
    ageing: float = 0.007
    warmth: float = 0.00015
    rescaled: float = 0.003
    wander: float = 0.0
    misread: float = 0.0

    @property
    def meter(self) -> Meter:
        """The meter as the shop knows it."""
        return Meter("flow", self.step, self.repeatability)


def layout_of(bores: int, banks: int = 2) -> Layout:
    """Banks of equal length with the stop screw at the second bore, the third in banks of six."""
    size = bores // banks
    stop = 2 if size >= 6 else min(1, size - 1)
    rows = [tuple(range(1 + at * size, 1 + (at + 1) * size)) for at in range(banks)]
    return Layout(tuple(Bank(name, row, row[stop], row[stop]) for name, row in zip("AB", rows, strict=False)))


@dataclass(frozen=True, slots=True)
class Air:
    """A day: ambient pressure [Pa] and temperature [K] of each engine."""

    pressure: Floats
    temperature: Floats


def plate_area(angle: Floats, closed: Floats) -> Floats:
    """Open area of every plate [m2] by the exact geometry of ``app.sync.engine.plate.open_area``, for arrays."""
    thin = SHAFT / DIAMETER
    squeeze = np.cos(np.minimum(angle, 1.35)) / np.cos(closed)
    beside = (
        thin * np.sqrt(1 - (thin / squeeze) ** 2)
        + squeeze * np.arcsin(thin / squeeze)
        - thin * np.sqrt(1 - thin**2)
        - np.arcsin(thin)
    )
    area: Floats = np.pi * DIAMETER**2 / 4 * (1 - squeeze + 2 / np.pi * beside)
    return area


def flow_function(ratio: Floats) -> Floats:
    """``app.sync.engine.air.flow_function`` for arrays."""
    throat = np.clip(ratio, critical_ratio(), 1.0)
    psi: Floats = np.sqrt(7.0 * np.maximum(throat ** (1 / 0.7) - throat ** (2.4 / 1.4), 0.0))
    return psi


class Fleet:
    """``count`` engines of one layout, evened and left; nothing of it is known to the fits."""

    def __init__(self, layout: Layout, count: int, rng: np.random.Generator, rough: Rough) -> None:
        self.layout, self.rng, self.rough = layout, rng, rough
        self.shape = shape = (count, len(layout.bores))
        self.closed = 6 * DEGREE + rough.closed * rng.standard_normal(shape)
        self.leak = np.clip(1.2e-6 + rough.leak * rng.standard_normal(shape), 0.2e-6, None)
        typical = 0.72 * (1 + 0.05 * rng.standard_normal((count, 1)))
        self.discharge = typical * (1 + rough.discharge * rng.standard_normal(shape))
        self.sharing = rng.uniform(0.0, 0.6, (count, 1))
        self.speed_power = rng.uniform(0.7, 0.9, (count, 1))
        self.scale = rng.uniform(0.85, 1.15, (count, 1))
        self.day = self.another_day()
        ratio = IDLE_RATIO + 0.03 * rng.standard_normal((count, 1))
        flow = IDLE_FLOW * np.exp(0.1 * rng.standard_normal((count, 1)) + rough.uneven * rng.standard_normal(shape))
        # What a cylinder draws: filling x speed x pressure ratio, in kg/s.
        cylinder = 1 + rough.cylinder * rng.standard_normal(shape)
        self.filling = flow.mean(axis=1, keepdims=True) / (ratio * IDLE_SPEED) * cylinder * self._warm(self.day)
        self.demand = flow.sum(axis=1, keepdims=True)
        own = flow / (self.filling / self._warm(self.day) * IDLE_SPEED)
        area = flow / (self._per_area(self.day) * flow_function(self._mixed(own))) / self.discharge - self.leak
        self.angle = self._angle_for(np.maximum(area, 0.5e-6))
        self.flow, self.speed = self.breathe(self.angle, self.day)

    def another_day(self) -> Air:
        """Weather and shop temperature of a visit."""
        count = (self.shape[0], 1)
        return Air(ATMOSPHERE * self.rng.uniform(0.96, 1.01, count), self.rng.uniform(283.0, 308.0, count))

    def breathe(
        self,
        angle: Floats,
        day: Air,
        aged: Floats | float = 1.0,
        load: Floats | float = 1.0,
    ) -> tuple[Floats, Floats]:
        """True flow of every bore [kg/s] and the speed of every engine [rev/s].

        ``angle`` of the plates [rad]; ``day`` it is; ``aged`` factor of each opening; ``load`` of the idling engine.
        """
        per_area = self._per_area(day)
        conductance = self.discharge * aged * (plate_area(np.maximum(angle, self.closed), self.closed) + self.leak)
        conductance = conductance * per_area
        speed = np.full((self.shape[0], 1), IDLE_SPEED)
        own = np.full(self.shape, IDLE_RATIO)
        draw = self.filling / self._warm(day) * (day.pressure / self.day.pressure)
        for _ in range(60):
            flow = conductance * flow_function(self._mixed(own))
            own = own + 0.5 * (np.clip(flow / (draw * speed), 0.02, 0.9999) - own)
            answer = IDLE_SPEED * (flow.sum(axis=1, keepdims=True) / (self.demand * load)) ** self.speed_power
            speed = speed + 0.5 * (answer - speed)
        return conductance * flow_function(self._mixed(own)), speed

    def gain(self) -> Floats:
        """d ln(flow) / d(angle) of one plate at idle while the others stand still [1/rad], per engine."""
        stop = self.place(self.layout.banks[0].stop)
        moved = self.angle.copy()
        moved[:, stop] += 0.001
        flow, _ = self.breathe(moved, self.day)
        gain: Floats = np.log(flow[:, stop] / self.flow[:, stop]) / 0.001
        return gain

    def place(self, bore: int) -> int:
        """The column of a bore."""
        return self.layout.bores.index(bore)

    def found(self, slipped: Floats) -> tuple[Floats, list[Conditions], list[Conditions]]:
        """Flows as found [kg/s], with the conditions as somebody noted them as left and as found.

        ``slipped`` is the change of every plate's angle [rad] since it was left.
        """
        rng, count = self.rng, self.shape[0]
        aged = np.exp(self.rough.ageing * rng.standard_normal(self.shape))
        warmth = self.rough.warmth * rng.standard_normal(self.shape)
        load = np.exp(0.05 * rng.standard_normal((count, 1)))
        day = self.another_day()
        flow, speed = self.breathe(self.angle + slipped + warmth, day, aged, load)
        self.scale_now = self.scale * (1 + self.rough.rescaled * rng.standard_normal((count, 1)))
        return flow, self._noted(self.day, self.speed), self._noted(day, speed)

    def read(self, flow: Floats, scale: Floats) -> Floats:
        """One meter value for every flow given [kg/s]."""
        rng, rough = self.rng, self.rough
        shown = flow * scale * (1 + rough.repeatability * rng.standard_normal(flow.shape))
        shown = shown * (1 + rough.wander * rng.standard_normal(flow.shape))
        wrong = rng.uniform(0.08, 0.30, flow.shape) * np.sign(rng.uniform(-1, 1, flow.shape))
        shown = np.where(rng.uniform(size=flow.shape) < rough.misread, shown * (1 + wrong), shown)
        steps: Floats = np.maximum(np.round(shown / rough.step), 1) * rough.step
        return steps

    def _noted(self, day: Air, speed: Floats) -> list[Conditions]:
        """Barometer good to 1 hPa, thermometer to 1 K, tachometer to 3 rev/min."""
        count = self.shape[0]
        pressure = day.pressure[:, 0] + 100 * self.rng.standard_normal(count)
        temperature = day.temperature[:, 0] + self.rng.standard_normal(count)
        turning = speed[:, 0] + 3 * REV_PER_MIN * self.rng.standard_normal(count)
        return [Conditions(*map(float, one)) for one in zip(pressure, temperature, turning, strict=True)]

    def _mixed(self, own: Floats) -> Floats:
        mixed: Floats = (1 - self.sharing) * own + self.sharing * own.mean(axis=1, keepdims=True)
        return mixed

    @staticmethod
    def _per_area(day: Air) -> Floats:
        per_area: Floats = day.pressure / np.sqrt(GAS_CONSTANT * day.temperature)
        return per_area

    @staticmethod
    def _warm(day: Air) -> Floats:
        """The charge is warmed on its way in, so that its density follows the day's air by half."""
        warm: Floats = np.sqrt(day.temperature / SHOP_TEMPERATURE)
        return warm

    def _angle_for(self, area: Floats) -> Floats:
        """The angle at which every plate shows an area, by halving."""
        low, high = self.closed.copy(), self.closed + 0.5
        for _ in range(40):
            middle = (low + high) / 2
            over = plate_area(middle, self.closed) > area
            low, high = np.where(over, low, middle), np.where(over, middle, high)
        angle: Floats = (low + high) / 2
        return angle


def share(hits: Sequence[bool] | NDArray[np.bool_]) -> float:
    """Part of the tries that hit; not a number without tries."""
    return float(np.mean(hits)) if len(hits) else float("nan")
