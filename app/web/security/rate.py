"""How often one sender may ask: so many at once, and as many more each second."""

import time
from collections.abc import Callable, Hashable

MOST_SENDERS = 1000
"""Senders of whom is known when they last asked; only those with access are."""


class Rate:
    """A bucket for each sender that holds ``most`` requests and is filled again in a second.

    ``ticks`` are seconds of a clock that cannot be set.
    """

    def __init__(self, most: int, ticks: Callable[[], float] = time.monotonic) -> None:
        self.most = most
        self.ticks = ticks
        self._left: dict[Hashable, tuple[float, float]] = {}

    def takes(self, sender: Hashable) -> bool:
        """Whether one more request is taken of a sender now.

        >>> rate = Rate(2, ticks=lambda: 5.0)
        >>> [rate.takes("bench") for _ in range(3)], rate.takes("other")
        ([True, True, False], True)
        """
        now = self.ticks()
        if len(self._left) > MOST_SENDERS:
            self._left.clear()
        left, last = self._left.get(sender, (float(self.most), now))
        left = min(self.most, left + (now - last) * self.most)
        self._left[sender] = (left - 1 if left >= 1 else left, now)
        return left >= 1
