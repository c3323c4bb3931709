"""What every kind of source is handed, and how it asks for a package that is not there."""

import threading
import time
from collections import deque
from collections.abc import Callable, Mapping
from dataclasses import dataclass, field

RAW_KEPT = 20
"""Raw lines of a source that are kept to be looked at."""

Settings = Mapping[str, object]


class SourceError(Exception):
    """A source cannot be read: what for a person to read."""


class MissingExtraError(SourceError):
    """The package that reads it is not installed; ``extra`` of Evenbore brings it."""

    def __init__(self, extra: str) -> None:
        super().__init__(extra)
        self.extra = extra


@dataclass
class Reader:
    """What a source hands its values to. ``now`` is a clock that cannot be set [s]; ``stopped`` ends it.

    ``spoilt`` counts what fitted nothing; ``raw`` are the last lines as they came.
    """

    deliver: Callable[[str, float, float], None]
    stopped: threading.Event = field(default_factory=threading.Event)
    now: Callable[[], float] = time.monotonic
    spoilt: int = 0
    raw: deque[str] = field(default_factory=lambda: deque(maxlen=RAW_KEPT))

    def take(self, values: Mapping[str, float] | None, raw: str, at: float | None = None) -> None:
        """Hand on what came at once, None for what fitted nothing; ``at`` [s], now where it is left out."""
        self.raw.append(raw)
        if values is None:
            self.spoilt += 1
            return
        at = self.now() if at is None else at
        for name, value in values.items():
            self.deliver(name, at, value)


def text_of(settings: Settings, key: str, default: str | None = None) -> str:
    """A setting that is text. Raises SourceError."""
    value = settings.get(key, default)
    if not isinstance(value, str):
        raise SourceError(key)
    return value


def number_of(settings: Settings, key: str, default: float) -> float:
    """A setting that is a number. Raises SourceError."""
    value = settings.get(key, default)
    if isinstance(value, bool) or not isinstance(value, int | float):
        raise SourceError(key)
    return float(value)
