"""How often one page goes from layer to layer: ``python -m tests.benchmarks.crossings [--where]``.

Counts, while one request is answered, the calls of Python functions in ``app/`` outside the wording, the modules they
are in, and how many of them cross a layer downward: the caller is in one folder under ``app/``, the function called in
one further down in ``LAYERS``. Caller is the nearest frame of ``app/`` below on the stack, so that a call by way of a
library or a template counts too. A generator that goes on counts as called again: that is how Python's profiler tells
it. The request goes straight to the application, by ASGI, so nothing of a server or a client is counted, but all of the
guards is.

The engine has two banks of four, its visit is hot. Five requests:

- *closing reading saved*: the last one of the first fine round, which closes it;
- *page after it*: the page of that closed round as whoever read it sees it next. The visit is in mind, what follows
  from the round (how even it is, the next move, what is missing) is worked out for the first time;
- *that page again*: nothing is worked out, everything is in mind;
- *reading of the next round saved*: the first one of the second round;
- *page after a start*: the page of another engine's closed round, of which nothing at all is in mind.

What is the same for every visit (templates, what is asked at a phase) is in mind from a page that was seen before.
Figures depend on what was read. With seeds 0 to 8 of the demonstration's engine the page after a reading crosses 7
times in 1,900 to 2,600 calls, at 76737f8 70 to 78 times in 3,300 to 6,000; the page again 4 times in 280 to 400, then
67 to 75 times in 690 to 810; the page after a start 12 times in 1,600 to 2,900, then 74 to 82 times in 3,800 to 6,500.

At 76737f8 others counted 79 crossings and 4,402 calls in 51 modules for a page with a closed round, and 4 crossings for
saving a reading; how was not written down. What gives about those figures is a page whose round was not worked out yet:
the page after the reading (76 crossings, 4,397 calls, 52 modules), or the page after a start. With everything in mind
the calls are a sixth of that, so they did not count a page seen again. Saving crosses twice, however the reading comes.
"""

import argparse
import asyncio
import random
import sys
import tempfile
import threading
from collections import Counter
from collections.abc import Iterator, Mapping
from contextlib import contextmanager
from dataclasses import dataclass, field
from pathlib import Path
from types import FrameType
from urllib.parse import urlencode

from starlette.types import ASGIApp, Message

import app
from app.shop.demo.engine_model import DemoEngineModel as Bench
from app.shop.procedure.phases import COLD_PRESET, FIRST_FIRE, HEAT_SOAKED
from app.shop.store.database import Database
from app.shop.store.upgrade import open_shop
from app.web.application import create_app
from tests.benchmarks.report import report
from tests.clock import working_day
from tests.shop.yard import V8, check_all, engine, key, read, read_round, visit

LAYERS = ("server", "web", "shop", "sync")
"""Folders under ``app/``, the uppermost first. A module that lies in none of them belongs to the first."""

ASKED_BY_ALL = "wording"
"""The folder that every text is asked of: like a library, it is looked through, and a call into it crosses nothing."""

SEED, START_SEED, OTHER_SEED = 1, 8, 11
"""Of the engines: the one that is read, the one looked at after a start, the one whose page was seen before."""

ROOT = Path(next(iter(app.__path__)))
HOST = "127.0.0.1:8000"


@dataclass(frozen=True, slots=True)
class Counts:
    """Of one request: crossings downward, calls of functions in ``app/``, and how many modules those are in."""

    crossings: int
    calls: int
    modules: int


CLOSING, PAGE, AGAIN = "closing reading saved", "page after it", "that page again"
SAVED, STARTED = "reading of the next round saved", "page after a start"
BEFORE: Mapping[str, Counts] = {
    CLOSING: Counts(2, 143, 18),
    PAGE: Counts(76, 4397, 52),
    AGAIN: Counts(73, 751, 36),
    SAVED: Counts(2, 143, 18),
    STARTED: Counts(78, 4175, 55),
}
"""What this very program counted at 76737f8, Python 3.11. Later versions of Python call less for the same: they take a
list that is made in one line for no call."""


