"""Whether the files that were opened are still those that the next start will find.

A file that was deleted, moved or replaced goes on taking writes for as long as it is open, and they are gone with it.
"""

from pathlib import Path


class Presence:
    """Looks after one file of records and its journal, by what the system calls them, without opening them.

    Opening and closing the file a second time would drop SQLite's locks on it.
    """

    def __init__(self, file: Path) -> None:
        self._file = file
        self._journal = file.with_name(f"{file.name}-wal")
        self._known: tuple[int, int] | None = None
        self._known_journal: tuple[int, int] | None = None
        self._size = 0

    def begin(self) -> None:
        """Take the files for the ones that are open. Raises OSError where they are missing."""
        self._known, self._size = _identity(self._file)
        self._known_journal, _ = _identity(self._journal)

    @property
    def begun(self) -> bool:
        """Whether it is known which files are open."""
        return self._known is not None

    def lost(self) -> bool:
        """Whether the file or its journal was deleted, moved, replaced or emptied. SQLite shortens no file of ours."""
        try:
            known, size = _identity(self._file)
            journal, _ = _identity(self._journal)
        except OSError:
            return True
        if known != self._known or journal != self._known_journal or size < self._size:
            return True
        self._size = size
        return False


def _identity(file: Path) -> tuple[tuple[int, int], int]:
    found = file.stat()
    return (found.st_dev, found.st_ino), found.st_size
