"""What is sent to the program: values by channel, ten times a second, with the clock that they were stamped by."""

import json
import math
import secrets
import ssl
import threading
import time
from collections.abc import Callable, Mapping, Sequence
from dataclasses import asdict, dataclass, field
from http.client import HTTPConnection, HTTPException, HTTPSConnection
from operator import itemgetter
from urllib.parse import urlsplit

from app.live.channels import Channel

EVERY = 0.1
"""Seconds between two pushes."""

MOST_WAITING = 4000
"""Values that wait while the program does not answer; older ones are dropped."""

MOST_AT_ONCE = 1000
"""Values of one push: the program takes 64 kB, and one with its time is about forty characters long."""

TIMEOUT = 2.0
PATH = "/api/live/feed"


class RefusedError(Exception):
    """The program does not let this feed in; ``status`` is its answer."""

    def __init__(self, status: int) -> None:
        super().__init__(status)
        self.status = status


@dataclass
class Feed:
    """Values on their way to a program at ``address``, with its ``token``. ``channels`` are declared when it asks.

    ``authority`` is the certificate, as PEM, that a program on https is trusted by; "" for those of this computer.
    """

    address: str
    token: str
    channels: Mapping[str, Channel]
    now: Callable[[], float] = time.monotonic
    epoch: str = field(default_factory=lambda: secrets.token_hex(8))
    unknown: int = 0
    dropped: int = 0
    authority: str = ""

    def __post_init__(self) -> None:
        self._turn = threading.Lock()
        self._waiting: list[tuple[str, float, float]] = []
        self._declare = set(self.channels)
        self._line: HTTPConnection | None = None

    def deliver(self, name: str, at: float, value: float) -> None:
        """Keep a value for the next push; one of no channel of the file is counted and dropped."""
        if name not in self.channels:
            self.unknown += 1
            return
        with self._turn:
            self._waiting.append((name, at, value))
            if len(self._waiting) > MOST_WAITING:
                del self._waiting[: -MOST_WAITING // 2]
                self.dropped += MOST_WAITING // 2

    def push(self) -> None:
        """Send what waits. Raises RefusedError where the program does not let it in, OSError where it is not there.

        What was to be sent then is dropped, since it would be stale when it comes.
        """
        with self._turn:
            taken, self._waiting = sorted(self._waiting, key=itemgetter(1)), []
        while len(taken) > MOST_AT_ONCE:
            now, taken = taken[:MOST_AT_ONCE], taken[MOST_AT_ONCE:]
            self._push(now, now[-1][1])
        self._push(taken, self.now())

    def _push(
        self,
        taken: Sequence[tuple[str, float, float]],
        sent: float,
        sources: Mapping[str, Mapping[str, object]] | None = None,
    ) -> None:
        rows: dict[str, list[list[float]]] = {}
        for name, at, value in taken:
            rows.setdefault(name, []).append(
                [min(math.floor(at * 1e6) / 1e6, sent), value]
            )  # none is after it was sent; lines that come in one batch are some microseconds apart
        said = {name: _declared(self.channels[name]) for name in self._declare}
        told = self._send({"epoch": self.epoch, "sent": sent, "rows": rows, "channels": said, "sources": sources or {}})
        declare = told.get("declare", [])
        self._declare = {name for name in declare if name in self.channels} if isinstance(declare, list) else set()

    def tell(self, sources: Mapping[str, Mapping[str, object]]) -> None:
        """Say how the sources stand. Raises as ``push`` does."""
        self._push([], self.now(), sources)

    def close(self) -> None:
        """Let go of the connection."""
        if self._line is not None:
            self._line.close()
            self._line = None

    def _send(self, body: Mapping[str, object]) -> dict[str, object]:
        head = {"Content-Type": "application/json", "Authorization": f"Bearer {self.token}"}
        try:
            line = self._line = self._line or self._connection()
            line.request("POST", PATH, json.dumps(body), head)
            answer = line.getresponse()
            text = answer.read()
        except (HTTPException, OSError) as error:
            self.close()
            self._declare = set(self.channels)
            raise ConnectionError(str(error)) from error
        if answer.status >= 300:
            raise RefusedError(answer.status)
        told = json.loads(text or b"{}")
        return told if isinstance(told, dict) else {}

    def _connection(self) -> HTTPConnection:
        parts = urlsplit(self.address)
        host = parts.hostname or "127.0.0.1"
        if parts.scheme != "https":
            return HTTPConnection(host, parts.port, timeout=TIMEOUT)
        trusted = ssl.create_default_context(cadata=self.authority or None)
        return HTTPSConnection(host, parts.port, timeout=TIMEOUT, context=trusted)


def _declared(channel: Channel) -> dict[str, object]:
    unsaid = {"bore": None, "shows": "", "root": 0.0, "draws": 0}
    return {key: value for key, value in asdict(channel).items() if key not in unsaid or value != unsaid[key]}
