"""A plugin, ``pytest -p tests.live.without_extras``: the packages of the extras cannot be imported, as if they were not
installed."""

import sys

EXTRAS = ("serial", "pymodbus", "can", "cantools")

for name in EXTRAS:
    sys.modules[name] = None  # type: ignore[assignment]
