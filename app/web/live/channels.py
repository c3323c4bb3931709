"""A channel as the sending program declares it, and what has come over it."""

import math
from collections import deque
from dataclasses import dataclass, field
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from app.sync.signals.live_value import ENOUGH, WINDOWS, LiveValue, live_value

State = Literal["live", "stale", "frozen", "refused"]

KEPT = 60.0
"""How long samples are kept [s]."""

SETTLES = 5.0
"""Lags of a sensor after which nothing is left of a step: e^-5 of it."""

MOST_KEPT = 15_000
"""Samples that one channel keeps at most."""

SHORT, LONG = WINDOWS[0] + 0.7, WINDOWS[-1] + 0.7
"""What a figure is worked out from at first, and where that is not sure enough [s]."""

Floats = NDArray[np.float64]


@dataclass(frozen=True, slots=True)
class Channel:
    """What one channel shows: ``unit``, the ``bore`` it is fixed to (None for a probe that is carried), its range, the
    samples a second it sends at most, after how many seconds it counts as stale and as frozen, and its ``lag`` [s]."""

    quantity: str
    unit: str
    bore: int | None = None
    low: float = 0.0
    high: float = math.inf
    rate: float = 200.0
    stale: float = 0.5
    frozen: float = 5.0
    lag: float = 0.2


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
        for at, value in rows[:room]:
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

    def figure(self, now: float) -> LiveValue | None:
        """What it shows now, None where too little has come."""
        here = min(now, self.newest)
        found = live_value(*self.last(SHORT, here), here)
        if found is None or found.sd <= ENOUGH:
            return found
        return live_value(*self.last(LONG, here), here)
