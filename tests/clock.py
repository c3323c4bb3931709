"""The time of the tests: their engines are worked on at one moment, and a server over them goes on from there."""

import time
from collections.abc import Callable
from datetime import datetime, timedelta

AT = "2026-11-25T10:00:00.000+00:00"
"""When everything in a shop of ``tests.shop.yard`` was recorded."""


class Day:
    """A clock that begins at ``AT`` and goes on by itself, and whose hands a test may move."""

    def __init__(self) -> None:
        self._going = working_day()
        self._moved = timedelta()

    def __call__(self) -> datetime:
        return self._going() + self._moved

    def wait(self, minutes: float) -> None:
        """Let minutes go by at once."""
        self._moved += timedelta(minutes=minutes)


def working_day() -> Callable[[], datetime]:
    """A clock that begins at ``AT`` now, so that nothing recorded then has run out."""
    begun = time.monotonic()
    return lambda: datetime.fromisoformat(AT) + timedelta(seconds=time.monotonic() - begun)