def layer_of(file: str) -> int | None:
    """The place in ``LAYERS`` of a module's file; None for one that is not in ``app/``."""
    path = Path(file)
    if not path.is_relative_to(ROOT):
        return None
    folder = path.relative_to(ROOT).parts[0]
    if folder == ASKED_BY_ALL:
        return None
    return LAYERS.index(folder) if folder in LAYERS else 0


@dataclass
class Watch:
    """Counts calls as a profile function is told them. ``where`` has each crossing by caller and function called."""

    calls: int = 0
    files: set[str] = field(default_factory=set)
    where: Counter[tuple[str, str]] = field(default_factory=Counter)
    _layers: dict[str, int | None] = field(default_factory=dict)

    def __call__(self, frame: FrameType, event: str, _: object) -> None:
        if event != "call" or (here := self._layer(frame)) is None:
            return
        self.calls += 1
        self.files.add(frame.f_code.co_filename)
        caller = frame.f_back
        while caller is not None and self._layer(caller) is None:
            caller = caller.f_back
        above = self._layer(caller) if caller is not None else None
        if caller is not None and above is not None and above < here:
            self.where[name_of(caller), name_of(frame)] += 1

    def _layer(self, frame: FrameType) -> int | None:
        file = frame.f_code.co_filename
        if file not in self._layers:
            self._layers[file] = layer_of(file)
        return self._layers[file]

    @property
    def counts(self) -> Counts:
        """What was counted so far."""
        return Counts(self.where.total(), self.calls, len(self.files))


def name_of(frame: FrameType) -> str:
    """A function in ``app/`` as module and name: ``web/desk.py _tile``."""
    return f"{Path(frame.f_code.co_filename).relative_to(ROOT)} {frame.f_code.co_qualname}"


@contextmanager
def watched() -> Iterator[Watch]:
    """Counts what this thread calls, and every thread that begins meanwhile."""
    watch, before, before_in_threads = Watch(), sys.getprofile(), threading.getprofile()
    threading.setprofile(watch)
    sys.setprofile(watch)
    try:
        yield watch
    finally:
        sys.setprofile(before)
        threading.setprofile(before_in_threads)


def ask(application: ASGIApp, path: str, form: Mapping[str, str] | None = None) -> int:
    """Look at a page, or send a form, and return the status of the answer.

    Each request has a thread and an event loop of its own, and with it more threads, which begin while the counting is
    on. In the thread of a test, a browser's event loop may be running.
    """
    body = urlencode(form or {}).encode()
    headers = {"host": HOST, "origin": f"http://{HOST}", "content-type": "application/x-www-form-urlencoded"}
    headers["content-length"] = str(len(body))
    scope = {
        "type": "http",
        "asgi": {"version": "3.0"},
        "http_version": "1.1",
        "method": "GET" if form is None else "POST",
        "scheme": "http",
        "path": path,
        "raw_path": path.encode(),
        "query_string": b"",
        "root_path": "",
        "headers": [(name.encode(), value.encode()) for name, value in headers.items()],
        "client": ("127.0.0.1", 50000),
        "server": tuple(HOST.split(":")),
    }
    told: list[int] = []
    left = [body]

    async def receive() -> Message:
        return {"type": "http.request", "body": left.pop()} if left else {"type": "http.disconnect"}

    async def send(message: Message) -> None:
        if message["type"] == "http.response.start":
            told.append(message["status"])

    async def answered() -> None:
        await application(scope, receive, send)

    asker = threading.Thread(target=asyncio.run, args=(answered(),))
    asker.start()
    asker.join()
    return told[0]


def hot(shop: Database, serial: str, seed: int) -> tuple[int, list[tuple[int, float]]]:
    """The visit of a two-bank eight that is hot, and what its first fine round will read: bores and values [kg/h]."""
    visit_id = visit(shop, engine(shop, V8, serial))
    check_all(shop, visit_id, COLD_PRESET)
    check_all(shop, visit_id, FIRST_FIRE)
    read_round(shop, visit_id, FIRST_FIRE)
    check_all(shop, visit_id, HEAT_SOAKED)
    bench = Bench(V8, random.Random(seed))
    return visit_id, [(bore, bench.read(bore, 0.0)) for bore in (*V8.bores, V8.bores[0])]


