"""The process: one thread a source, which is started again when it ends, and the feed."""

import threading
import time
from collections.abc import Callable, Sequence
from contextlib import suppress
from dataclasses import dataclass, field

from app.live.baud import Crowded, crowded
from app.live.channels import MOST_SOURCES, ChannelFile, InstrumentSource
from app.live.feed import EVERY, Feed, RefusedError
from app.live.sources.kinds import READ
from app.live.sources.source import RAW_KEPT, MissingExtraError, Reader, SourceError

PAUSES = (0.2, 0.5, 1.0, 2.0, 5.0)
"""Seconds until a source that ended is tried again, growing with each time that it does."""

WORKED = 10.0
"""Seconds after which a source counts as having worked, and its pauses begin anew (our judgement)."""


TELLS_EVERY = 1.0
"""Seconds after which it is said how the sources stand, where that has changed."""

LINES_TOLD, LONGEST_TOLD = 160, 100
"""Raw lines of all sources together that are told, and characters of each: the program takes no larger push."""


@dataclass
class Running:
    """A source at work, what it last failed with, and how often it was begun again."""

    source: InstrumentSource
    reader: Reader
    problem: Exception | None = None
    restarts: int = 0
    thread: threading.Thread = field(init=False)

    def start(self, tell: Callable[["Running"], None]) -> None:
        """Read in a thread of its own until the reader is to stop; ``tell`` hears of every end."""
        self.thread = threading.Thread(target=self._read, args=(tell,), name=self.source.name, daemon=True)
        self.thread.start()

    def told(self, lines: int, *, loose: bool, port: Crowded | None = None) -> dict[str, object]:
        """How it stands, with so many of its last raw lines."""
        kept = list(self.reader.raw)[-lines:]
        return {
            "kind": self.source.kind,
            "lines": [_plain(one) for one in kept],
            "spoilt": self.reader.spoilt,
            "restarts": self.restarts,
            "problem": _plain(str(self.problem or "")),
            "loose": loose,
            **({"baud": port.baud, "baud_needed": port.needs} if port is not None else {}),
        }

    def _read(self, tell: Callable[["Running"], None]) -> None:
        failed = 0
        while not self.reader.stopped.is_set():
            begun = time.monotonic()
            try:
                READ[self.source.kind](self.source.settings, self.reader)
            except (SourceError, MissingExtraError) as problem:
                self.problem = problem
                tell(self)
                return
            except Exception as problem:  # a driver may raise anything, and the others go on
                self.problem = problem
            if self.reader.stopped.is_set():
                return
            tell(self)
            failed = 0 if time.monotonic() - begun > WORKED else failed + 1
            self.restarts += 1
            self.reader.stopped.wait(PAUSES[min(failed, len(PAUSES)) - 1] if failed else PAUSES[0])


Told = Exception | Running | Crowded


def run(file: ChannelFile, feed: Feed, stopped: threading.Event, tell: Callable[[Told], None]) -> None:
    """Read every source and send what comes until ``stopped``; ``tell`` hears of a source that ended, of a port that is
    too slow, and of a program that does not answer, each once until it does again."""
    sources: Sequence[Running] = [Running(one, Reader(feed.deliver, stopped)) for one in file.sources]
    for one in sources:
        one.start(tell)
    told: type[Exception] | None = None
    standing: dict[str, dict[str, object]] = {}
    slow: set[str] = set()
    due = 0.0
    while not stopped.wait(EVERY):
        try:
            feed.push()
            if time.monotonic() >= due:
                ports = [crowded(one.source, file.channels, list(one.reader.raw)) for one in sources]
                for port in ports:
                    if port is not None and port.source not in slow:
                        tell(port)
                slow = {port.source for port in ports if port is not None}
                now = _standing(file, sources, ports)
                if now != standing:
                    feed.tell(now)
                standing, due = now, time.monotonic() + TELLS_EVERY
            told = None
        except (RefusedError, OSError) as problem:
            if type(problem) is not told:
                tell(problem)
                told = type(problem)
            standing = {}
            stopped.wait(PAUSES[2])
    for one in sources:
        one.thread.join(timeout=1.0)
    with suppress(OSError):
        feed.close()


def _standing(
    file: ChannelFile, sources: Sequence[Running], ports: Sequence[Crowded | None]
) -> dict[str, dict[str, object]]:
    """How the sources stand, by the names they are told under."""
    lines = min(RAW_KEPT, LINES_TOLD // max(1, len(sources)))
    return {
        _plain(one.source.name)[:60]: one.told(lines, loose=one.source.name in file.loose, port=port)
        for one, port in list(zip(sources, ports, strict=True))[:MOST_SOURCES]
    }


def _plain(text: str) -> str:
    """A raw text cut to what is told of it, signs that do not show as question marks."""
    return "".join(one if " " <= one <= "~" else "?" for one in text[:LONGEST_TOLD])
