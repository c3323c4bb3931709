"""The program as a person starts it: a command in another process, from another folder.

``python -m tests.started COMMAND...`` starts ``COMMAND... demo --port 0``, opens the first page and a file that it
names, stops it with SIGTERM and checks that it went in good order.
"""

import re
import subprocess
import sys
import tempfile
import threading
import urllib.request
from collections.abc import Iterator, Mapping, Sequence
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path

COMMAND = (sys.executable, "-W", "error", "-m", "app.server")
START_SECONDS = 90.0  # many times what it takes, for a machine that is busy with something else
STOP_SECONDS = 60.0  # on a machine that is busy the last requests and the journal take their time


@dataclass
class Started:
    """A running program: its address, the process, and what it printed up to there."""

    address: str
    process: subprocess.Popen[str]
    said: str

    def fetch(self, path: str) -> str:
        """The body at ``path``. Raises HTTPError for any status but 200."""
        with urllib.request.urlopen(self.address + path.lstrip("/"), timeout=10) as answer:
            return str(answer.read().decode())

    def stop(self) -> int:
        """End it as a service manager would. The exit status."""
        self.process.terminate()
        return self.process.wait(STOP_SECONDS)


@contextmanager
def started(
    *arguments: str, command: Sequence[str] = COMMAND, cwd: Path | None = None, env: Mapping[str, str] | None = None
) -> Iterator[Started]:
    """The program started with ``arguments``, once it has said where it is open; killed on leaving if still there."""
    with subprocess.Popen(
        [*command, *arguments], cwd=cwd, env=env, stdout=subprocess.PIPE, stderr=subprocess.STDOUT, text=True
    ) as process:
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


def refused(*arguments: str) -> str:
    """What the command says when it cannot start. It may not print a traceback."""
    ended = subprocess.run([*COMMAND, *arguments], check=False, capture_output=True, text=True, timeout=30)
    assert ended.returncode == 1, ended
    assert "Traceback" not in ended.stderr
    return ended.stderr


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
            assert program.stop() == 0
        print(f"{' '.join(sys.argv[1:])} started, showed its board with {style[1]} and {script[1]}, and closed")


if __name__ == "__main__":
    main()
