"""Copies of a shop's records that have been checked before they count."""

import os
import sqlite3
from contextlib import closing
from pathlib import Path


def integrity(connection: sqlite3.Connection) -> str:
    """``ok``, or what SQLite finds wrong with the file. Raises sqlite3.DatabaseError when it cannot even be read."""
    return "; ".join(str(row[0]) for row in connection.execute("PRAGMA integrity_check"))


def sync_folder(folder: Path) -> None:
    """Have the disk keep a rename in ``folder``. Windows has no such call and needs none."""
    if os.name == "nt":
        return
    handle = os.open(folder, os.O_RDONLY)
    try:
        os.fsync(handle)
    finally:
        os.close(handle)


def sync_file(file: Path) -> None:
    """Have the disk keep what was written to ``file``."""
    with file.open("rb+") as handle:
        os.fsync(handle.fileno())


def copy(source: sqlite3.Connection, target: Path) -> None:
    """Copy the records to ``target``, which appears only when it is whole, checked and on the disk.

    Copying the file by hand would leave out what is still in its journal. No write may go on meanwhile: the caller
    holds them off. Raises sqlite3.DatabaseError or OSError, and leaves nothing at ``target`` then.
    """
    unproved = target.with_suffix(".part")
    unproved.unlink(missing_ok=True)
    try:
        with closing(sqlite3.connect(unproved)) as made:
            source.backup(made)
            made.execute("PRAGMA journal_mode=DELETE")  # one file, with no journal that could be left behind
            found = integrity(made)
        if found != "ok":
            raise sqlite3.DatabaseError(f"the copy is not whole: {found}")
        sync_file(unproved)
        unproved.replace(target)
        sync_folder(target.parent)
    finally:
        unproved.unlink(missing_ok=True)
