"""The time of this computer, which goes on when its clock is put back: what runs out must not be stretched by that."""

import time
from collections.abc import Callable
from datetime import UTC, datetime
from threading import Lock


def wall_time() -> float:
    """The time by the computer's clock [s], which a person may set and which a sleeping computer catches up with."""
    return datetime.now(UTC).timestamp()


class SteadyClock:
    """Tells the time by the computer's clock, or by what has passed since it was asked last where that is later.

    Once put back, the clock is followed again after a restart of the program; then the newest rows show that it was.
    """

    def __init__(self, wall: Callable[[], float] = wall_time, passed: Callable[[], float] = time.monotonic) -> None:
        self._wall, self._passed = wall, passed
        self._told, self._at = wall(), passed()
        self._turn = Lock()

    def __call__(self) -> datetime:
        """The time, in UTC."""
        with self._turn:
            at = self._passed()
            self._told, self._at = max(self._wall(), self._told + at - self._at), at
            return datetime.fromtimestamp(self._told, UTC)
