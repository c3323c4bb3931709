"""Copies of a shop's records that have been checked before they count, and how long each is kept."""

import errno
import os
import re
import sqlite3
import tempfile
from collections.abc import Callable, Iterable
from contextlib import closing
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from pathlib import Path

from app.shop.reasons import Reason
from app.shop.store.integrity import examine

AUTOMATIC = "auto"
BY_HAND = "by-hand"
RESCUED = "rescued"

ALL_FOR = timedelta(days=2)
DAILY_FOR = timedelta(days=35)
MONTHLY_FOR = timedelta(days=800)
"""Every automatic copy is kept for two days, then one a day for five weeks, then one a month for two years."""

UNFINISHED = ".evenbore-"
"""How the name of a file begins that is not whole yet."""

JOURNALS = ("-wal", "-shm", "-journal")

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


@dataclass(frozen=True, slots=True)
class EarlierCopies:
    """How many ``files`` in a shop's ``folder`` hold its records as they once were, backups and sets put aside."""

    folder: Path
    files: int


def earlier_copies(shop_folder: Path) -> EarlierCopies:
    """The files in the folder of a shop that keep what is taken out of its records. Others are not known of."""
    aside = (shop_folder / "set-aside").glob("*/shop.db")
    return EarlierCopies(shop_folder, len(listed(folder_of(shop_folder))) + len(list(aside)))


def unfinished_beside(target: Path) -> Path:
    """A new file for what grows into ``target``, of a name that no person's file has; for its owner only."""
    handle, made = tempfile.mkstemp(prefix=UNFINISHED, dir=target.parent)
    os.close(handle)
    return Path(made)


def unfinished(shop_folder: Path) -> list[Path]:
    """What a copy, a restore or a start that was cut off left in the folder of a shop, by this program or an older."""
    copies = folder_of(shop_folder)
    found = [*shop_folder.glob(f"{UNFINISHED}*"), *copies.glob(f"{UNFINISHED}*"), *copies.glob("*.part")]
    if (old := shop_folder / "shop.part").exists():
        found.append(old)
    return sorted(file for file in found if not file.name.endswith(JOURNALS))


def put_in_place(whole: Path, target: Path) -> None:
    """Give ``whole`` the name ``target``, which nothing may have yet. Raises FileExistsError."""
    try:
        os.link(whole, target)  # no other call sees to it that nothing is replaced
        whole.unlink()
    except FileExistsError:
        raise
    except OSError as error:  # a memory stick gives a file no second name
        if target.exists():
            raise FileExistsError(errno.EEXIST, os.strerror(errno.EEXIST), str(target)) from error
        whole.replace(target)
    sync_folder(target.parent)


def copy(fill: Callable[[sqlite3.Connection], object], target: Path) -> None:
    """Copy the records to ``target``, which appears only when it is whole, opened and checked, and on the disk.

    ``fill`` is the backup of a connection to them: copying the file by hand would leave out what is still in its
    journal. The copy is of one moment, whatever is written meanwhile. Raises sqlite3.DatabaseError or OSError, and
    leaves nothing at ``target`` then.
    """
    unproved = unfinished_beside(target)
    try:
        with closing(sqlite3.connect(unproved)) as made:
            fill(made)  # all pages in one step, so under one lock
            made.execute("PRAGMA journal_mode=DELETE")  # one file, with no journal that could be left behind
        damage = examine(unproved).damage
        if damage is not None:
            raise DamagedCopyError(damage)
        sync_file(unproved)
        put_in_place(unproved, target)
    finally:
        for part in (unproved, *(unproved.with_name(unproved.name + end) for end in JOURNALS)):
            part.unlink(missing_ok=True)
