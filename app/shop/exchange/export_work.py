"""A whole shop written into a zip, as work that may be done in another process: the zip comes in pieces."""

import tempfile
from collections.abc import Callable
from pathlib import Path
from typing import IO

from sqlmodel import Session

from app.shop.apart import Talk
from app.shop.exchange.beside import reading_of
from app.shop.exchange.tables.data_package import write_engine_files, write_tables
from app.shop.exchange.tables.tidy import CellWords
from app.shop.stopwatch import Allowance

PIECE = 256 * 1024
"""By how much a zip is handed on at once [bytes]."""


def engine_files(records: Path | str, at: str) -> Talk:
    """The engine file of every engine. ``at`` is when, ISO 8601. Raises TookTooLongError."""
    return _zipped(records, lambda session, to: write_engine_files(session, to, at, Allowance()))


def tables(records: Path | str, words: CellWords, at: str) -> Talk:
    """Every table with its data dictionary, in those ``words``. ``at`` is when, ISO 8601. Raises TookTooLongError."""
    return _zipped(records, lambda session, to: write_tables(session, to, words, at, Allowance()))


def _zipped(records: Path | str, write: Callable[[Session, IO[bytes]], None]) -> Talk:
    """It grows on the disk, however large the shop."""
    with tempfile.TemporaryFile() as made:
        with reading_of(records)() as session:
            write(session, made)
        made.seek(0)
        while piece := made.read(PIECE):
            yield piece
