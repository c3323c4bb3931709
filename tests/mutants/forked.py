"""A process made by fork, so that what Python has imported need not be imported again."""

import gc
import importlib
import os
import signal
import sys
import traceback
from collections.abc import Callable

PACKAGES = (
    *("alembic", "argon2", "coverage", "fastapi.testclient", "hypothesis", "numpy", "playwright.sync_api", "pytest"),
    *("scipy.linalg", "scipy.special", "scipy.stats", "sqlmodel", "typer"),
)
QUIET = ("-q", "-p", "no:cacheprovider", "-W", "ignore::pytest.PytestAssertRewriteWarning")
"""How pytest is run there: plugins that are imported already cannot have their asserts rewritten, which it warns of."""

WALL = 10
"""How many times its CPU seconds a process may take by the clock, on a machine that is busy with something else."""


def warm() -> None:
    """Import what tests and program are built on, none of the program itself."""
    for package in PACKAGES:
        importlib.import_module(package)


def forked(work: Callable[[], int], cpu_seconds: int = 0) -> int:
    """What ``work`` returned as the status of a process of its own, negative when a signal ended it.

    Parameters: ``cpu_seconds`` it may use, without end when 0.
    """
    sys.stdout.flush()
    child = os.fork()
    if child:
        return os.waitstatus_to_exitcode(os.waitpid(child, 0)[1])
    status = 70
    gc.freeze()  # pytest collects all garbage as it ends, which is slow where its parent holds a lot
    try:
        if cpu_seconds:
            signal.setitimer(signal.ITIMER_PROF, cpu_seconds)
            signal.alarm(WALL * cpu_seconds)
            with open(os.devnull, "w") as nowhere:
                os.dup2(nowhere.fileno(), 1)
                os.dup2(nowhere.fileno(), 2)
        status = int(work())
    except BaseException:
        traceback.print_exc()
    finally:
        sys.stdout.flush()
        os._exit(status)
