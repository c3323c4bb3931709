"""What a journal says about how the last run of the program ended, read before SQLite opens it.

Layouts: SQLite, "Database file format", section 4.1 (the write-ahead log), and "WAL-mode file format", section 2.1
(the index beside it).
"""

import struct
from dataclasses import dataclass
from pathlib import Path

HEADER, FRAME_HEADER, SALTS = 32, 24, slice(16, 24)
INDEX_HEADER = 48
FRAMES_IN_INDEX, SALTS_IN_INDEX = slice(16, 20), slice(32, 40)


@dataclass(frozen=True, slots=True)
class Ending:
    """How the last run ended: whether its journal was ``left``, and whether the end of that is ``cut`` off."""

    left: bool
    cut: bool


def ending(file: Path) -> Ending:
    """Look at the journal beside a closed ``file``. One that ends with a whole save is not cut, as far as can be told.

    The index beside it is not kept by the disk on purpose; where it did survive, it knows how many pages there were.
    """
    journal = _read(file.with_name(f"{file.name}-wal"))
    index = _read(file.with_name(f"{file.name}-shm"))[:INDEX_HEADER]
    known = struct.unpack("=I", index[FRAMES_IN_INDEX])[0] if len(index) == INDEX_HEADER else 0
    if len(journal) < HEADER:
        return Ending(bool(journal or known), bool(journal or known))
    length = FRAME_HEADER + int.from_bytes(journal[8:12], "big")
    frames = saved = 0
    for start in range(HEADER, len(journal) - length + 1, length):
        if journal[start + 8 : start + 16] != journal[SALTS]:
            break  # left over from before the journal began again
        frames += 1
        if journal[start + 4 : start + 8] != bytes(4):  # the last page of a save says how many there are then
            saved = frames
    same = len(index) == INDEX_HEADER and index[SALTS_IN_INDEX] == journal[SALTS]
    ragged = (len(journal) - HEADER) % length != 0
    return Ending(left=True, cut=ragged or frames > saved or (same and known > frames))


def _read(file: Path) -> bytes:
    try:
        return file.read_bytes()
    except FileNotFoundError:
        return b""
