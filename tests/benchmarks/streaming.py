"""Saving readings at one program while instruments stream to it and pages listen, and while nothing does, in turns."""

import contextlib
import http.client
import json
import math
import multiprocessing
import tempfile
import threading
import time
import urllib.request
from collections.abc import Callable
from functools import partial
from multiprocessing.synchronize import Event
from pathlib import Path
from urllib.parse import urlsplit

from tests.benchmarks.saving import TURN, VISITS, saving, served, timed
from tests.faults.bench import Ledger, Tablet, readings_path, shop_with_visits
from tests.shop.yard import key

CHANNELS, RATE, EVERY, PAGES = 12, 200.0, 0.1, 4
"""Channels of the bench, values a second of each, seconds between two pushes, pages that listen."""

PATIENCE = 30.0
ALONE, STREAMED = "nothing streams", "12 channels at 200 values a second, 4 pages"


def asked(address: str, path: str, sent: object = None, token: str = "") -> bytes:
    """What a program answers."""
    head = {"Content-Type": "application/json", **({"Authorization": f"Bearer {token}"} if token else {})}
    body = None if sent is None else json.dumps(sent).encode()
    with urllib.request.urlopen(urllib.request.Request(address.rstrip("/") + path, body, head), timeout=10) as answer:
        return bytes(answer.read())


def stream(address: str, token: str, on: Event, over: Event) -> None:
    """Push what the channels show while ``on``, with pages that listen, until it is ``over``."""
    for _ in range(PAGES):
        threading.Thread(target=listen, args=(address, on, over), daemon=True).start()
    declared = {"quantity": "flow", "unit": "kg/h", "high": 60.0, "rate": RATE}
    channels = {f"b{bore}": {**declared, "bore": bore} for bore in range(1, CHANNELS + 1)}
    wire = http.client.HTTPConnection(urlsplit(address).netloc, timeout=10)
    head = {"Content-Type": "application/json", "Authorization": f"Bearer {token}"}
    epoch, begun = "", 0.0
    while not over.is_set():
        if not on.wait(EVERY):
            epoch = ""
            continue
        now = time.monotonic()
        if not on.is_set():
            continue
        if not epoch:
            epoch, begun = f"{now}", now
        times = [begun + n / RATE for n in range(round((now - begun) * RATE))]
        begun += len(times) / RATE
        rows = {
            name: [[round(at, 4), round(6.5 * (1 + 0.3 * math.sin(47.1 * at + bore)), 3)] for at in times]
            for bore, name in enumerate(channels)
        }
        wire.request(
            "POST",
            "/api/live/feed",
            json.dumps({"epoch": epoch, "sent": now, "rows": rows, "channels": channels}),
            head,
        )
        wire.getresponse().read()
        time.sleep(max(0.0, now + EVERY - time.monotonic()))


def listen(address: str, on: Event, over: Event) -> None:
    """Read the stream of live values as a page does, while ``on``."""
    while not over.is_set():
        if not on.wait(EVERY):
            continue
        with contextlib.suppress(OSError), urllib.request.urlopen(f"{address.rstrip('/')}/api/live/events") as events:
            while on.is_set() and events.readline():
                pass


def shows(address: str, count: int) -> bool:
    """Whether so many channels are live."""
    channels = json.loads(asked(address, "/live/now"))["channels"]
    return sum(1 for one in channels.values() if one["state"] == "live") == count


def until(holds: Callable[[], bool]) -> None:
    """Wait until something holds. Raises TimeoutError."""
    ends = time.monotonic() + PATIENCE
    while not holds():
        if time.monotonic() > ends:
            raise TimeoutError
        time.sleep(0.05)


def side_by_side(times: int) -> dict[str, list[float]]:
    """How long saving a reading takes [ms], ``times`` each way, the ways taking turns."""
    found: dict[str, list[float]] = {ALONE: [], STREAMED: []}
    processes, ledger = multiprocessing.get_context("spawn"), Ledger()
    on, over = processes.Event(), processes.Event()
    with tempfile.TemporaryDirectory() as folder:
        shop_with_visits(Path(folder), VISITS)
        with served("page", Path(folder)) as address:
            token = json.loads(asked(address, "/api/live/feeds", {"key": key(), "name": "Bench"}))["token"]
            bench = processes.Process(target=stream, args=(address, token, on, over), daemon=True)
            bench.start()
            try:
                for number in range(-TURN, times, TURN):  # the first turn warms up and is not counted
                    for what in found:
                        (on.set if what == STREAMED else on.clear)()
                        until(partial(shows, address, CHANNELS if what == STREAMED else 0))
                        took = turn(address, ledger, number)
                        found[what] += took if number >= 0 else []
            finally:
                over.set()
                on.clear()
                bench.join(10)
                bench.kill()
    return found


def turn(address: str, ledger: Ledger, number: int) -> list[float]:
    """How long each of ``TURN`` readings took to save [ms], after one that is not counted."""
    with Tablet(address) as tablet:
        sends = [saving(tablet, readings_path(1 + one % VISITS), ledger, number + one) for one in range(-1, TURN)]
        return [timed(send) for send in sends][1:]
