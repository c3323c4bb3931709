"""Engines that idle by a plate law of their own and are read by columns: what the advice comes to at their depression.

Nothing of the program's own air, filling, speed or simulator is in here; its layout, hardware figures and events are.
Fillings differ by 2 % from cylinder to cylinder, and how much of a runner's pressure is shared is drawn, 0 to 0.6.
"""

import math
import random
from collections.abc import Callable
from dataclasses import dataclass, field, replace

from scipy.optimize import brentq

from app.sync.engine.engine_air import Ambient
from app.sync.engine.events import BladeReset, ColdSetting, Event, IdleSpeed, Meter, Reading, StopTurn
from app.sync.engine.hardware import Hardware, likely_hardware
from app.sync.engine.layout import Bank, Coupler, Layout
from app.sync.engine.units import KPA, LITER, REV_PER_MIN, THOU
from app.sync.estimation.posterior import start_prior
from app.sync.planning.advice import Advice, AdviceKind, AdviceReason, move_of
from app.sync.planning.planner import next_move

V8 = Layout((Bank("A", (1, 2, 3, 4), 1, 1), Bank("B", (5, 6, 7, 8), 5, 5)))
PER_BORE, DISPLACEMENT, WANTED = 0.5 * LITER, 4 * LITER, 850 * REV_PER_MIN
HARDWARE = likely_hardware(DISPLACEMENT, 8)
FEELERS = tuple(THOU * half / 2 for half in range(3, 20))
WINDOW = 0.08
MOST_STEPS = 300

RADIUS, CLOSED = 0.025, math.radians(6)
THERMAL = math.sqrt(287.05 * 293.15)
LEAK, FILLING = 1.3e-6, 0.42
HAND, SCREW_HAND = 0.4 * THOU, 0.06
"""Standard deviations of a blade's fit [m], and of a screw's turn as a fraction."""

GROWTH, OWN_GROWTH = 0.15 * THOU, 0.12 * THOU
"""Standard deviations of what heat adds to the gap of every plate alike, and of each on its own [m]."""


def throat(ratio: float) -> float:
    """Isentropic flow of air, gamma 1.4, constant below the critical ratio."""
    held = max(ratio, CRITICAL)
    return math.sqrt(7 * (held ** (2 / 1.4) - held ** (2.4 / 1.4)))


CRITICAL = (2 / 2.4) ** 3.5
"""Pressure ratio below which the flow of air is choked."""
CHOKED = throat(CRITICAL)
OPEN = 0.9999
"""Pressure ratio at most, behind a plate that is wide open."""


def edge(angle: float, closed: float = CLOSED) -> float:
    """Gap at the edge of a plate turned by ``angle`` [rad] from ``closed``, where it meets its bore [m]."""
    return RADIUS * (1 - math.cos(closed + angle) / math.cos(closed))


def angle_for(gap: float, closed: float = CLOSED) -> float:
    """Angle [rad] at which a plate shows an edge gap [m]."""
    return math.acos((1 - gap / RADIUS) * math.cos(closed)) - closed


@dataclass(frozen=True, slots=True)
class Truth:
    """What is true of an engine and its hands, whatever the program believes of it.

    ``leak`` past a closed plate [m2]; ``closed`` angle at which a plate meets its bore [rad]; ``sharing`` of a runner's
    pressure, drawn where None; ``lever``, what a turn of a stop screw does beside what its length says; ``hand`` of a
    feeler [m] and ``screw`` of a turn, standard deviations.
    """

    leak: float = LEAK
    closed: float = CLOSED
    sharing: float | None = None
    lever: float = 1.0
    hand: float = HAND
    screw: float = SCREW_HAND


