"""What the shop's instruments send, in memory only: a minute of each channel, and what the pages were shown of it.

Nothing here reaches the records until a person takes a value. One event is worked out for all streams together, and
numbered: a tap names the one that was on its screen.
"""

import hashlib
import json
import math
import secrets
import threading
import time
from collections import OrderedDict
from collections.abc import Callable, Mapping
from dataclasses import asdict, dataclass, field

from app.live.channels import Channel
from app.shop.commands.live.looks import Seen
from app.shop.procedure.live.filling import Gauges
from app.shop.store.live import traces
from app.sync.engine.units import REV_PER_MIN
from app.sync.signals.settling import AND_THEN, LAGS, Look
from app.web.live.channels import Ring
from app.web.live.gauges import figure

EVERY = 0.2
"""Seconds between two events."""

LOOKS_KEPT = 300
"""Events that a tap can still name: a minute of them."""

GONE = 60.0
"""After how long without anything sent a feed is forgotten [s]."""

MOST_CHANNELS = 64
"""Channels of one feed."""

SPEED = "speed"
"""The quantity of a channel that tells how fast the engine runs [rpm]."""


@dataclass
class Sender:
    """One feed in one epoch: its rings by channel, and the smallest difference between our clock and its own [s]."""

    epoch: str
    difference: float
    sent: float
    arrived: float
    rings: dict[str, Ring] = field(default_factory=dict)

    @property
    def declared(self) -> str:
        """The SHA-256 of how its channels were declared."""
        said = {name: asdict(ring.channel) for name, ring in self.rings.items()}
        return hashlib.sha256(json.dumps(said, sort_keys=True).encode()).hexdigest()


@dataclass(frozen=True, slots=True)
class ShownValue:
    """A value as it was on the pages: the ring it came from, and when it was so [s, the sender's time]."""

    figure: Look
    sender: Sender
    ring: Ring
    name: str
    at: float


class LookDiffersError(Exception):
    """The value that was sent is not the one that was shown."""


