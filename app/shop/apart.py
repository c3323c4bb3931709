"""Work in a process of its own, so that it can be ended at any time and its memory goes with it.

Work is a generator: each part it yields goes to the process that asked, and what that sends back comes into the
generator, as if both were one program. Nothing is sent ahead, so no more than one part is in memory here.
"""

import importlib
import multiprocessing
import os
import signal
import sys
import threading
import time
from collections.abc import Callable, Generator, Sequence
from contextlib import suppress
from multiprocessing.connection import Connection
from multiprocessing.context import SpawnProcess
from typing import Any

Talk = Generator[Any, Any, Any]
"""Work under way: the parts that it yields, what is sent back, and what it returns."""

Wanted = Callable[[], bool]
"""Whether anyone still waits for what comes of the work."""

MOST_SECONDS = 60.0
"""How long a process may take with all its parts [s]; work keeps its own, shorter time first (our judgement)."""

MOST_MEMORY = 1024 * 1024 * 1024
"""By how much a process may grow once it has begun [bytes]: what the largest file takes, twice (our judgement)."""

SPARE_SECONDS = 300.0
"""How long a process that was made ready waits for work before it ends [s] (our judgement)."""

LOOKED = 0.1
"""How often it is asked whether the work is still wanted [s]."""

_SPAWN = multiprocessing.get_context("spawn")


class DiedError(Exception):
    """The process ended before its work did: killed, or out of memory."""


class GivenUpError(Exception):
    """The process was ended: its time was over, or it was no longer wanted."""


class Apart:
    """Does work in processes of its own.

    Parameters: ``ahead``, modules that a process imports before there is work for it; ``seconds`` and ``memory``
    [bytes], what it may take.
    """

    def __init__(self, ahead: Sequence[str] = (), seconds: float = MOST_SECONDS, memory: int = MOST_MEMORY) -> None:
        self._ahead, self._seconds, self._memory = tuple(ahead), seconds, memory
        self._spare: _Child | None = None
        self._turn = threading.Lock()

    def make_ready(self) -> None:
        """Begin a process, unless one waits: importing the program takes longer than most of what it is asked."""
        with self._turn:
            if self._spare is None or not self._spare.process.is_alive():
                self._spare = _Child(self._ahead, self._memory)

    def talk(self, wanted: Wanted, work: Callable[..., Talk], *told: Any) -> Talk:
        """``work(*told)``, done there.

        Raises what the work does, GivenUpError when the time is over or it is no longer ``wanted``, DiedError.
        """
        ends = time.monotonic() + self._seconds
        child = self._taken()
        try:
            child.wire.send((work, told))
            while True:
                while not child.wire.poll(LOOKED):
                    if time.monotonic() >= ends or not wanted():
                        raise GivenUpError
                ended, part = child.wire.recv()
                if isinstance(part, BaseException) and ended:
                    raise part
                if ended:
                    return part
                child.wire.send((yield part))
        except (EOFError, OSError):
            raise DiedError from None
        finally:
            child.end()

    def close(self) -> None:
        """End the process that waits."""
        with self._turn:
            spare, self._spare = self._spare, None
        if spare is not None:
            spare.end()

    def _taken(self) -> "_Child":
        with self._turn:
            spare, self._spare = self._spare, None
        if spare is not None and spare.process.is_alive():
            return spare
        return _Child(self._ahead, self._memory)


class _Child:
    """A process and the wire to it."""

    def __init__(self, ahead: Sequence[str], memory: int) -> None:
        self.wire: Connection
        self.wire, theirs = _SPAWN.Pipe()
        self.process: SpawnProcess = _SPAWN.Process(target=serve, args=(theirs, ahead, memory), daemon=True)
        self.process.start()
        theirs.close()

    def end(self) -> None:
        """End it, whatever it is doing."""
        self.wire.close()
        self.process.kill()
        self.process.join()
        self.process.close()


def serve(wire: Connection, ahead: Sequence[str], memory: int) -> None:
    """What the process does: one piece of work."""
    signal.signal(signal.SIGINT, signal.SIG_IGN)  # Ctrl-C is for the program that began this one
    with suppress(AttributeError):
        os.nice(5)
    for module in ahead:
        importlib.import_module(module)
    _limit(memory)
    with suppress(EOFError, OSError, MemoryError):  # it is no longer wanted, or there is no room: it just ends
        if not wire.poll(SPARE_SECONDS):
            return
        work, told = wire.recv()
        wire.send((True, _done(wire, work(*told))))


def _done(wire: Connection, talk: Talk) -> object:
    """What the work returned, or the error that it ended in."""
    said: object = None
    try:
        while True:
            wire.send((False, talk.send(said)))
            said = wire.recv()
    except StopIteration as end:
        return end.value
    except (EOFError, OSError, MemoryError):
        raise
    except Exception as error:
        return error


def _limit(memory: int) -> None:
    """Let this process grow by so much and no more, where the system can be told."""
    if sys.platform == "linux":
        import resource

        with open("/proc/self/statm", encoding="ascii") as pages:
            now = int(pages.read().split()[0]) * resource.getpagesize()
        resource.setrlimit(resource.RLIMIT_AS, (now + memory, now + memory))
