"""A plugin, ``pytest -p tests.live.without_extras``: the packages of the extras cannot be imported, as if they were not
installed."""

import sys

EXTRAS = ("serial", "pymodbus", "can", "cantools")


def block() -> None:
    """From now on none of them is found."""
    for name in EXTRAS:
        sys.modules[name] = None  # type: ignore[assignment]


def pytest_configure() -> None:
    """Called where it is a plugin, and not where it is only collected."""
    block()
