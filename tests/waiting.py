"""Waiting for a condition, never for a time."""

import time
from collections.abc import Callable


def until(what: Callable[[], object], seconds: float = 20.0) -> None:
    """Wait for a condition."""
    ends = time.monotonic() + seconds
    while not what():
        assert time.monotonic() < ends, "it never came"
        time.sleep(0.005)
