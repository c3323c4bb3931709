"""The samples behind taken live values: a file beside the records, ``traces.db``, that is only ever added to.

A reading names its look, a look the SHA-256 of its trace. Copies of the records may be without the file: a trace that
is not there was not kept.
"""

import hashlib
import sqlite3
import zlib
from array import array
from collections.abc import Iterator, Mapping, Sequence
from contextlib import closing, contextmanager
from pathlib import Path

NAME = "traces.db"

LEVELS = 65_000
"""Steps between the lowest and the highest sample of a channel."""

SCHEMA = """
CREATE TABLE IF NOT EXISTS trace (hash TEXT PRIMARY KEY, packed BLOB NOT NULL) STRICT, WITHOUT ROWID;
CREATE TRIGGER IF NOT EXISTS trace_no_update BEFORE UPDATE ON trace
BEGIN SELECT RAISE(ABORT, 'trace rows are only ever added'); END;
CREATE TRIGGER IF NOT EXISTS trace_no_delete BEFORE DELETE ON trace
BEGIN SELECT RAISE(ABORT, 'trace rows are only ever added'); END;
"""

Trace = Mapping[str, Sequence[tuple[float, float]]]
"""By channel: seconds from the first sample of all, and the value in the channel's unit."""


def pack(trace: Trace) -> bytes:
    """A trace as it is kept: per channel its scale, then the differences of times [0.1 ms] and of levels, deflated."""
    parts = []
    for name, samples in sorted(trace.items()):
        low, high = min(v for _, v in samples), max(v for _, v in samples)
        size = (high - low) / LEVELS or 1.0
        times = [round(at * 1e4) for at, _ in samples]
        levels = [round((value - low) / size) for _, value in samples]
        head = f"{name}\t{low!r}\t{size!r}\t{len(samples)}\n".encode()
        parts.append(head + _differences(times) + _differences(levels))
    return zlib.compress(b"".join(parts), 9)


def unpack(packed: bytes) -> dict[str, list[tuple[float, float]]]:
    """The trace that ``pack`` was given, to a part in ``LEVELS`` of each channel's range. Raises zlib.error."""
    whole, at, found = zlib.decompress(packed), 0, {}
    while at < len(whole):
        end = whole.index(b"\n", at)
        name, low, size, count = whole[at:end].decode().split("\t")
        at, each = end + 1, int(count)
        times, at = _sums(whole, at, each)
        levels, at = _sums(whole, at, each)
        scale, base = float(size), float(low)
        found[name] = [(time / 1e4, base + level * scale) for time, level in zip(times, levels, strict=True)]
    return found


def hash_of(packed: bytes) -> str:
    """The SHA-256 by which a look names its trace."""
    return hashlib.sha256(packed).hexdigest()


def keep(folder: Path, packed: bytes) -> None:
    """Add a trace to the file beside the records of ``folder``. Raises sqlite3.Error."""
    with _file(folder) as connection:
        connection.executescript(SCHEMA)
        connection.execute("INSERT OR IGNORE INTO trace (hash, packed) VALUES (?, ?)", (hash_of(packed), packed))


def kept(folder: Path, hash_: str) -> dict[str, list[tuple[float, float]]] | None:
    """The trace of that hash, None where it was not kept or is not what it was."""
    file = folder / NAME
    if not file.exists():
        return None
    with _file(folder) as connection:
        try:
            row = connection.execute("SELECT packed FROM trace WHERE hash = ?", (hash_,)).fetchone()
        except sqlite3.Error:
            return None
    return unpack(row[0]) if row is not None and hash_of(row[0]) == hash_ else None


@contextmanager
def _file(folder: Path) -> Iterator[sqlite3.Connection]:
    file = folder / NAME
    if not file.exists():
        file.touch(mode=0o600)
    with closing(sqlite3.connect(file, timeout=5.0)) as connection, connection:
        yield connection


def _differences(whole: Sequence[int]) -> bytes:
    """Whole numbers as what each is more than the one before: two bytes each, four where one does not fit."""
    steps = [now - was for was, now in zip([0, *whole], whole, strict=False)]
    code = "h" if all(-32768 <= one <= 32767 for one in steps) else "i"
    return code.encode() + array(code, steps).tobytes()


def _sums(whole: bytes, at: int, count: int) -> tuple[list[int], int]:
    steps = array(chr(whole[at]))
    end = at + 1 + count * steps.itemsize
    steps.frombytes(whole[at + 1 : end])
    total, found = 0, []
    for one in steps:
        total += one
        found.append(total)
    return found, end
