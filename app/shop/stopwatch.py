"""Seconds by a clock that cannot be set."""

import time
from collections.abc import Callable


class Stopwatch:
    """How long ago something was marked, as of this run of the program.

    Parameters: ``ticks``, seconds [s] of a clock that only goes forward.
    """

    def __init__(self, ticks: Callable[[], float] = time.monotonic) -> None:
        self._ticks = ticks
        self._began = ticks()
        self._marked: dict[str, float] = {}

    def mark(self, what: str) -> None:
        """Count from now for ``what``."""
        self._marked[what] = self._ticks()

    def since(self, what: str) -> float:
        """Seconds since ``what`` was marked; since this run began where an earlier one marked it."""
        return self._ticks() - self._marked.get(what, self._began)
