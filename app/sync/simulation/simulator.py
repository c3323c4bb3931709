"""A simulated engine to train on and to measure the advice by, richer than the model the advice assumes.

Every plate has its own closed angle, leak, discharge and cylinder behind it; plates grow with heat, couplers have lost
motion, screws do not travel quite as drawn, bypass and coupler screws do what their maker gave them; idle speed and
runner pressure answer to total air; the idle wanders. The meter has a scale of its own, noise and steps, and hands are
hands. How large each of these is is our own judgement.

What an engine is follows from its seed, and how meter and hands fell from the order of what was done, so doing the same
again leads to the same state: nothing but the seed and what was recorded has to be kept.
"""

import math
from collections.abc import Iterable
from dataclasses import dataclass, field
from typing import Literal

import numpy as np

from app.sync.banks.bank_means import CENTRAL_LEVER
from app.sync.banks.link_hypotheses import FREE_PLAY
from app.sync.engine.adjusters.registry import adjuster_of, gain_kind, kinds_with_gain, moved_bores
from app.sync.engine.air import ATMOSPHERE, GAS_CONSTANT, SHOP_TEMPERATURE
from app.sync.engine.events import BladeReset, ColdSetting, Event, IdleSpeed, LinkTurn, Meter, Move, Reading, StopTurn
from app.sync.engine.hardware import Hardware, likely_hardware
from app.sync.engine.layout import Adjuster, Coupler, Layout
from app.sync.engine.linkage import link_rotation, stop_rotation
from app.sync.engine.plate import open_area
from app.sync.engine.units import DEGREE, KG_PER_HOUR, LITER, REV_PER_MIN, THOU
from app.sync.engine.work_minutes import READ_MINUTES, RESET_MINUTES, TURN_MINUTES
from app.sync.simulation.runners import flow_functions, own_ratios
from app.sync.slips.changes import Floats

WANTED = 850 * REV_PER_MIN  # our judgement
PER_BORE = 0.5 * LITER  # our judgement

Trouble = Literal["sound", "loose", "slipped", "worn", "rough-easy", "rough-fair", "rough-hard"]
"""What ails an engine beyond not being even: nothing; one coupler with much lost motion; one that slipped on an engine
that was even before; a worn joint in one of two banks' link rods, of the right length; or, on an engine that is even by
its meter, what `rough_engine` draws."""


@dataclass(frozen=True)
class Imperfections:
    """How rough meter and hands are: the spread of one reading, its step, of a feeler and of a screw. ``couplers`` is
    how far apart they hold two plates as found [rad]."""

    repeatability: float = 0.02
    step: float = 0.25 * KG_PER_HOUR
    blade: float = 0.4 * THOU
    turn: float = 0.01
    lost_motion: float = 0.0006
    tachometer: float = 3 * REV_PER_MIN
    couplers: float = 0.009


