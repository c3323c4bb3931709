"""One program that sends: its channels, and what several of them say together of the engine."""

import hashlib
import json
from collections.abc import Iterator, Mapping
from dataclasses import asdict, dataclass, field

import numpy as np
from numpy.typing import NDArray

from app.live.channels import FAST, PULSATES
from app.shop.commands.live.channel_checks import TURNS, Array
from app.sync.engine.units import PRESSURE_UNITS, REV_PER_MIN
from app.sync.signals.averaging import WINDOWS
from app.sync.signals.pulses import blocked, missed, out_of_turn, speed_of
from app.web.live.channels import OVER, Ring

SPEED = "speed"
"""The quantity of a channel that tells how fast the engine runs [rpm]."""

OF_PULSES = 4.0
"""Seconds of pulses that tell the engine speed, and a blocked hose (our judgement)."""

STANDS = 6.0
"""Seconds after which the runners of an engine that stands have filled (our judgement)."""

SPEEDS_APART = 0.02
"""By how much the speed that a channel tells may differ from that of the pulses, as a fraction: theirs is right to that
(simulated, see ``tests/sync/signals/test_pulses.py``)."""

SAID_LATER = ("root", "draws")
"""What a declaration may say since checks were first kept: unsaid it leaves the hash of those as it was."""

Floats = NDArray[np.float64]


@dataclass(frozen=True, slots=True)
class SourceTold:
    """What a sending program says of one of its sources: its ``kind``, the last raw ``lines``, how many fitted nothing
    (``spoilt``), how often it was begun again, what it last failed with, whether its pattern is ``loose``, and the
    ``baud`` of a port that is too slow with what it would need, both 0 otherwise."""

    kind: str
    lines: tuple[str, ...] = ()
    spoilt: int = 0
    restarts: int = 0
    problem: str = ""
    loose: bool = False
    baud: int = 0
    baud_needed: int = 0


