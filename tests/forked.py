"""Python processes that have read the program in from their first moment: forked from one that does nothing else.

The program's modules take two seconds of the processor to read in. What is forked without that is a process of its own
all the same, with its own files, signals, sockets and end. Where nothing can be forked safely one is started instead.
"""

import atexit
import gc
import importlib
import json
import os
import signal
import socket
import subprocess
import sys
import tempfile
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from functools import cache
from pathlib import Path
from types import TracebackType
from typing import IO, Any, Protocol

STRICT = ("-W", "error")
READ_IN = (
    "app.server.cli",
    "app.server.door",
    "app.server.tls",
    "app.shop.demo.demo_shop",
    "app.shop.store.backup",
    "app.web.application",
    "app.web.pages.shop.damaged",
    "encodings.idna",
    "uvicorn",
    "uvicorn.lifespan.on",
    "uvicorn.loops.auto",
    "uvicorn.protocols.http.h11_impl",
)
"""All that the program imports before it answers."""

LONGEST_ORDER = 1 << 17


class Process(Protocol):
    """What tests ask of a process, as ``subprocess.Popen`` has it."""

    pid: int
    stdout: IO[str] | None

    def wait(self, timeout: float | None = None) -> int:
        """The exit status, that of a signal below 0. Raises subprocess.TimeoutExpired."""

    def kill(self) -> None:
        """End it on the spot."""

    def terminate(self) -> None:
        """Ask it to end."""


@dataclass
class Forked:
    """A forked process. It is known by its number until it is closed."""

    pid: int
    stdout: IO[str] | None
    ended: socket.socket
    status: int | None = None

    def wait(self, timeout: float | None = None) -> int:
        """The exit status, that of a signal below 0. Raises subprocess.TimeoutExpired."""
        if self.status is None:
            self.ended.settimeout(timeout)
            try:
                self.status = int(self.ended.recv(16))
            except TimeoutError:
                raise subprocess.TimeoutExpired(f"process {self.pid}", timeout or 0.0) from None
        return self.status

    def kill(self) -> None:
        """End it on the spot."""
        os.kill(self.pid, signal.SIGKILL)

    def terminate(self) -> None:
        """Ask it to end."""
        os.kill(self.pid, signal.SIGTERM)

    def __enter__(self) -> "Forked":
        return self

    def __exit__(self, *_: type[BaseException] | BaseException | TracebackType | None) -> None:
        self.wait()
        self.ended.close()
        if self.stdout is not None:
            self.stdout.close()


def begin(
    code: str,
    arguments: Sequence[str],
    *,
    cwd: Path | None = None,
    env: Mapping[str, str] | None = None,
    stderr: int | None = None,
) -> "Forked | subprocess.Popen[str]":
    """A process that runs ``code`` with ``arguments`` in ``sys.argv``, and writes what it prints to ``stdout``.

    ``stderr`` is a file's number; what goes there is part of ``stdout`` when None. Leave its block once it has ended.
    """
    if sys.platform != "linux":
        return subprocess.Popen(
            [sys.executable, *STRICT, "-c", code, *arguments],
            cwd=cwd,
            env=env,
            stdout=subprocess.PIPE,
            stderr=subprocess.STDOUT if stderr is None else stderr,
            text=True,
        )
    order = {"code": code, "arguments": list(arguments), "cwd": str(cwd or Path.cwd()), "env": dict(env or os.environ)}
    here, there = socket.socketpair(socket.AF_UNIX, socket.SOCK_SEQPACKET)
    out, into = os.pipe()
    try:
        files = [into, into if stderr is None else stderr, there.fileno()]
        socket.send_fds(_forking(), [json.dumps(order).encode()], files)
    finally:
        there.close()
        os.close(into)
    return Forked(int(here.recv(16)), os.fdopen(out), here)


@cache
def _forking() -> socket.socket:
    """Where the process takes orders that all others are forked from; it ends with this one."""
    here, there = socket.socketpair(socket.AF_UNIX, socket.SOCK_SEQPACKET)
    with there:
        process = subprocess.Popen(
            [sys.executable, *STRICT, "-m", "tests.forked", str(there.fileno())],
            cwd=Path(__file__).parent.parent,
            env={**os.environ, "OPENBLAS_NUM_THREADS": "1"},  # threads are not forked
            stdin=subprocess.DEVNULL,
            pass_fds=[there.fileno()],
            start_new_session=True,
        )

    def close() -> None:
        here.close()
        process.wait()

    atexit.register(close)
    return here


def main() -> None:
    """Take orders until nobody can give any. In a forked process this returns when its own work is done."""
    for name in READ_IN:
        importlib.import_module(name)
    gc.freeze()  # nothing of this is looked through again, so that the pages stay shared
    orders = socket.socket(fileno=int(sys.argv[1]))
    signal.signal(signal.SIGCHLD, signal.SIG_IGN)
    while True:
        order, files, *_ = socket.recv_fds(orders, LONGEST_ORDER, 3)
        if not order:
            orders.close()
            return
        if os.fork() == 0:
            orders.detach()
            os.close(int(sys.argv[1]))
            _watched(json.loads(order), *files)
            return
        for file in files:
            os.close(file)


def _watched(order: Mapping[str, Any], out: int, err: int, back: int) -> None:
    """Fork once more, tell the number of the process and how it ended, and let go of it once nobody asks any more."""
    signal.signal(signal.SIGCHLD, signal.SIG_DFL)
    pid = os.fork()
    if pid == 0:
        os.close(back)
        os.dup2(out, 1)
        os.dup2(err, 2)
        os.close(out)
        os.close(err)
        _run(order)
        return
    os.close(out)
    os.close(err)
    with socket.socket(fileno=back) as told:
        told.send(b"%d" % pid)
        ended = os.waitid(os.P_PID, pid, os.WEXITED | os.WNOWAIT)
        assert ended is not None
        told.send(b"%d" % (ended.si_status if ended.si_code == os.CLD_EXITED else -ended.si_status))
        told.recv(1)
    os._exit(0)


def _run(order: Mapping[str, Any]) -> None:
    """Be the program that was ordered."""
    os.chdir(order["cwd"])
    os.environ.clear()
    os.environ.update(order["env"])
    tempfile.tempdir = None  # by the environment
    sys.argv = ["-c", *order["arguments"]]
    exec(compile(order["code"], "<string>", "exec"), {"__name__": "__main__"})


if __name__ == "__main__":
    main()