@dataclass
class ColumnEngine:
    """An engine whose plates would all draw ``depression`` [Pa] at the wanted speed if they stood alike.

    ``ambient`` [Pa] is the air of the day; ``meter`` what it is read with; ``per_bore`` [m3] the size of a cylinder.
    """

    seed: int
    depression: float
    meter: Meter
    ambient: float
    layout: Layout = V8
    truth: Truth = Truth()
    per_bore: float = PER_BORE
    minutes: float = 0.0
    events: list[Event] = field(default_factory=list)

    def __post_init__(self) -> None:
        rng = self.rng = random.Random(self.seed)
        self.sharing = rng.uniform(0.0, 0.6)
        if self.truth.sharing is not None:
            self.sharing = self.truth.sharing
        self.filling = {bore: 1 + 0.02 * rng.gauss(0, 1) for bore in self.layout.bores}
        screw = self.hardware.stop_pitch.value / self.hardware.stop_lever.value
        self.lever = self.truth.lever * screw * (1 + 0.05 * rng.gauss(0, 1))
        self.contraction = 0.72 * math.exp(0.08 * rng.gauss(0, 1))
        base = 1 - self.depression / self.ambient
        self.swallowed = FILLING * math.exp(0.1 * rng.gauss(0, 1)) * self.per_bore / 2 / (287.05 * 320)
        self.needed = len(self.layout.bores) * self.swallowed * base * self.ambient * WANTED
        open_ = self.needed / len(self.layout.bores) * THERMAL / (self.ambient * throat(base)) / self.contraction
        open_ -= self.truth.leak
        usual = max(open_ / (math.pi * RADIUS), 0.8 * THOU)
        self.angles = {}
        for bank in self.layout.banks:
            angle = angle_for(usual, self.truth.closed) + 0.006 * rng.gauss(0, 1)
            for bore in bank.bores:
                self.angles[bore] = max(angle, 2e-4)
                angle += 0.008 * rng.gauss(0, 1)
        self.speed = WANTED
        self.settle()

    @property
    def hardware(self) -> Hardware:
        """What is fitted, as the program estimates it."""
        bores = len(self.layout.bores)
        return likely_hardware(self.per_bore * bores, bores)

    def area(self, angle: float) -> float:
        """Effective area behind a plate [m2]."""
        gap = max(edge(angle, self.truth.closed), 0.0)
        return self.contraction * (math.pi * RADIUS * gap + self.truth.leak)

    def settle(self) -> None:
        """Flows [kg/s], runner pressures over ambient, and the speed at which the air is what friction asks for."""
        for _ in range(60):
            own = {bore: self._own(bore) for bore in self.layout.bores}
            mean = sum(own.values()) / len(own)
            self.ratios = {b: (1 - self.sharing) * r + self.sharing * mean for b, r in own.items()}
            self.flows = {
                b: self.area(self.angles[b]) * self.ambient / THERMAL * throat(r) for b, r in self.ratios.items()
            }
            asked = WANTED * (sum(self.flows.values()) / self.needed) ** (1 / 1.15)
            if abs(asked / self.speed - 1) < 1e-6:
                break
            self.speed += 0.5 * (asked - self.speed)

    def _own(self, bore: int) -> float:
        """The ratio at which a plate lets in what its cylinder takes, were nothing shared."""
        taken = self.swallowed * self.filling[bore] * self.speed * THERMAL / self.area(self.angles[bore])
        if taken * CRITICAL >= CHOKED:
            return max(CHOKED / taken, 0.01)
        if taken * OPEN <= throat(OPEN):
            return OPEN
        return float(brentq(lambda ratio: taken * ratio - throat(ratio), CRITICAL, OPEN, xtol=1e-13))

    @property
    def worst(self) -> float:
        """How far the bore farthest from the mean is from it, as a fraction of the air through the plates."""
        mean = sum(self.flows.values()) / len(self.flows)
        return max(abs(flow / mean - 1) for flow in self.flows.values())

    def read(self, bore: int, closing: bool) -> None:
        """Read a column, or an absolute one, to its step."""
        vacuum = self.ambient * (1 - self.ratios[bore]) * (1 + 0.003 * self.rng.gauss(0, 1))
        shown = replace(self.meter, ambient=self.ambient).turned(vacuum)
        shown *= 1 + self.meter.repeatability * self.rng.gauss(0, 1)
        self.minutes += 0.3
        value = round(shown / self.meter.step) * self.meter.step
        self.events.append(Reading(bore, value, 60 * self.minutes, closing))

    def even(self, apart: float = 0.02) -> None:
        """Set every plate so that its bore draws the mean, within a fraction ``apart`` as a standard deviation."""
        for _ in range(40):
            mean = sum(self.flows.values()) / len(self.flows)
            for bore, flow in self.flows.items():
                self.angles[bore] = max(self.angles[bore] - 0.02 * math.log(flow / mean), 2e-4)
            self.settle()
        for bore in self.angles:
            self.angles[bore] = max(self.angles[bore] + 0.05 * apart * self.rng.gauss(0, 1), 2e-4)
        self.settle()

    def read_off_idle(self, lever: float, early: float, play: float = 0.003) -> dict[int, float]:
        """Every column once, the lever open by ``lever`` [rad]; the second bank leaves its stop earlier by ``early``.

        Both link rods have free ``play`` [rad], the later one that much more.
        """
        rest, seen = dict(self.angles), len(self.events)
        for bank, late in zip(self.layout.banks, (max(early, 0.0), max(-early, 0.0)), strict=True):
            for bore in bank.bores:
                self.angles[bore] += max(lever - play - late, 0.0)
        self.settle()
        for bore in self.layout.bores:
            self.read(bore, closing=False)
        shown = {one.bore: one.value for one in self.events[seen:] if isinstance(one, Reading)}
        del self.events[seen:]
        self.angles = rest
        self.settle()
        return shown

    def read_speed(self) -> None:
        """Read the tachometer."""
        self.events.append(IdleSpeed(self.speed * (1 + 0.005 * self.rng.gauss(0, 1)), 60 * self.minutes))

    def set_cold(self, feeler: float) -> None:
        """Close every plate on a feeler, each bank from its front, with the engine cold; then warm it up."""
        growth = GROWTH * self.rng.gauss(0, 1)
        for bank in self.layout.banks:
            for at, bore in enumerate(bank.bores):
                by = angle_for(max(feeler + self.truth.hand * self.rng.gauss(0, 1), 1e-6)) - self.angles[bore]
                for follows in bank.bores[at:]:
                    self.angles[follows] = self.angles[follows] + by
                self.events.append(ColdSetting(bore, feeler, (feeler,), 0.0))
        for bore, angle in self.angles.items():
            hot = edge(angle) + growth + OWN_GROWTH * self.rng.gauss(0, 1)
            self.angles[bore] = angle_for(max(hot, 1e-6))
        self.settle()

    def answers(self, move: BladeReset) -> float:
        """What part of a reset a coupler keeps."""
        return 1.0

    def make(self, move: StopTurn | BladeReset) -> None:
        """Turn a stop screw or reset a coupler, as hands do it."""
        if isinstance(move, StopTurn):
            moved = self.layout.bank(move.bank).bores
            by = move.turns * self.lever * (1 + self.truth.screw * self.rng.gauss(0, 1))
            self.minutes += 0.7
        else:
            moved = self.layout.bank_of(move.far).beyond(Coupler(move.near, move.far))
            gap = max(move.gap + self.truth.hand * self.rng.gauss(0, 1), 1e-6)
            by = angle_for(gap, self.truth.closed) - self.angles[move.far]
            by *= self.answers(move)
            self.minutes += 2.0
        for bore in moved:
            self.angles[bore] = max(self.angles[bore] + by, 2e-4)
        self.settle()
        self.events.append(replace(move, at=60 * self.minutes))