@dataclass
class SimulatedEngine:
    """One engine, drawn from ``seed``, with the work done at it: events as the adviser sees them, and minutes; those
    of the cold engine apart.

    ``hand`` draws another meter and other hands at the same engine. ``heated`` is for how long it ran before [minutes].
    ``links_off`` makes one bank's link rod too long, so that it
    leaves its stop late.
    """

    layout: Layout
    seed: int
    rough: Imperfections = field(default_factory=Imperfections)
    trouble: Trouble = "sound"
    hand: int = 0
    heated: float = 0.0
    links_off: bool = False
    events: list[Event] = field(default_factory=list)
    minutes: float = 0.0
    cold_minutes: float = 0.0
    readings: int = 0
    moves: int = 0

    def __post_init__(self) -> None:
        rng = np.random.default_rng([self.seed, len(self.layout.bores)])
        n = len(self.layout.bores)
        self.rng = np.random.default_rng([self.seed, n, 7, *([self.hand] if self.hand else [])])
        self.place = {bore: at for at, bore in enumerate(self.layout.bores)}
        self.hardware: Hardware = likely_hardware(PER_BORE * n, n)
        self.scale = rng.uniform(0.85, 1.15)
        self.closed = 6 * DEGREE + 0.3 * DEGREE * rng.standard_normal(n)
        self.leak = np.clip(1.2e-6 + 0.5e-6 * rng.standard_normal(n), 0.2e-6, None)
        self.discharge = 0.75 * (1 + 0.04 * rng.standard_normal()) * (1 + 0.02 * rng.standard_normal(n))
        self.sharing = rng.uniform(0.0, 0.6)
        self.speed_power = rng.uniform(0.7, 0.9)
        self.travel = 1 + 0.04 * rng.standard_normal(len(self.layout.banks))
        self.slack = dict(zip(self.layout.couplers(), rng.uniform(0, self.rough.lost_motion, n), strict=False))
        self.held = dict.fromkeys(self.slack, 0.0)
        self.link = {bank.name: 0.0 for bank in self.layout.banks}  # how much earlier each bank leaves its stop
        self.joint = {bank.name: 0.0 for bank in self.layout.banks}  # lost motion of each bank's link rod
        self.angle = np.zeros(n)  # beyond closed, before heat and slack
        for bank in self.layout.banks:
            common = rng.normal(0.041, 0.006)
            self.angle[self.place[bank.stop]] = common
            for joint in bank.outward:
                near, far = self.place[joint.near], self.place[joint.far]
                apart = rng.normal(0, self.rough.couplers)
                if joint.kind == "shaft":  # its maker set the plates of one shaft together
                    apart /= 4
                    self.closed[far] += 0.7 * (self.closed[near] - self.closed[far])
                    self.leak[far] += 0.5 * (self.leak[near] - self.leak[far])
                self.angle[far] = self.angle[near] + apart
        self._screws(np.random.default_rng([self.seed, n, 13]))
        self.heat = rng.normal(0, 0.0008, n)  # still to come, over about twenty minutes
        past_plates = 1.2e-6 + self._preset_air() / n
        nominal = 0.75 * (math.pi * 0.024 * 5 * THOU + past_plates) * self._per_area() * 0.64
        ratio = rng.normal(0.67, 0.03)  # runner pressure at idle
        self.filling = nominal / (ratio * WANTED) * (1 + 0.02 * rng.standard_normal(n))
        self.demand = n * nominal * (1 + 0.08 * rng.standard_normal())
        self.wander = 0.0
        self._trouble(np.random.default_rng([self.seed, n, 11]))
        self.worst_at_first = self.worst()

    def _screws(self, rng: np.random.Generator) -> None:
        """What a turn of each screw with a gain does on this engine, and how far those that let air past stand open;
        drawn apart so that an engine without any is the same as before."""
        if self.layout.plenum:
            self.sharing = rng.uniform(0.6, 0.95)
        self.per_turn: dict[Adjuster, float] = {}
        self.turned_out: dict[Adjuster, float] = {}
        for kind in kinds_with_gain():
            turns_plates = kind.effect == "turns plates"
            size = kind.size(self.hardware) * math.exp((0.25 if turns_plates else 0.3) * rng.standard_normal())
            unknown = 1 if kind.sign_known else int(rng.choice([-1, 1]))
            screws = kind.adjusters(self.layout)
            for screw in screws:
                way = kind.way(self.layout, screw) or unknown
                self.per_turn[screw] = way * size * math.exp(0.1 * rng.standard_normal())
            for screw in () if turns_plates else screws:
                self.turned_out[screw] = kind.preset + (0.2 * float(rng.standard_normal()) if kind.preset else 0.0)
                self.leak[self._rows(screw)] += self.per_turn[screw] * self.turned_out[screw]

    def _preset_air(self) -> float:
        """Area that all screws together let past the plates after the preset [m2]."""
        letting = (kind for kind in kinds_with_gain() if kind.effect == "lets air past")
        return sum(kind.preset * kind.size(self.hardware) * len(kind.adjusters(self.layout)) for kind in letting)

    def _rows(self, adjuster: Adjuster) -> list[int]:
        """The places of the bores that an adjuster acts on."""
        return [self.place[bore] for bore in moved_bores(self.layout, adjuster)]

    def _trouble(self, rng: np.random.Generator) -> None:
        """What ails this engine, drawn apart so that the engine is the same without it."""
        at, size = rng.integers(max(len(self.slack), 1)), rng.uniform(0.012, 0.02) * rng.choice([-1, 1])
        late, flats = rng.integers(len(self.layout.banks)), rng.uniform(1, 3)
        self.suspect = list(self.slack)[at] if self.slack and self.trouble in ("loose", "slipped") else None
        if self.trouble == "worn" and len(self.layout.banks) > 1:
            self.joint[self.layout.banks[late].name] = link_rotation(flats, self.hardware)
        elif self.links_off and len(self.layout.banks) > 1:
            self.link[self.layout.banks[late].name] = -link_rotation(flats, self.hardware)
        if self.suspect is not None and self.trouble == "loose":
            self.slack[self.suspect] = abs(size)
            self._settle_slack(self.layout.bank_of(self.suspect.far).name, rng)
        elif self.trouble.startswith("rough"):
            self._even()
        elif self.suspect is not None:
            self._even()
            rows = [self.place[bore] for bore in self.layout.bank_of(self.suspect.far).beyond(self.suspect)]
            self.angle[rows] = np.maximum(self.angle[rows] + size, 0.006)

    def _even(self) -> None:
        """Every plate where all bores breathe alike, at the idle speed wanted."""
        for _ in range(20):
            flow, _ = self.solve()
            self.angle = np.maximum(self.angle - 0.03 * np.log(flow / flow.mean()), 0.006)
        self.demand = float(self.solve()[0].sum())

    @staticmethod
    def _per_area() -> float:
        return ATMOSPHERE / math.sqrt(GAS_CONSTANT * SHOP_TEMPERATURE)

    def angles(self, opening: float = 0.0, from_above: bool = False) -> Floats:
        """Where the plates truly stand beyond closed [rad], with ``opening`` [m] under the central lever.

        Lost motion in a link rod is taken up last on the way up, and already taken up when the lever comes
        ``from_above``.
        """
        warm = self.heat * (1 - math.exp(-(self.heated + self.minutes) / 8))
        off_stop = np.zeros(len(self.place))
        for bank in self.layout.banks:
            rows = [self.place[bore] for bore in bank.bores]
            lost = 0.0 if from_above else self.joint[bank.name]
            off_stop[rows] = max(0.0, opening / CENTRAL_LEVER - FREE_PLAY - lost + self.link[bank.name])
        return np.maximum(self.angle + self._rest() + warm, 0.0) + off_stop

    def _rest(self) -> Floats:
        """Where every plate comes to rest within the lost motion before it [rad]."""
        slack = np.zeros(len(self.place))
        for coupler, held in self.held.items():
            for bore in self.layout.bank_of(coupler.far).beyond(coupler):
                slack[self.place[bore]] += held
        return slack

    def gaps(self) -> Floats:
        """Edge gap of every plate at idle [m]."""
        radius = self.hardware.bore_diameter.value / 2
        return radius * (1 - np.cos(self.closed + self.angles()) / np.cos(self.closed))

    def solve(self, angles: Floats | None = None) -> tuple[Floats, float]:
        """True flow of every bore [kg/s] and idle speed [rev/s], at the angles it stands at unless told others."""
        _, flow, speed = self._settled(angles)
        return flow, speed

    def _settled(self, angles: Floats | None = None) -> tuple[Floats, Floats, float]:
        """Pressure in every runner over that of the air, flow [kg/s] and speed [rev/s]."""
        stand = self.angles() if angles is None else angles
        diameter, shaft = self.hardware.bore_diameter.value, self.hardware.shaft_diameter.value
        area = np.array(
            [open_area(float(c + x), diameter, shaft, float(c)) for c, x in zip(self.closed, stand, strict=True)]
        )
        conductance = self.discharge * (area + self.leak) * self._per_area()
        speed = WANTED
        for _ in range(12):
            # Runner pressure: what comes in is what the cylinder takes.
            own = own_ratios(self.filling * speed / conductance)
            ratios = (1 - self.sharing) * own + self.sharing * own.mean()
            flow = conductance * flow_functions(ratios)
            answer = WANTED * (flow.sum() / self.demand) ** self.speed_power
            if abs(answer - speed) < 1e-4 * speed:
                break
            speed += 0.8 * (answer - speed)
        return ratios, flow, float(speed)

    def worst(self) -> float:
        """How far the worst bore's true flow stands from the mean, as a fraction."""
        flow, _ = self.solve()
        return float(np.abs(flow / flow.mean() - 1).max())

    def fast_by(self) -> float:
        """How far idle speed stands from the one wanted [rev/s]."""
        return self.solve()[1] - WANTED

    @property
    def meter(self) -> Meter:
        """The meter as the shop knows it."""
        return Meter("flow", self.rough.step, self.rough.repeatability)

    def read(self, bore: int, closing: bool = False, opening: float = 0.0, from_above: bool = False) -> float:
        """Read one bore [kg/s], with ``opening`` [m] under the central lever, as ``angles`` has it; the idle wanders on
        meanwhile."""
        noise = self.consume_reading()
        flow, _ = self.solve(self.angles(opening, from_above))
        shown = flow[self.place[bore]] * self.scale * (1 + self.wander)
        shown *= 1 + self.rough.repeatability * noise
        value = max(self.rough.step * round(float(shown) / self.rough.step), 0.0)
        self.events.append(Reading(bore, value, self.minutes * 60, closing))
        return value

    def read_column(self, bore: int, opening: float = 0.0, from_above: bool = False) -> float:
        """Read the vacuum behind one plate [Pa], as ``read`` reads its air; columns hang on all ports and have no scale
        of their own."""
        noise = self.consume_reading()
        ratios, _, _ = self._settled(self.angles(opening, from_above))
        return float(ATMOSPHERE * (1 - ratios[self.place[bore]]) * (1 + self.rough.repeatability * noise))

    def consume_reading(self) -> float:
        """Let a reading go by whose value is known already; its noise, in standard deviations."""
        self._spend(READ_MINUTES)
        self.readings += 1
        return float(self.rng.standard_normal())

    def read_speed(self) -> float:
        """Look at the tachometer, which costs nothing."""
        speed = self.solve()[1] * (1 + self.wander) + self.rough.tachometer * self.rng.standard_normal()
        self.events.append(IdleSpeed(speed, self.minutes * 60))
        return speed

    def running_speed(self, opening: float, from_above: bool = False) -> float:
        """Look at the tachometer with ``opening`` [m] under the central lever [rev/s], which costs nothing."""
        _, speed = self.solve(self.angles(opening, from_above))
        return speed + self.rough.tachometer * float(self.rng.standard_normal())

    def turn(self, bank: str, turns: float) -> None:
        """Turn a stop screw."""
        self._spend(TURN_MINUTES)
        self.moves += 1
        at = [b.name for b in self.layout.banks].index(bank)
        real = stop_rotation(turns + self.rough.turn * self.rng.standard_normal(), self.hardware) * self.travel[at]
        rows = [self.place[bore] for bore in self.layout.bank(bank).bores]
        self.angle[rows] = np.maximum(self.angle[rows] + real, 0.0)
        self._settle_slack(bank, self.rng)
        self.events.append(StopTurn(bank, turns, self.minutes * 60))

    def reset(self, coupler: Coupler, leaves: tuple[float, ...]) -> None:
        """Reset a coupler with its far plate closed on a feeler."""
        self._spend(RESET_MINUTES)
        self.moves += 1
        self._close_on(sum(leaves), coupler.far, self.layout.bank_of(coupler.far).beyond(coupler))
        self.events.append(BladeReset(coupler.near, coupler.far, sum(leaves), leaves, self.minutes * 60))

    def set_cold(self, setting: ColdSetting) -> None:
        """Close a plate of the cold engine on a feeler, by its coupler or by its bank's stop screw."""
        bank = self.layout.bank_of(setting.bore)
        carrier = bank.carrier(setting.bore)
        self.cold_minutes += TURN_MINUTES if carrier is None else RESET_MINUTES
        self._close_on(setting.gap, setting.bore, bank.bores if carrier is None else bank.beyond(carrier), cold=True)
        self.events.append(setting)

    def _close_on(self, feeler: float, bore: int, moving: tuple[int, ...], cold: bool = False) -> None:
        """Close a plate on a feeler, as well as hands do; those ``moving`` with it follow."""
        gap = max(feeler + self.rough.blade * self.rng.standard_normal(), 0.2 * THOU)
        at, radius = self.place[bore], self.hardware.bore_diameter.value / 2
        self._settle_slack(self.layout.bank_of(bore).name, self.rng)
        wanted = math.acos(math.cos(self.closed[at]) * (1 - gap / radius)) - self.closed[at]
        stands = self.angle + self._rest() if cold else self.angles()
        self.angle[[self.place[other] for other in moving]] += wanted - stands[at]

    def turn_link(self, bank: str, flats: float) -> None:
        """Turn a bank's link rod, as many sixths of a turn."""
        self._spend(TURN_MINUTES)
        self.moves += 1
        self.link[bank] += link_rotation(flats + 6 * self.rough.turn * self.rng.standard_normal(), self.hardware)
        self.events.append(LinkTurn(bank, flats, self.minutes * 60))

    def turn_screw(self, screw: Adjuster, turns: float) -> None:
        """Turn a screw with a gain, as its kind counts turns; one that has a closed end goes no further than that.
        Raises KeyError where there is none."""
        per_turn, kind = self.per_turn[screw], gain_kind(self.layout, screw)
        self._spend(TURN_MINUTES)
        self.moves += 1
        rows, hand = self._rows(screw), self.rough.turn * float(self.rng.standard_normal())
        if screw in self.turned_out:
            out = self.turned_out[screw]
            self.turned_out[screw] = max(out + turns + hand, 0.0) if kind.has_end else out + turns + hand
            self.leak[rows] = np.maximum(self.leak[rows] + per_turn * (self.turned_out[screw] - out), 0.0)
        else:
            self.angle[rows] = np.maximum(self.angle[rows] + per_turn * (turns + hand), 0.0)
            self._settle_slack(self.layout.bank_of(self.layout.bores[rows[0]]).name, self.rng)
        self.events.append(kind.move(kind.place(screw), turns, at=self.minutes * 60))

    def make(self, move: Move) -> None:
        """Make a move as recorded; the hand makes it imperfectly."""
        if isinstance(move, StopTurn):
            self.turn(move.bank, move.turns)
        elif isinstance(move, BladeReset):
            self.reset(Coupler(move.near, move.far), move.leaves)
        elif isinstance(move, LinkTurn):
            self.turn_link(move.bank, move.flats)
        elif (screw := adjuster_of(move)) in self.per_turn:  # else recorded where there is none: nothing moved
            self.turn_screw(screw, move.amount)

    def _settle_slack(self, bank: str, rng: np.random.Generator) -> None:
        """A handled throttle comes to rest somewhere else within its lost motion."""
        for coupler, slack in self.slack.items():
            if self.layout.bank_of(coupler.far).name == bank:
                self.held[coupler] = slack * rng.uniform(-0.5, 0.5)

    def _spend(self, minutes: float) -> None:
        self.minutes += minutes
        keep = math.exp(-minutes / 3)
        self.wander = keep * self.wander + 0.007 * math.sqrt(1 - keep**2) * self.rng.standard_normal()