@dataclass
class Sender:
    """One feed in one epoch: its rings by channel, and the smallest difference between our clock and its own [s]."""

    epoch: str
    difference: float
    sent: float
    arrived: float
    rings: dict[str, Ring] = field(default_factory=dict)
    sources: dict[str, SourceTold] = field(default_factory=dict)

    def here(self, now: float) -> float:
        """Its own time at a time of ours [s]."""
        return now - self.difference

    @property
    def declared(self) -> str:
        """The SHA-256 of how its channels were declared."""
        said = {
            name: {key: one for key, one in asdict(ring.channel).items() if one or key not in SAID_LATER}
            for name, ring in self.rings.items()
        }
        return hashlib.sha256(json.dumps(said, sort_keys=True).encode()).hexdigest()

    @property
    def at_bores(self) -> dict[str, Ring]:
        """The channels that stay at a bore, by name."""
        return {name: ring for name, ring in self.rings.items() if ring.channel.bore is not None}

    def array(self, here: float, seconds: float) -> Array | None:
        """The sensors at its bores that show a pressure, with their last ``seconds``; None where there are none.

        Parameters: ``here`` the sender's time [s].
        """
        groups = (
            {name: ring for name, ring in self.at_bores.items() if ring.channel.quantity == quantity}
            for quantity in ("vacuum", "pressure")
        )
        mine = max(groups, key=len)
        if not mine:
            return None
        traces, bores = {}, {}
        for name, ring in mine.items():
            times, values = ring.last(seconds, here)
            traces[name] = times, values * PRESSURE_UNITS[ring.channel.unit]
            bores[name] = int(ring.channel.bore or 0)
        silent = tuple(name for name, ring in mine.items() if ring.state(here) not in ("live", "frozen"))
        absolute = any(ring.channel.quantity == "pressure" for ring in mine.values())
        return Array(self.declared, bores, traces, absolute, silent, self.told(here))

    def open_sensors(self, here: float, seconds: float) -> dict[str, tuple[bool, float]] | None:
        """By name, whether a sensor of an engine that stands shows pressure from nothing, and its mean [Pa]; None where
        no channel says that the engine stood for ``STANDS``. One that stands shows the same number for long."""
        speeds = [ring for ring in self.rings.values() if ring.channel.quantity == SPEED]
        values = np.concatenate([ring.last(STANDS, here)[1] for ring in speeds if _comes(ring, here)] or [np.empty(0)])
        since = min((ring.samples[0][0] for ring in speeds if ring.samples), default=here)
        if not len(values) or np.any(values * REV_PER_MIN > TURNS) or here - since < STANDS:
            return None
        rings = {
            name: ring
            for name, ring in self.rings.items()
            if ring.channel.pulsates and ring.channel.quantity in ("vacuum", "pressure") and _comes(ring, here)
        }
        means = {name: float(ring.last(seconds, here)[1].mean()) for name, ring in rings.items()}
        return {
            name: (ring.channel.quantity == "pressure", means[name] * PRESSURE_UNITS[ring.channel.unit])
            for name, ring in rings.items()
        }

    def told(self, here: float, over: float = OVER) -> float | None:
        """How fast the engine runs [rev/s], as a channel tells it: 0 for one that stands; None where none does.

        Parameters: ``here`` the sender's time [s]; ``over`` how many seconds the middle value is taken.
        """
        found = (ring.figure(here, over) for ring in self.rings.values() if ring.channel.quantity == SPEED)
        shown = next((one for one in found if one is not None), None)
        return None if shown is None else shown * REV_PER_MIN

    def pulses(self, here: float) -> "Pulses":
        """What the pulses of its channels tell.

        Parameters: ``here`` the sender's time [s].
        """
        rings = {
            name: ring for name, ring in self.rings.items() if ring.channel.pulsates and ring.state(here) == "live"
        }
        here = min([here, *(ring.newest for ring in rings.values())])  # what is still on its way is no missing stroke
        traces = {name: (ring, *ring.last(OF_PULSES, here)) for name, ring in rings.items()}
        whole = {name: one for name, one in traces.items() if len(one[1]) >= FAST * OF_PULSES / 2}
        if not whole:
            return Pulses()
        rate = min(len(one[1]) for one in whole.values()) / OF_PULSES
        times = here - OF_PULSES + np.arange(int(rate * OF_PULSES)) / rate
        even = {name: np.interp(times, at, values) for name, (_, at, values) in whole.items()}
        speed = speed_of(np.stack(list(even.values())), rate)
        if speed is None:
            return Pulses()
        counts = {name: missed(trace, rate, speed, WINDOWS[0]) for name, trace in even.items()}
        shut, apart = set[str](), set[str]()
        for alike in self._by_quantity(even):
            shut |= blocked(alike, rate, speed)
            places = {name: place for name in alike if (place := self.rings[name].channel.draws)}
            apart |= out_of_turn(alike, places, rate, speed)
        return Pulses(speed, frozenset(shut), {name: one for name, one in counts.items() if one}, frozenset(apart))

    def _by_quantity(self, traces: Mapping[str, Floats]) -> Iterator[dict[str, Floats]]:
        """The traces of sensors that stay at a bore, those of one quantity together."""
        for quantity in PULSATES:
            names = [n for n, ring in self.at_bores.items() if n in traces and ring.channel.quantity == quantity]
            yield {name: traces[name] for name in names}


def _comes(ring: Ring, here: float) -> bool:
    return ring.state(here) in ("live", "frozen")


@dataclass(frozen=True, slots=True)
class Pulses:
    """What pulses tell: the engine ``speed`` [rev/s], None where no cycle stands out; the channels whose hose lets none
    through; how many intake strokes did not draw in the last two seconds, by channel; and the channels whose pulses
    come ``out_of_turn``."""

    speed: float | None = None
    blocked: frozenset[str] = frozenset()
    missed: Mapping[str, int] = field(default_factory=dict)
    out_of_turn: frozenset[str] = frozenset()


@dataclass(frozen=True, slots=True)
class Speed:
    """How fast the engine runs [rev/s]: as a channel tells it, and by the pulses of the traces."""

    told: float | None
    pulses: float | None

    @staticmethod
    def of(sender: Sender, here: float, pulses: Pulses) -> "Speed":
        """The speed at which a sender's channels are averaged: over as long as they are."""
        return Speed(sender.told(here, WINDOWS[0]), pulses.speed)

    @property
    def agrees(self) -> bool:
        """Whether nothing speaks against what the channel tells."""
        return not self.told or not self.pulses or abs(self.pulses / self.told - 1) <= SPEEDS_APART

    @property
    def runs_at(self) -> float | None:
        """The speed that windows are cut by, None where none is known."""
        return self.told or self.pulses

    @property
    def kept(self) -> float | None:
        """The speed that is kept beside a reading: what a channel tells of a running engine, and no pulses deny."""
        return self.told if self.told and self.agrees else None
