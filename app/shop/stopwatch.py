"""Seconds by a clock that cannot be set."""

import time
from collections.abc import Callable, Iterable, Iterator
from typing import TypeVar

T = TypeVar("T")


LONGEST = 25.0
"""How long one piece of work may take, less than a request may [s] (our judgement)."""


class TookTooLongError(Exception):
    """The work was given up when its time was over; nothing of it is kept."""


class Allowance:
    """The time that a piece of work has, of many small parts: it asks before each of them.

    Parameters: ``seconds`` from now [s]; ``ticks``, seconds [s] of a clock that only goes forward.
    """

    def __init__(self, seconds: float = LONGEST, ticks: Callable[[], float] = time.monotonic) -> None:
        self._ticks = ticks
        self._ends = ticks() + seconds

    @property
    def over(self) -> bool:
        """Whether no further part may be begun."""
        return self._ticks() >= self._ends

    def each(self, parts: Iterable[T]) -> Iterator[T]:
        """The parts, one after the other. Raises TookTooLongError once the time is over."""
        for part in parts:
            if self.over:
                raise TookTooLongError
            yield part


class Stopwatch:
    """How long ago something was marked, as of this run of the program.

    Parameters: ``ticks``, seconds [s] of a clock that only goes forward.
    """

    def __init__(self, ticks: Callable[[], float] = time.monotonic) -> None:
        self._ticks = ticks
        self._began = ticks()
        self._marked: dict[str, float] = {}
        self._rows: dict[str, int] = {}

    def mark(self, what: str) -> None:
        """Count from now for ``what``."""
        self._marked[what] = self._ticks()

    def knows(self, what: str, row: int) -> None:
        """This process stored ``row`` of ``what`` itself."""
        self._rows[what] = row

    def notice(self, what: str, row: int) -> None:
        """Count from now for ``what`` where its newest row was stored by another process and is seen here first."""
        if self._rows.get(what) != row:
            self._rows[what] = row
            self.mark(what)

    def since(self, what: str) -> float:
        """Seconds since ``what`` was marked; since this run began where an earlier one marked it."""
        return self._ticks() - self._marked.get(what, self._began)
