"""What this process keeps in mind of what it read, so that it is not read again: the newest things, up to a number."""

import threading
from collections import OrderedDict
from collections.abc import Hashable
from typing import Any

MOST = 200


class LruCache:
    """Values by key, the least lately used ones forgotten first. The caller has to know that a value still holds."""

    def __init__(self, most: int = MOST) -> None:
        self.most = most
        self._kept: OrderedDict[Hashable, Any] = OrderedDict()
        self._turn = threading.Lock()

    def get(self, key: Hashable) -> Any:
        """The value kept under ``key``, None when there is none."""
        with self._turn:
            if key in self._kept:
                self._kept.move_to_end(key)
            return self._kept.get(key)

    def put(self, key: Hashable, value: Any) -> None:
        """Keep ``value`` under ``key``."""
        with self._turn:
            self._kept[key] = value
            self._kept.move_to_end(key)
            while len(self._kept) > self.most:
                self._kept.popitem(last=False)
