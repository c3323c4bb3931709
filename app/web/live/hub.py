"""What the shop's instruments send, in memory only: a minute of each channel, and what the pages were shown of it.

Nothing here reaches the records until a person takes a value. One event is worked out for all streams together, and
numbered: a tap names the one that was on its screen.
"""

import json
import math
import secrets
import threading
import time
from collections import OrderedDict
from collections.abc import Callable, Mapping, Sequence
from dataclasses import asdict, dataclass, replace

from app.live.channels import Channel
from app.shop.commands.live.channel_checks import Array
from app.shop.commands.live.looks import Seen
from app.shop.procedure.live.filling import Gauges
from app.shop.store.live import traces
from app.sync.engine.units import FLOW_UNITS, REV_PER_MIN
from app.sync.signals.averaging import WINDOWS
from app.sync.signals.comparison import BEFORE, OVER
from app.sync.signals.settling import AND_THEN, LAGS, Look, Unsettled
from app.web.live.channels import KEPT, Floats, Ring
from app.web.live.senders import Pulses, Sender, SourceTold, Speed

EVERY = 0.2
"""Seconds between two events."""

LOOKS_KEPT = 300
"""Events that a tap can still name: a minute of them."""

GONE = 60.0
"""After how long without anything sent a feed is forgotten [s]."""

MOST_CHANNELS = 64
"""Channels of one feed."""


@dataclass(frozen=True, slots=True)
class ShownValue:
    """A value as it was on the pages: the ring it came from, and when it was so [s, the sender's time]."""

    figure: Look
    sender: Sender
    ring: Ring
    name: str
    at: float