class Hub:
    """All feeds together. ``ticks`` are seconds of a clock that cannot be set. Any thread may call.

    ``filled`` is the visit that the instruments are at, ``stopped`` the same while a figure stops its engine.
    """

    def __init__(self, ticks: Callable[[], float] = time.monotonic) -> None:
        self._ticks = ticks
        self._turn = threading.Lock()
        self._senders: dict[str, Sender] = {}
        self._looks: OrderedDict[int, dict[str, ShownValue]] = OrderedDict()
        self._told = (-EVERY, "")
        self._number = 0
        self.filled: int | None = None
        self.stopped: int | None = None
        self.epoch = secrets.token_hex(4)

    @property
    def active(self) -> bool:
        """Whether anything was sent lately."""
        return bool(self._senders) and any(self._ticks() - one.arrived < GONE for one in self._senders.values())

    def receive(
        self,
        feed: str,
        epoch: str,
        sent: float,
        rows: Mapping[str, list[tuple[float, float]]],
        channels: Mapping[str, Channel],
    ) -> list[str]:
        """Keep what a feed sent, and return the channels that it has yet to declare.

        A new ``epoch`` begins afresh: the sender was started again, or its clock jumped.
        """
        now = self._ticks()
        with self._turn:
            sender = self._senders.get(feed)
            if sender is None or sender.epoch != epoch or sent < sender.sent - 1.0:
                sender = self._senders[feed] = Sender(epoch, now - sent, sent, now)
            sender.difference = min(sender.difference, now - sent)
            since, sender.sent, sender.arrived = sender.sent, max(sent, sender.sent), now
            for name, channel in list(channels.items())[:MOST_CHANNELS]:
                if name not in sender.rings or sender.rings[name].channel != channel:
                    sender.rings[name] = Ring(channel)
            for name, samples in rows.items():
                if name in sender.rings:
                    sender.rings[name].take(samples, sent, since)
            return sorted(rows.keys() - sender.rings.keys())

    def forget(self, keep: Callable[[str], bool]) -> None:
        """Drop the feeds that may no longer send."""
        with self._turn:
            self._senders = {feed: one for feed, one in self._senders.items() if keep(feed)}

    def event(self) -> str:
        """What the pages are shown now, as JSON; the same one for all who ask within a fifth of a second."""
        now = self._ticks()
        with self._turn:
            if now - self._told[0] >= EVERY:
                self._number += 1
                self._told = (now, json.dumps(self._worked_out(now), separators=(",", ":")))
            return self._told[1]

    def gauges(self) -> tuple[Gauges, str]:
        """What live channels show besides bores, and the feed that sends it."""
        now = self._ticks()
        with self._turn:
            rings = [
                (feed, ring, now - sender.difference)
                for feed, sender in self._senders.items()
                for ring in sender.rings.values()
            ]
            figures, speed, by = {}, None, ""
            for feed, ring, here in rings:
                told = figure(ring, here)
                if told is None:
                    continue
                if ring.channel.quantity == SPEED:
                    speed, by = told * REV_PER_MIN, by or feed
                elif ring.channel.shows:
                    figures[ring.channel.shows], by = told, feed
            return Gauges(figures, speed), by

    def speed(self) -> float | None:
        """How fast the engine runs that the instruments are at [rev/s], None where no channel tells that."""
        now = self._ticks()
        with self._turn:
            found = (_running(sender, now - sender.difference) for sender in self._senders.values())
            return next((speed for speed in found if speed is not None), None)

    @property
    def sends(self) -> bool:
        """Whether any instrument sent something lately."""
        return bool(self._senders)

    def channels(self) -> dict[str, dict[str, object]]:
        """Every channel: how it was declared, its state, samples a second, and what was refused."""
        now = self._ticks()
        with self._turn:
            return {
                name: {
                    **{k: v for k, v in asdict(ring.channel).items() if v not in (float("inf"),)},
                    "state": ring.state(now - sender.difference),
                    "found_rate": round(len(ring.last(2.0, now - sender.difference)[0]) / 2.0, 1),
                    "refused": ring.refused,
                    "turned_away": ring.turned_away,
                }
                for sender in self._senders.values()
                for name, ring in sender.rings.items()
            }

    def seen(self, look: str, shown: Mapping[str, float]) -> Seen | None:
        """What stood behind the event that a page names ``epoch:number``, None where it is no longer known.

        Parameters: ``shown`` the value on the page by channel. Raises LookDiffersError where it was another.
        """
        epoch, _, number = look.partition(":")
        with self._turn:
            if epoch != self.epoch or not number.isdecimal():
                return None
            known = self._looks.get(int(number))
            if known is None:
                return None
            if any(name not in known or written(known[name].figure.value) != written(v) for name, v in shown.items()):
                raise LookDiffersError
            return _seen([known[name] for name in sorted(shown)], _speed_of(known)) if shown else None

    def _worked_out(self, now: float) -> dict[str, object]:
        told: dict[str, dict[str, object]] = {}
        shown: dict[str, ShownValue] = {}
        for sender in self._senders.values():
            here = now - sender.difference
            fixed = {n: r for n, r in sender.rings.items() if r.channel.bore is not None and r.state(here) == "live"}
            speed = _running(sender, here)
            for name, ring in sender.rings.items():
                state, channel = ring.state(here), ring.channel
                others = [r for n, r in fixed.items() if n != name and r.channel.quantity == channel.quantity]
                figure = None
                if state == "live":
                    figure = ring.look(here, speed, others if name in fixed else ())
                told[name] = {
                    "state": state,
                    "quantity": channel.quantity,
                    "unit": channel.unit,
                    "bore": channel.bore,
                    "wait": round(LAGS * channel.lag + AND_THEN, 1),
                }
                if figure is not None and math.isfinite(figure.value):
                    told[name] |= _told(figure)
                    shown[name] = ShownValue(figure, sender, ring, name, min(here, ring.newest))
        self._looks[self._number] = shown
        while len(self._looks) > LOOKS_KEPT:
            self._looks.popitem(last=False)
        return {"epoch": self.epoch, "number": self._number, "channels": told, "stopped": self.stopped}


def written(value: float) -> str:
    """A value as it is shown: four significant figures."""
    return f"{float(f'{value:.4g}'):g}"


def _told(figure: Look) -> dict[str, object]:
    sd = float(f"{figure.sd:.3g}") if math.isfinite(figure.sd) else 1.0
    return {"value": written(figure.value), "sd": sd, "missing": str(figure.lack or "")}


def _running(sender: Sender, now: float) -> float | None:
    """How fast the engine runs [rev/s], as a channel tells it; None where none does."""
    for ring in sender.rings.values():
        if ring.channel.quantity == SPEED and ring.state(now) == "live":
            found = ring.look(now)
            return found.value * REV_PER_MIN if found is not None and found.value > 0 else None
    return None


def _speed_of(known: Mapping[str, ShownValue]) -> float | None:
    speeds = [one.figure.value for one in known.values() if one.ring.channel.quantity == SPEED and one.figure.value > 0]
    return speeds[0] * REV_PER_MIN if speeds else None


def _seen(shown: list[ShownValue], speed: float | None) -> Seen | None:
    trace = {}
    for one in shown:
        inside = [s for s in one.ring.samples if one.at - one.figure.window < s[0] <= one.at]
        if inside:
            trace[one.name] = [(at - (one.at - one.figure.window), value) for at, value in inside]
    if not trace:
        return None
    window = max(one.figure.window for one in shown)
    rate = max(len(samples) for samples in trace.values()) / window
    fixed = any(one.ring.channel.bore is not None for one in shown)
    return Seen(window, rate, speed, shown[0].sender.declared, traces.pack(trace), fixed)