def replay(stand: SimulatedEngine, done: Iterable[Event]) -> SimulatedEngine:
    """Bring an engine to where it stands after what was done at it, and return it.

    Parameters: ``stand`` as it was made; ``done`` the readings and moves in their order. A look at the tachometer
    changes nothing. Readings are not taken again: only their time passes, and the noise that was used up.

    >>> from app.sync.engine.layout import Bank
    >>> four = Layout((Bank("A", (1, 2, 3, 4), stop=2, drive=2),))
    >>> first = SimulatedEngine(four, seed=5)
    >>> _ = first.read(1), first.turn("A", 0.125)
    >>> replay(SimulatedEngine(four, seed=5), first.events).read(1) == first.read(1)
    True
    """
    for event in done:
        if isinstance(event, Reading):
            stand.consume_reading()
        elif isinstance(event, ColdSetting):
            stand.set_cold(event)
        elif not isinstance(event, IdleSpeed):
            stand.make(event)
    return stand


def usable_for_training(stand: SimulatedEngine) -> bool:
    """Whether an engine is worth training on: not even, but such as comes into a shop that presets its plates.

    Parameters: ``stand`` as it was made. Worst bore 10 to 50 % off the mean, gaps of two to nine thousandths of an
    inch, idle within 150 rpm of the one wanted (judgement).

    >>> from app.sync.engine.layout import Bank
    >>> four = Layout((Bank("A", (1, 2, 3, 4), stop=2, drive=2),))
    >>> [usable_for_training(SimulatedEngine(four, seed, trouble="slipped")) for seed in (2, 160455711)]
    [True, False]
    """
    gaps = stand.gaps()
    tame = gaps.min() >= 2 * THOU and gaps.max() <= 9 * THOU and abs(stand.fast_by()) <= 150 * REV_PER_MIN
    return bool(tame) and (stand.trouble.startswith("rough") or 0.1 <= stand.worst_at_first <= 0.5)
