"""What reads instruments beside the program: a process that ends with it, or a simulated one for the demo."""

import os
import subprocess
import threading
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

import typer

from app.live.process import PAUSES
from app.server.autostart import program
from app.server.commands.live_commands import AUTHORITY, BESIDE, TOKEN
from app.wording.message import say
from app.wording.program import live as words

ENDS_WITHIN = 5.0
"""Seconds that the process has to end in before it is killed (our judgement)."""


class Beside:
    """A process that reads the instruments of ``file``, begun again with growing pauses where it ends.

    ``authority``: the certificate that the program is trusted by on https, as PEM.
    """

    def __init__(self, file: Path, address: str, token: str, authority: str = "") -> None:
        self.command = (*program(), "live", str(file.absolute()), "--to", address)
        self.environment = {**os.environ, TOKEN: token, AUTHORITY: authority, BESIDE: "1"}
        self.stopped = threading.Event()
        self.process: subprocess.Popen[bytes] | None = None
        self._turn = threading.Lock()
        self._keeper = threading.Thread(target=self._keep, name="instruments", daemon=True)

    def start(self) -> None:
        """Begin, in a thread that keeps it going."""
        self._keeper.start()

    def stop(self) -> None:
        """End it, and wait until it has."""
        with self._turn:
            self.stopped.set()
            process = self.process
        if process is not None:
            process.terminate()
            try:
                process.wait(ENDS_WITHIN)
            except subprocess.TimeoutExpired:
                process.kill()
        self._keeper.join()

    def _keep(self) -> None:
        for pause in self._pauses():
            with self._turn:
                if self.stopped.is_set():
                    return
                # it ends when this end of the pipe is closed, as it is where the program is killed
                self.process = subprocess.Popen(self.command, env=self.environment, stdin=subprocess.PIPE)
            with self.process:
                self.process.wait()
            if not self.stopped.is_set():
                typer.echo(say(words.PROCESS_ENDED), err=True)
                self.stopped.wait(pause)

    def _pauses(self) -> Iterator[float]:
        yield from PAUSES
        while True:
            yield PAUSES[-1]


@contextmanager
def beside(file: Path, address: str, token: str, authority: str = "") -> Iterator[Beside]:
    """The instruments of ``file`` are read by a process meanwhile."""
    kept = Beside(file, address, token, authority)
    kept.start()
    try:
        yield kept
    finally:
        kept.stop()


@contextmanager
def simulated(channels: str, address: str, token: str) -> Iterator[None]:
    """The simulated instrument of a channel file, as text, sends by the same door meanwhile."""
    from app.live.channels import read_channels
    from app.live.feed import Feed
    from app.live.process import run

    file, stopped = read_channels(channels), threading.Event()
    feed = Feed(address, token, file.channels)
    thread = threading.Thread(target=run, args=(file, feed, stopped, lambda _: None), name="simulated", daemon=True)
    thread.start()
    try:
        yield
    finally:
        stopped.set()
        thread.join(ENDS_WITHIN)
