"""What a benchmark prints, kept in the README beside it: every benchmark takes ``--write``.

With it the text printed replaces the block of that name in ``tests/benchmarks/README.md``, with command and day.
No table is written by hand.
"""

import contextlib
import io
import re
import sys
from collections.abc import Iterator
from datetime import UTC, datetime
from pathlib import Path

README = Path(__file__).parent / "README.md"
WRITE = "--write"


@contextlib.contextmanager
def report(name: str, file: Path = README) -> Iterator[None]:
    """Print what is printed inside, and with ``--write`` on the command line keep it as the block ``name`` of ``file``.

    Raises LookupError when the README has no such block.
    """
    if WRITE not in sys.argv:
        yield
        return
    sys.argv.remove(WRITE)
    told = _Both()
    command = " ".join(["python -m", f"tests.{file.parent.name}.{name}", *sys.argv[1:]])
    with contextlib.redirect_stdout(told):
        yield
    keep(file, name, command, told.getvalue(), f"{datetime.now(UTC):%Y-%m-%d}")


def keep(file: Path, name: str, command: str, printed: str, day: str) -> None:
    """Put ``printed`` into the block ``name`` of a file. Raises LookupError when it has none."""
    text = file.read_text()
    body = printed.strip("\n")
    if not body.startswith("|"):
        body = f"```\n{body}\n```"
    block = f"<!-- {name} -->\n`{command}`, {day}:\n\n{body}\n<!-- end of {name} -->"
    found = re.sub(rf"<!-- {name} -->.*?<!-- end of {name} -->", lambda _: block, text, flags=re.DOTALL)
    if f"<!-- {name} -->" not in text:
        raise LookupError(f"{file} has no block {name}")
    file.write_text(found)


class _Both(io.StringIO):
    """Keeps what is printed, and prints it too."""

    def write(self, text: str) -> int:
        sys.__stdout__.write(text) if sys.__stdout__ else None
        return super().write(text)
