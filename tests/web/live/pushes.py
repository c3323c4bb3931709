"""A program that pushes live values, for tests: a flat value with pulses on it, five channels of a bench."""

import json
import math
import threading
import urllib.request
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field
from typing import Any

from starlette.testclient import TestClient

from tests.shop.yard import key

FEED = "/api/live/feed"


def let_in(client: TestClient, name: str = "Bench") -> str:
    """The token of a new feed, asked for at the shop computer."""
    answer = client.post("/api/live/feeds", json={"key": key(), "name": name})
    assert answer.status_code == 201, answer.text
    return str(answer.json()["token"])


@dataclass
class Bench:
    """Pulses of ``modulation`` at ``cycle`` [Hz] on a level, by channel; ``clock`` is its own [s]."""

    levels: dict[str, float]
    channels: dict[str, dict[str, Any]]
    clock: float = 1000.0
    rate: float = 200.0
    cycle: float = 7.5
    modulation: float = 0.3
    epoch: str = "one"
    declares: bool = field(default=True)

    def push(self, seconds: float = 0.1) -> dict[str, Any]:
        """What it sends for the next ``seconds``."""
        times = [self.clock + (n + 1) / self.rate for n in range(round(seconds * self.rate))]
        self.clock += seconds
        rows = {
            name: [[at, level * (1 + self.modulation * math.sin(2 * math.pi * self.cycle * at))] for at in times]
            for name, level in self.levels.items()
        }
        sent = {"epoch": self.epoch, "sent": self.clock, "rows": rows}
        return sent | ({"channels": self.channels} if self.declares else {})


@contextmanager
def at_work(sender: threading.Thread, over: threading.Event) -> Iterator[None]:
    """A thread that sends meanwhile, until it is over."""
    sender.start()
    try:
        yield
    finally:
        over.set()
        sender.join()


PROBE = {"probe": {"quantity": "flow", "unit": "kg/h", "high": 60.0, "stale": 0.5}}
"""One probe that is carried from bore to bore."""


def probe(level: float = 6.5) -> Bench:
    return Bench({"probe": level}, PROBE)


def post(address: str, sent: Any, token: str = "") -> Any:
    """What a running program answers to JSON."""
    headers = {"Content-Type": "application/json", **({"Authorization": f"Bearer {token}"} if token else {})}
    with urllib.request.urlopen(urllib.request.Request(address, json.dumps(sent).encode(), headers)) as answer:
        return json.loads(answer.read())
