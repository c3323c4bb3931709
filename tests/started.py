"""The program as a person starts it: a command in another process, from another folder.

``python -m tests.started COMMAND...`` starts ``COMMAND... demo --port 0``, opens the first page and a file that it
names, sends it an engine file, stops it with SIGTERM and checks that it went in good order.
"""

import re
import subprocess
import sys
import tempfile
import threading
import urllib.error
import urllib.request
from collections.abc import Iterator, Mapping, Sequence
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path

from tests.forked import STRICT, Forked, Process, begin

COMMAND = (sys.executable, *STRICT, "-m", "app.server")
"""What a person starts."""

PROGRAM = "from app.server.cli import main; main()"
"""The same, for a process that has the program read in already."""

START_SECONDS = 90.0  # many times what it takes, for a machine that is busy with something else
END_SECONDS = 120.0
STOP_SECONDS = 60.0  # on a machine that is busy the last requests and the journal take their time


@dataclass
class Started:
    """A running program: its address, the process, and what it printed up to there."""

    address: str
    process: Process
    said: str

    def fetch(self, path: str) -> str:
        """The body at ``path``. Raises HTTPError for any status but 200."""
        with urllib.request.urlopen(self.address + path.lstrip("/"), timeout=60) as answer:
            return str(answer.read().decode())

    def look_at(self, file: bytes) -> str:
        """The page about an engine file that was sent, which a process of its own looks at."""
        origin = self.address.rstrip("/")
        head = b'--x\r\nContent-Disposition: form-data; name="file"; filename="engine.json"\r\n\r\n'
        told = {"Origin": origin, "Content-Type": "multipart/form-data; boundary=x"}
        asked = urllib.request.Request(f"{origin}/exchange/look", head + file + b"\r\n--x--\r\n", told)
        while True:
            try:
                with urllib.request.urlopen(asked, timeout=60) as answer:
                    page = str(answer.read().decode())
            except urllib.error.HTTPError as refusal:
                return str(refusal.read().decode())
            if (again := re.search(r'href="(/exchange/answers/[^"]+)"', page)) is None:
                return page
            asked = urllib.request.Request(origin + again[1])

    def stop(self) -> int:
        """End it as a service manager would. The exit status."""
        self.process.terminate()
        return self.process.wait(STOP_SECONDS)


@contextmanager
def started(
    *arguments: str,
    code: str = PROGRAM,
    command: Sequence[str] = (),
    cwd: Path | None = None,
    env: Mapping[str, str] | None = None,
) -> Iterator[Started]:
    """The program started with ``arguments``, once it has said where it is open; killed on leaving if still there.

    ``code`` is what a forked process runs; a ``command`` is started from nothing instead.
    """
    with _begun(arguments, code, command, cwd, env) as process:
        try:
            assert process.stdout is not None
            watch = threading.Timer(START_SECONDS, process.kill)
            watch.start()
            said, found = "", None
            while found is None and (line := process.stdout.readline()):
                said += line
                found = re.search(r"open at (https?://\S+/)", line)
            watch.cancel()
            assert found is not None, said
            yield Started(found[1], process, said)
        finally:
            process.kill()


def _begun(
    arguments: Sequence[str], code: str, command: Sequence[str], cwd: Path | None, env: Mapping[str, str] | None
) -> Forked | subprocess.Popen[str]:
    if not command:
        return begin(code, arguments, cwd=cwd, env=env)
    return subprocess.Popen(
        [*command, *arguments], cwd=cwd, env=env, stdout=subprocess.PIPE, stderr=subprocess.STDOUT, text=True
    )


def ended(*arguments: str, code: str = PROGRAM) -> subprocess.CompletedProcess[str]:
    """What became of a process that runs ``code`` with ``arguments``, the program unless told otherwise."""
    with tempfile.TemporaryFile("w+") as errors, begin(code, arguments, stderr=errors.fileno()) as process:
        assert process.stdout is not None
        watch = threading.Timer(END_SECONDS, process.kill)
        watch.start()
        said = process.stdout.read()
        status = process.wait()
        watch.cancel()
        errors.seek(0)
        return subprocess.CompletedProcess(arguments, status, said, errors.read())


def refused(*arguments: str) -> str:
    """What the command says when it cannot start. It may not print a traceback."""
    found = ended(*arguments)
    assert found.returncode == 1, found
    assert "Traceback" not in found.stderr
    return found.stderr


def main() -> None:
    """Start the command given, look at it, stop it."""
    with tempfile.TemporaryDirectory() as elsewhere:
        with started("demo", "--port", "0", command=sys.argv[1:], cwd=Path(elsewhere)) as program:
            board = program.fetch("/")
            style = re.search(r'href="(/static/[^"]+\.css)"', board)
            script = re.search(r'src="(/lib/[^"]+\.js)"', board)
            assert style is not None, board
            assert script is not None, board
            assert program.fetch(style[1])
            assert program.fetch(script[1])
            looked = program.look_at(program.fetch("/engines/1/export.json").encode())
            assert "Everything in this file is already on record" in looked, looked
            assert program.stop() == 0
        print(f"{' '.join(sys.argv[1:])} started, showed its board with {style[1]} and {script[1]},")
        print("looked at an engine file in a process of its own, and closed")


if __name__ == "__main__":
    main()
