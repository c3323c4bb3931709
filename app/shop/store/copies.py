"""Copies of a shop's records that have been checked before they count, and how long each is kept."""

import os
import re
import sqlite3
from collections.abc import Iterable
from contextlib import closing
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from pathlib import Path

from app.shop.reasons import Reason
from app.shop.store.integrity import examine

AUTOMATIC = "auto"
BY_HAND = "by-hand"

ALL_FOR = timedelta(days=2)
DAILY_FOR = timedelta(days=35)
MONTHLY_FOR = timedelta(days=800)
"""Every automatic copy is kept for two days, then one a day for five weeks, then one a month for two years."""

NAMED = re.compile(r"(?P<kind>.+)-(?P<at>\d{8}T\d{12}Z)\.db")
TIME = "%Y%m%dT%H%M%S%fZ"


class DamagedCopyError(sqlite3.DatabaseError):
    """What was copied is not a sound shop. ``damage`` says what is wrong with it."""

    def __init__(self, damage: Reason) -> None:
        super().__init__(str(damage))
        self.damage = damage


@dataclass(frozen=True, slots=True)
class Copy:
    """A copy that is kept: ``kind`` says what it was made for, ``at`` when."""

    file: Path
    kind: str
    at: datetime

    @property
    def size(self) -> int:
        """In bytes. Raises OSError when it was taken away."""
        return self.file.stat().st_size


def folder_of(shop_folder: Path) -> Path:
    """Where a shop's copies are kept. It need not exist yet."""
    return shop_folder / "copies"


def listed(folder: Path) -> list[Copy]:
    """The copies in ``folder``, newest first. Files that are not named like one are none of ours."""
    found = []
    for file in folder.glob("*.db"):
        if named := NAMED.fullmatch(file.name):
            found.append(Copy(file, named["kind"], datetime.strptime(named["at"], TIME).replace(tzinfo=UTC)))
    return sorted(found, key=lambda copy: copy.at, reverse=True)


def named(folder: Path, kind: str, at: datetime) -> Path:
    """The file that a copy made at ``at`` goes into."""
    return folder / f"{kind}-{at.astimezone(UTC):{TIME}}.db"


def expired(times: Iterable[datetime], now: datetime) -> set[datetime]:
    """The times whose automatic copies have had their day.

    Of each day, and later of each month, the newest is kept; and so is the newest of all, however old. A copy from the
    future, which a clock put back leaves behind, is kept until its time has come.
    """
    newest_first = sorted(times, reverse=True)
    spent: set[tuple[int, ...]] = set()
    gone: set[datetime] = set()
    for at in newest_first:
        age = now - at
        if age <= ALL_FOR or at == newest_first[0]:
            continue
        day = (at.year, at.month, at.day)
        slot = day if age <= DAILY_FOR else day[:2]
        if slot in spent or age > MONTHLY_FOR:
            gone.add(at)
        spent.add(slot)
    return gone


def prune(folder: Path, now: datetime) -> list[Path]:
    """Delete the automatic copies that have had their day, and return their files. Others are left to people."""
    automatic = [copy for copy in listed(folder) if copy.kind == AUTOMATIC]
    gone = expired([copy.at for copy in automatic], now)
    deleted = [copy.file for copy in automatic if copy.at in gone]
    for file in deleted:
        file.unlink(missing_ok=True)
    return deleted


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
    """Copy the records to ``target``, which appears only when it is whole, opened and checked, and on the disk.

    Copying the file by hand would leave out what is still in its journal. The copy is of one moment, whatever is
    written meanwhile. Raises sqlite3.DatabaseError or OSError, and leaves nothing at ``target`` then.
    """
    unproved = target.with_suffix(".part")
    unproved.unlink(missing_ok=True)
    try:
        with closing(sqlite3.connect(unproved)) as made:
            source.backup(made)  # all pages in one step, so under one lock
            made.execute("PRAGMA journal_mode=DELETE")  # one file, with no journal that could be left behind
        damage = examine(unproved).damage
        if damage is not None:
            raise DamagedCopyError(damage)
        sync_file(unproved)
        unproved.replace(target)
        sync_folder(target.parent)
    finally:
        unproved.unlink(missing_ok=True)