def with_a_round(shop: Database, serial: str, seed: int) -> int:
    """The same with that round read and closed."""
    visit_id, shown = hot(shop, serial, seed)
    for bore, value in shown:
        read(shop, visit_id, HEAT_SOAKED, value, bore)
    return visit_id


def there(visit_id: int) -> str:
    """Where the fine rounds of a visit are read."""
    return f"/visits/{visit_id}/{HEAT_SOAKED.slug}"


@dataclass
class Asking:
    """Asks one application and keeps what was counted of each request that has a name.

    Raises AssertionError when the answer is not the one wanted.
    """

    application: ASGIApp
    found: dict[str, Watch] = field(default_factory=dict)

    def look(self, visit_id: int, name: str = "") -> None:
        """See the reading page."""
        self._counted(name, 200, f"{there(visit_id)}/readings", None)

    def save(self, visit_id: int, name: str, **form: object) -> None:
        """Keep a reading."""
        sent = {"key": key(), "by": "KM", **{name_: str(value) for name_, value in form.items()}}
        self._counted(name, 303, f"{there(visit_id)}/readings", sent)

    def begin_round(self, visit_id: int) -> None:
        """Begin one more round."""
        self._counted("", 303, f"{there(visit_id)}/rounds", {"key": key()})

    def _counted(self, name: str, wanted: int, path: str, form: Mapping[str, str] | None) -> None:
        with watched() as watch:
            status = ask(self.application, path, form)
        if status != wanted:
            raise AssertionError(f"{path} was answered with {status}")
        if name:
            self.found[name] = watch


def measure(folder: Path) -> dict[str, Watch]:
    """Make a shop in ``folder`` and count the five requests."""
    shop = open_shop(folder)
    try:
        visit_id, shown = hot(shop, "31-0217", SEED)
        other, started = with_a_round(shop, "the other", OTHER_SEED), with_a_round(shop, "after a start", START_SEED)
        asking = Asking(create_app(shop, clock=working_day()))
        asking.look(other)
        for bore, value in shown[:-1]:
            read(shop, visit_id, HEAT_SOAKED, value, bore)
        asking.look(visit_id)
        bore, value = shown[-1]
        asking.save(visit_id, CLOSING, round=2, bore=bore, kind="closing", value=value)
        asking.look(visit_id, PAGE)
        asking.look(visit_id, AGAIN)
        asking.begin_round(visit_id)
        asking.look(visit_id)
        asking.save(visit_id, SAVED, round=3, bore=1, kind="turn", value=6.5)
    finally:
        shop.close()
    shop = open_shop(folder)
    try:
        late = Asking(create_app(shop, clock=working_day()))
        late.look(other)
        late.look(started, STARTED)
    finally:
        shop.close()
    return asking.found | late.found


def printed(found: Mapping[str, Watch]) -> Iterator[str]:
    """The table."""
    yield "| request | crossings: 76737f8, now | calls: 76737f8, now | modules: 76737f8, now |"
    yield "| --- | --- | --- | --- |"
    for name, watch in found.items():
        was, now = BEFORE[name], watch.counts
        pairs = ((was.crossings, now.crossings), (was.calls, now.calls), (was.modules, now.modules))
        yield f"| {name} | " + " | ".join(f"{before:,}, {after:,}" for before, after in pairs) + " |"


def main() -> None:
    """Print the table, and with ``--where`` every crossing."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0] if __doc__ else "")
    parser.add_argument("--where", action="store_true", help="also each crossing of the page: how often, from, to")
    asked = parser.parse_args()
    with tempfile.TemporaryDirectory() as made:
        found = measure(Path(made) / "shop")
    print("\n".join(printed(found)))
    for (caller, called), times in found[PAGE].where.most_common() if asked.where else ():
        print(f"{times:4} {caller} -> {called}")


if __name__ == "__main__":
    with report("crossings"):
        main()
