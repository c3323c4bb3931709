"""What a journal says of the last run, by journals laid out by hand as published: SQLite, "Database file format",
section 4.1, and "WAL-mode file format", section 2.1."""

import struct
from pathlib import Path

import pytest

from app.shop.store.folder.journal import Ending, ending

PAGE = 512
SALTS = b"salts123"


def frame(commit: int, salts: bytes = SALTS) -> bytes:
    """A page: its number, the pages there are then on the last of a save and else 0, both salts, two checksums."""
    return struct.pack(">II", 2, commit) + salts + bytes(8) + b"x" * PAGE


def journal(*frames: bytes) -> bytes:
    """Magic number, version, page size, checkpoint, both salts, two checksums; 32 bytes, then the frames."""
    return struct.pack(">IIII", 0x377F0682, 3007000, PAGE, 0) + SALTS + bytes(8) + b"".join(frames)


def index(frames: int, salts: bytes = SALTS) -> bytes:
    """48 bytes, of which those from the 16th on count the frames, and those from the 32nd on are the salts."""
    return bytes(16) + struct.pack("=I", frames) + bytes(12) + salts + bytes(8)


WHOLE, OPEN, OLD = frame(3), frame(0), frame(3, b"earlier.")


@pytest.mark.parametrize(
    ("wal", "shm", "left", "cut"),
    [
        (None, None, False, False),
        (b"", None, False, False),
        (b"", index(2), True, True),  # which says that there was something
        (journal()[:31], None, True, True),
        (journal(), None, True, False),
        (journal(WHOLE), None, True, False),
        (journal(WHOLE, WHOLE), index(2), True, False),
        (journal(OPEN, WHOLE), None, True, False),
        (journal(WHOLE, OPEN), None, True, True),
        (journal(WHOLE, WHOLE[:-1]), None, True, True),
        (journal(WHOLE)[:-1], None, True, True),
        (journal(WHOLE, OLD, OLD), None, True, False),  # left over from before it began again
        (journal(WHOLE), index(2), True, True),
        (journal(WHOLE), index(1), True, False),
        (journal(WHOLE), index(2, b"earlier."), True, False),  # an index of another journal says nothing
        (journal(WHOLE), index(2)[:-1], True, False),
    ],
)
def test_a_journal_that_ends_with_a_whole_save_is_not_cut(
    tmp_path: Path, wal: bytes | None, shm: bytes | None, left: bool, cut: bool
) -> None:
    file = tmp_path / "shop.db"
    for beside, held in (("-wal", wal), ("-shm", shm)):
        if held is not None:
            (tmp_path / f"shop.db{beside}").write_bytes(held)
    assert ending(file) == Ending(left, cut)
