"""What looks after the records of a shop while it is open: it goes on beside the work, and tells a trouble once."""

import threading
from collections.abc import Callable, Iterator
from contextlib import contextmanager

from app.shop.reasons import Reason


class ToldOnce:
    """Tells a trouble when it begins, and not again while it lasts."""

    def __init__(self, tell: Callable[[Reason], None]) -> None:
        self._tell = tell
        self._told: Reason | None = None

    def trouble(self, reason: Reason) -> None:
        """What is in the way now."""
        if reason != self._told:
            self._tell(reason)
            self._told = reason

    def over(self) -> None:
        """Nothing is in the way any more: the same trouble would be told again."""
        self._told = None


@contextmanager
def meanwhile(name: str, work: Callable[[threading.Event], None]) -> Iterator[None]:
    """``work`` goes on in a thread of that ``name`` until the block is left, which sets the event it is handed."""
    stop = threading.Event()
    thread = threading.Thread(target=work, args=(stop,), name=name, daemon=True)
    thread.start()
    try:
        yield
    finally:
        stop.set()
        thread.join()
