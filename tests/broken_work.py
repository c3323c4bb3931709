"""Imports that break off half-way, for a process of their own: it reads in this module, which needs little else."""

import threading
from collections.abc import Mapping
from pathlib import Path

from app.shop.apart import Talk
from app.shop.exchange.import_work import bring


def stops(records: Path, held: str, choices: Mapping[str, str]) -> Talk:
    """Hands over a draft and some of its rows, and runs out of memory."""
    yield from _half_of(records, held, choices)
    raise MemoryError


def hangs(records: Path, held: str, choices: Mapping[str, str]) -> Talk:
    """Hands over a draft and some of its rows, and goes on for ever."""
    yield from _half_of(records, held, choices)
    threading.Event().wait()


def _half_of(records: Path, held: str, choices: Mapping[str, str]) -> Talk:
    whole = bring(records, held, choices)
    yield next(whole)
    yield next(whole)
