"""A channel as the sending program declares it, and what has come over it."""

import math
from collections import deque
from collections.abc import Sequence
from dataclasses import dataclass, field
from statistics import median
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from app.live.channels import Channel
from app.sync.engine.units import KPA, PRESSURE_UNITS
from app.sync.signals.averaging import WINDOWS
from app.sync.signals.settling import ENOUGH_OTHERS, Look, Unsettled, look

State = Literal["live", "stale", "frozen", "refused"]

KEPT = 60.0
"""How long samples are kept [s]."""

MOST_KEPT = 15_000
"""Samples that one channel keeps at most."""

OVER = 0.4
"""Seconds whose middle value a gauge shows, so that one wrong value crosses no limit (our judgement)."""

SHORT, LONG = WINDOWS[0] + 0.7, WINDOWS[-1] + 0.7
"""What a figure is worked out from at first, and where that is not sure enough [s]."""

Floats = NDArray[np.float64]


@dataclass
class Ring:
    """What has come over one channel. Times are the sender's, made ours by the smallest difference of both clocks."""

    channel: Channel
    samples: deque[tuple[float, float]] = field(default_factory=lambda: deque(maxlen=MOST_KEPT))
    same_since: float = -math.inf
    refused_at: float = -math.inf
    refused: int = 0
    turned_away: int = 0

    @property
    def newest(self) -> float:
        """When the newest sample was taken [s, the sender's]."""
        return self.samples[-1][0] if self.samples else -math.inf

    def take(self, rows: list[tuple[float, float]], sent: float, since: float) -> None:
        """Keep what can be: within its range, later than what is there, no later than it was ``sent``, and no more than
        twice its rate. The rest is counted."""
        room = math.ceil(2 * self.channel.rate * min(1.0, max(0.1, sent - since)))
        for at, shown in rows[:room]:
            value = self.channel.value_of(shown)
            if not (self.newest < at <= sent) or not self.channel.low <= value <= self.channel.high:
                self.refused += 1
                self.refused_at = sent
                continue
            if not self.samples or self.samples[-1][1] != value:
                self.same_since = at
            self.samples.append((at, value))
        self.turned_away += max(0, len(rows) - room)
        while self.samples and self.samples[0][0] < sent - KEPT:
            self.samples.popleft()

    def state(self, now: float) -> State:
        """What a channel is good for, ``now`` being the sender's time [s]."""
        if now - self.newest > self.channel.stale:
            return "refused" if now - self.refused_at <= self.channel.stale else "stale"
        return "frozen" if self.newest - self.same_since >= self.channel.frozen else "live"

    def last(self, seconds: float, now: float) -> tuple[Floats, Floats]:
        """Times and values of the last ``seconds``, each of shape (samples,), without looking at the older ones."""
        tail: list[tuple[float, float]] = []
        for one in reversed(self.samples):
            if one[0] <= now - seconds:
                break
            tail.append(one)
        both = np.array(tail[::-1], dtype=np.float64).reshape(-1, 2)
        return both[:, 0], both[:, 1]

    def shown(self, now: float, over: float = OVER) -> float | None:
        """What it shows in its own unit; None where it shows nothing that counts. Parameters as for ``figure``."""
        if self.state(now) != "live":
            return None
        _, values = self.last(over, now)
        return float(median(values.tolist())) if len(values) else self.samples[-1][1]

    def figure(self, now: float, over: float = OVER) -> float | None:
        """What a gauge shows, in °C, kPa, V or rpm; None where it shows nothing that counts.

        Parameters: ``now`` the sender's time [s]; ``over`` how many seconds the middle value is taken.
        """
        shown, unit = self.shown(now, over), self.channel.unit
        if shown is None:
            return None
        if unit == "°F":
            return (shown - 32) / 1.8
        return shown * PRESSURE_UNITS[unit] / KPA if unit in PRESSURE_UNITS else shown

    def look(self, now: float, speed: float | None = None, others: Sequence["Ring"] = ()) -> Look | None:
        """What it shows now, None where too little has come.

        Parameters: ``now`` the sender's time [s]; ``speed`` of the engine [rev/s], None where no channel tells it;
        ``others``, the rings of the other bores, beside whose mean it is looked at where they are enough.
        """
        here, found = min(now, self.newest), None
        for seconds in (SHORT, LONG):
            times, values = self.last(seconds, here)
            if len(times) < 2:
                return None
            beside = _mean(times, [one.last(seconds, here) for one in others]) if len(others) >= ENOUGH_OTHERS else None
            found = look(times, values, here, lag=self.channel.lag, speed=speed, others=beside)
            if found.lack is not Unsettled.SCATTERS:
                break
        return found


def _mean(times: Floats, others: Sequence[tuple[Floats, Floats]]) -> Floats:
    """The mean of other channels at these times, shape (times,)."""
    return np.asarray(np.mean([np.interp(times, at, values) for at, values in others if len(at)], axis=0))
