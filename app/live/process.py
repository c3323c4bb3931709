"""The process: one thread a source, which is started again when it ends, and the feed."""

import threading
import time
from collections.abc import Callable, Sequence
from contextlib import suppress
from dataclasses import dataclass, field

from app.live.channels import ChannelFile, InstrumentSource
from app.live.feed import EVERY, Feed, RefusedError
from app.live.sources.kinds import READ
from app.live.sources.source import MissingExtraError, Reader, SourceError

PAUSES = (0.2, 0.5, 1.0, 2.0, 5.0)
"""Seconds until a source that ended is tried again, growing with each time that it does."""

WORKED = 10.0
"""Seconds after which a source counts as having worked, and its pauses begin anew (our judgement)."""


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


def run(file: ChannelFile, feed: Feed, stopped: threading.Event, tell: Callable[[Exception | Running], None]) -> None:
    """Read every source and send what comes until ``stopped``; ``tell`` hears of a source that ended and of a program
    that does not answer, each once until it does again."""
    sources: Sequence[Running] = [Running(one, Reader(feed.deliver, stopped)) for one in file.sources]
    for one in sources:
        one.start(tell)
    told: type[Exception] | None = None
    while not stopped.wait(EVERY):
        try:
            feed.push()
            told = None
        except (RefusedError, OSError) as problem:
            if type(problem) is not told:
                tell(problem)
                told = type(problem)
            stopped.wait(PAUSES[2])
    for one in sources:
        one.thread.join(timeout=1.0)
    with suppress(OSError):
        feed.close()