@dataclass(frozen=True, slots=True)
class Ended:
    """How a visit ended: the adviser's last kind of step and its reason, how far the worst bore is off, the minutes."""

    kind: str
    why: str
    worst: float
    minutes: float


def follow(engine: ColumnEngine, advise: Callable[[], Advice]) -> Advice | None:
    """Do at an engine what ``advise`` says, until it says that nothing is left to do or that nothing helps, and return
    that; None where it says neither in ``MOST_STEPS``."""
    engine.read_speed()
    for _ in range(MOST_STEPS):
        step = advise()
        if step.kind in (AdviceKind.DONE, AdviceKind.CANNOT):
            return step
        if step.kind is AdviceKind.MEASURE:
            engine.read(step.bores[0], step.why is AdviceReason.CLOSE_ROUND)
        else:
            move = move_of(step)
            assert isinstance(move, StopTurn | BladeReset)
            engine.make(move)
            engine.read_speed()
    return None


def visited(
    seed: int,
    depression: float,
    ambient: float = 101.325 * KPA,
    told: Ambient | None = None,
    cold_feeler: float | None = None,
) -> Ended:
    """Follow the advice at an engine until it says that nothing is left to do.

    ``told`` is the air that the program knows of, the day's own where it was recorded; ``cold_feeler`` [m] is what
    every plate was set on before the first start, if it was.
    """
    day = told or Ambient(ambient, 293.15)
    meter = Meter("vacuum", 0.5 * KPA, 0.02, day.pressure)
    engine = ColumnEngine(seed, depression, meter, ambient)
    start = start_prior(V8, HARDWARE, DISPLACEMENT, WANTED, day)
    if cold_feeler is not None:
        engine.set_cold(cold_feeler)
    step = follow(
        engine, lambda: next_move(V8, HARDWARE, meter, engine.events, WANTED, FEELERS, WINDOW, DISPLACEMENT, start)
    )
    kind, why = (str(step.kind), str(step.why)) if step is not None else ("no end", "")
    return Ended(kind, why, engine.worst, engine.minutes)