@dataclass(frozen=True, slots=True)
class ShownEvent:
    """What one event showed: values by channel, the engine speed that is kept with them [rev/s], and what pulses told
    of each sender."""

    values: Mapping[str, ShownValue]
    speed: float | None = None
    pulses: tuple[Pulses, ...] = ()


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
        self._looks: OrderedDict[int, ShownEvent] = OrderedDict()
        self._told = (-EVERY, "")
        self._number = 0
        self._wiggle: tuple[int, float] | None = None
        self.filled: int | None = None
        self.stopped: int | None = None
        self.doubted: tuple[str, ...] = ()
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
        sources: Mapping[str, SourceTold] | None = None,
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
            sender.sources |= sources or {}
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
        with self._turn:
            self._look()
            return self._told[1]

    def _look(self) -> ShownEvent:
        """What the newest event shows, worked out anew where it is a fifth of a second old."""
        now = self._ticks()
        if now - self._told[0] >= EVERY:
            self._number += 1
            self._told = (now, json.dumps(self._worked_out(now), separators=(",", ":")))
        return self._looks[self._number]

    def _newest(self) -> ShownEvent:
        with self._turn:
            return self._look()

    def pulses(self) -> tuple[Pulses, ...]:
        """What the pulses of each sending program told in the newest event."""
        return self._newest().pulses

    def gauges(self) -> tuple[Gauges, str]:
        """What live channels show besides bores, and the feed that sends it."""
        now = self._ticks()
        with self._turn:
            figures, speed, by = {}, None, ""
            for feed, sender in self._senders.items():
                here = sender.here(now)
                if (told := sender.told(here)) is not None:
                    speed, by = told, by or feed
                for ring in sender.rings.values():
                    shown = ring.figure(here) if ring.channel.shows else None
                    if shown is not None:
                        figures[ring.channel.shows], by = shown, feed
            return Gauges(figures, speed), by

    def speed(self) -> float | None:
        """How fast the engine runs that the instruments are at [rev/s], None where no channel tells that."""
        return self._newest().speed

    @property
    def sends(self) -> bool:
        """Whether any instrument ever sent something."""
        return bool(self._senders)

    def array(self, seconds: float = OVER) -> Array | None:
        """The sensors at bores that show a pressure, with their last ``seconds``; None where no program sends any."""
        now = self._ticks()
        with self._turn:
            found = (sender.array(sender.here(now), seconds) for sender in self._senders.values())
            return next((one for one in found if one is not None), None)

    def open_sensors(self, seconds: float = OVER) -> dict[str, tuple[bool, float]] | None:
        """By name, whether a sensor shows pressure from nothing and its mean [Pa], of programs whose speed channel says
        that the engine stands; None where none says so."""
        now = self._ticks()
        with self._turn:
            found = [one.open_sensors(one.here(now), seconds) for one in self._senders.values()]
        told = [one for one in found if one is not None]
        return {name: one for sensors in told for name, one in sensors.items()} if told else None

    def flows(self, bores: frozenset[int], seconds: float = WINDOWS[0]) -> dict[int, float]:
        """The plain mean of the flow at each of these bores over the last ``seconds`` [kg/s]; empty where one of them
        shows none. No page need be open for it."""
        now, found = self._ticks(), dict[int, float]()
        with self._turn:
            for sender in self._senders.values():
                here = sender.here(now)
                for ring in sender.at_bores.values():
                    if ring.channel.quantity == "flow" and ring.state(here) == "live":
                        mean = float(ring.last(seconds, here)[1].mean())
                        found[int(ring.channel.bore or 0)] = mean * FLOW_UNITS[ring.channel.unit]
        return {bore: found[bore] for bore in bores} if bores and bores <= found.keys() else {}

    def ask_for_wiggle(self, bore: int | None) -> None:
        """From now on the hose of a bore may be taken off; None: no longer."""
        self._wiggle = None if bore is None else (bore, self._ticks())

    @property
    def wiggling(self) -> int | None:
        """The bore whose hose is asked for, None for none or once what was seen then is forgotten."""
        asked = self._wiggle
        return asked[0] if asked is not None and self._ticks() - asked[1] < KEPT - BEFORE else None

    def wiggled(self) -> tuple[Array | None, float]:
        """The sensors since shortly before a hose was asked for, and when that was [s, the sender's time]."""
        since = self._wiggle[1] if self._wiggle is not None else self._ticks()
        now = self._ticks()
        with self._turn:
            for sender in self._senders.values():
                found = sender.array(sender.here(now), now - since + BEFORE)
                if found is not None:
                    return found, since - sender.difference
        return None, since

    def sources(self) -> dict[str, SourceTold]:
        """What the sending programs say of their sources, by name."""
        with self._turn:
            return {name: one for sender in self._senders.values() for name, one in sender.sources.items()}

    def channels(self) -> dict[str, dict[str, object]]:
        """Every channel: how it was declared, its state, samples a second, what was refused, and the value that pages
        show of it: the mean where it pulsates, as the middle of pulses is not their mean."""
        now = self._ticks()
        with self._turn:
            means = {name: one.figure.value for name, one in self._look().values.items()}
            return {
                name: {
                    **{k: v for k, v in asdict(ring.channel).items() if v not in (float("inf"),)},
                    "state": ring.state(sender.here(now)),
                    "found_rate": round(len(ring.last(2.0, sender.here(now))[0]) / 2.0, 1),
                    "refused": ring.refused,
                    "turned_away": ring.turned_away,
                    "value": _rounded(means.get(name) if ring.channel.pulsates else ring.shown(sender.here(now))),
                }
                for sender in self._senders.values()
                for name, ring in sender.rings.items()
            }

    def strips(self, seconds: float = 10.0) -> dict[str, Floats]:
        """What each channel showed in the last ``seconds``, in its unit, each of shape (values,)."""
        now = self._ticks()
        with self._turn:
            return {
                name: ring.last(seconds, sender.here(now))[1]
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
            values = known.values
            if any(name not in values or written(values[name].figure.value) != written(v) for name, v in shown.items()):
                raise LookDiffersError
            return _seen([values[name] for name in sorted(shown)], known.speed) if shown else None

    def _worked_out(self, now: float) -> dict[str, object]:
        told: dict[str, dict[str, object]] = {}
        shown: dict[str, ShownValue] = {}
        speeds: list[Speed] = []
        of_all: list[Pulses] = []
        for sender in self._senders.values():
            here = sender.here(now)
            pulses = sender.pulses(here)
            of_all.append(pulses)
            speeds.append(Speed.of(sender, here, pulses))
            fixed = {name: ring for name, ring in sender.at_bores.items() if ring.state(here) == "live"}
            for name, ring in sender.rings.items():
                state, channel = ring.state(here), ring.channel
                others = [r for n, r in fixed.items() if n != name and r.channel.quantity == channel.quantity]
                figure = None
                if state == "live":
                    figure = ring.look(here, speeds[-1].runs_at, others if name in fixed else ())
                told[name] = {
                    "state": state,
                    "quantity": channel.quantity,
                    "unit": channel.unit,
                    "bore": channel.bore,
                    "wait": round(LAGS * channel.lag + AND_THEN, 1),
                }
                if figure is not None and math.isfinite(figure.value):
                    figure = _hindered(figure, name, pulses)
                    told[name] |= _told(figure)
                    shown[name] = ShownValue(figure, sender, ring, name, min(here, ring.newest))
        kept = next((one.kept for one in speeds if one.kept is not None), None)
        self._looks[self._number] = ShownEvent(shown, kept, tuple(of_all))
        while len(self._looks) > LOOKS_KEPT:
            self._looks.popitem(last=False)
        return {
            "epoch": self.epoch,
            "number": self._number,
            "channels": told,
            "stopped": self.stopped,
            "speed": _shown_speed(speeds),
        }


def _hindered(figure: Look, name: str, pulses: Pulses) -> Look:
    """The same value, with what its pulses speak against."""
    if name in pulses.blocked:
        return replace(figure, lack=Unsettled.BLOCKED)
    settled = figure.lack in (None, Unsettled.SCATTERS)
    return replace(figure, lack=Unsettled.MISSED) if settled and name in pulses.missed else figure


def _shown_speed(speeds: Sequence[Speed]) -> dict[str, object]:
    """The engine speed [rpm] as a channel tells it and by the pulses of the traces, and whether both agree."""
    told = next((one.told for one in speeds if one.told is not None), None)
    pulses = next((one.pulses for one in speeds if one.pulses is not None), None)
    both = Speed(told, pulses)
    rpm = [None if one is None else round(one / REV_PER_MIN) for one in (told, pulses)]
    return {"told": rpm[0], "pulses": rpm[1], "agrees": both.agrees}


def written(value: float) -> str:
    """A value as it is shown: four significant figures, also where the last ones are 0.

    >>> written(6.0), written(1013.249), written(0.05), written(12345.6)
    ('6.000', '1013', '0.05000', '12346')
    """
    if not value or not math.isfinite(value):
        return f"{value:g}"
    places = max(0, 3 - math.floor(math.log10(abs(float(f"{value:.3e}")))))
    return f"{value:.{places}f}"


def _rounded(value: float | None) -> float | None:
    return None if value is None else float(written(value))


def _told(figure: Look) -> dict[str, object]:
    sd = float(f"{figure.sd:.3g}") if math.isfinite(figure.sd) else 1.0
    return {"value": written(figure.value), "sd": sd, "missing": str(figure.lack or "")}


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
