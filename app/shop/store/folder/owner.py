"""Keeps a shop's files from other users of the computer."""

import os
from collections.abc import Iterator
from contextlib import suppress
from pathlib import Path

FILES = ("shop.db", "shop.db-wal", "shop.db-shm", "shop.lock", "traces.db")
FOLDERS = ("copies", "set-aside", "https")
OTHERS = 0o077
"""The rights of everybody but the owner, as POSIX counts them."""


def keep_from_others(folder: Path) -> bool:
    """Take the rights of others to ``folder`` and what is ours in it. False where some are left.

    A folder that holds other files too keeps its rights. Windows keeps user data apart by itself.
    """
    if os.name == "nt":
        return True
    parts = list(_ours(folder))
    if {part.name for part in folder.iterdir()} <= {part.name for part in parts}:
        parts.append(folder)
    for part in parts:
        with suppress(OSError):
            mode = part.stat().st_mode
            if mode & OTHERS:
                part.chmod(mode & ~OTHERS)
    return not any(open_to_others(part) for part in (folder, *parts))


def open_to_others(file: Path) -> bool:
    """Whether another user of this computer has any right to a file or folder."""
    return os.name != "nt" and file.exists() and bool(file.stat().st_mode & OTHERS)


def _ours(folder: Path) -> Iterator[Path]:
    yield from (folder / name for name in FILES if (folder / name).exists())
    yield from folder.glob(".evenbore-*")
    for name in FOLDERS:
        if (folder / name).is_dir():
            yield folder / name
            yield from (folder / name).rglob("*")
