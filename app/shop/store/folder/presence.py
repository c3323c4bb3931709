"""Whether the files that were opened are still those that the next start will find.

A file that was deleted, moved or replaced goes on taking writes for as long as it is open, and they are gone with it.
"""

import os
from pathlib import Path


class Presence:
    """Looks after one file of records and its journal, by what the system calls them, without opening them.

    ``begun``: whether it is known which files are open.

    Opening and closing the file a second time would drop SQLite's locks on it.
    """

    def __init__(self, file: Path) -> None:
        self._file = file
        self._journal = file.with_name(f"{file.name}-wal")
        self._known = self._known_journal = (0, 0)
        self._size = 0
        self.begun = False

    def begin(self) -> None:
        """Take the files for the ones that are open. Raises OSError where they are missing."""
        file, journal = self._file.stat(), self._journal.stat()
        self._known, self._size = (file.st_dev, file.st_ino), file.st_size
        self._known_journal = journal.st_dev, journal.st_ino
        self.begun = True

    def lost(self) -> bool:
        """Whether the file or its journal was deleted, moved, replaced or emptied. SQLite shortens no file of ours."""
        try:
            file, journal = os.stat(self._file), os.stat(self._journal)
        except OSError:
            return True
        same = (file.st_dev, file.st_ino) == self._known and (journal.st_dev, journal.st_ino) == self._known_journal
        if not same or file.st_size < self._size:
            return True
        self._size = file.st_size
        return False
