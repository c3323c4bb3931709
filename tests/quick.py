"""What answers in under a minute on two cores: ``python -m tests.quick``.

Lint, format, types, and every unit and property test that needs no browser and takes less than a second or so. They go
side by side. Benchmarks, faults, a database server, engine files, the command line and whole pages are left to README's
test line.
"""

import subprocess
import sys
import time
from collections.abc import Mapping, Sequence
from concurrent.futures import ThreadPoolExecutor, as_completed
from pathlib import Path

ROOT = Path(__file__).parent.parent
FOLDERS = (
    "app/sync",
    "tests/sync",
    "tests/wording",
    "tests/shop",
    "tests/web/presenters",
    "tests/test_architecture.py",
)
LEFT_OUT = ("--ignore=tests/shop/store/postgres", "--ignore=tests/shop/exchange")
"""What needs a database server, and engine files."""

CHECKS: Mapping[str, Sequence[str]] = {
    "lint": ("ruff", "check", "."),
    "format": ("ruff", "format", "--check", "."),
    "types": ("mypy",),
    "tests": ("pytest", "-q", "-n", "2", "-m", "not browser and not slow", *FOLDERS, *LEFT_OUT),
}
"""Modules of this Python with their arguments."""


def run(checks: Mapping[str, Sequence[str]]) -> list[str]:
    """Run all checks at once, tell of each when it ends, and return the names of those that failed."""
    began, failed = time.monotonic(), []
    with ThreadPoolExecutor(len(checks)) as hands:
        running = {hands.submit(_one, arguments): name for name, arguments in checks.items()}
        for done in as_completed(running):
            ended, name = done.result(), running[done]
            verdict = "failed" if ended.returncode else "passed"
            print(f"{name} {verdict} after {time.monotonic() - began:.0f} s", flush=True)
            if ended.returncode:
                failed.append(name)
                print(ended.stdout, flush=True)
    return failed


def _one(arguments: Sequence[str]) -> subprocess.CompletedProcess[str]:
    return subprocess.run(
        [sys.executable, "-m", *arguments], cwd=ROOT, text=True, stdout=subprocess.PIPE, stderr=subprocess.STDOUT
    )


if __name__ == "__main__":
    sys.exit(bool(run(CHECKS)))
