"""Backups made by hand and automatically, and restoring one.

``back_up`` works beside a running program. ``restore`` needs the shop closed, and replaces no records without moving
them to another folder first.
"""

import os
import shutil
import sqlite3
import threading
from collections.abc import Callable, Iterator
from contextlib import closing, contextmanager, suppress
from datetime import datetime, timedelta
from pathlib import Path

from app.shop.reasons import Reason, because
from app.shop.store import copies
from app.shop.store.both.upkeep import ToldOnce, meanwhile
from app.shop.store.codes import Noticed, Unavailable
from app.shop.store.database import FileDatabase, ShopUnavailableError, file_errors, fold_journal
from app.shop.store.folder.owner import keep_from_others
from app.shop.store.integrity import examine, read_only
from app.shop.store.proof.nightly import NightlyProof
from app.shop.store.upgrade import make_empty

EVERY = timedelta(hours=4)
"""How often the shop is copied unasked while the program runs. A copy takes milliseconds."""

LOOK_AGAIN_SECONDS = 60.0
"""How often it is asked whether a copy is due: a computer that slept has lost count of its hours."""

BESIDE = ("-wal", "-shm")


class RestoreError(ShopUnavailableError):
    """The copy cannot be put in place. Nothing was changed."""


def back_up(shop_folder: Path, target: Path) -> Path:
    """Copy the shop in ``shop_folder`` to ``target``, whether or not the program is running, and return the target.

    Raises ShopUnavailableError, and leaves nothing at ``target`` then.
    """
    file = shop_folder / "shop.db"
    if not file.exists():
        raise ShopUnavailableError(because(Unavailable.NO_SHOP, folder=shop_folder))
    if target.exists():
        raise ShopUnavailableError(because(Unavailable.BACKUP_EXISTS, file=target))
    if shop_folder in target.parents and not os.access(shop_folder, os.W_OK):
        raise ShopUnavailableError(because(Unavailable.BACKUP_ELSEWHERE, folder=shop_folder))
    with closing(read_only(file)) as source:
        return _copied(source.backup, target)


def rescue(shop: FileDatabase, now: datetime) -> Path:
    """Copy an open shop whose file is gone from its folder to where its copies are. Raises ShopUnavailableError."""
    return _copied(shop.copy_into, copies.named(copies.folder_of(shop.folder), copies.RESCUED, now))


def _copied(fill: Callable[[sqlite3.Connection], object], target: Path) -> Path:
    try:
        target.parent.mkdir(mode=0o700, parents=True, exist_ok=True)
        with file_errors():
            copies.copy(fill, target)
    except copies.DamagedCopyError as error:
        raise _not_backed_up(target, error.damage) from error
    except (sqlite3.DatabaseError, OSError) as error:
        if isinstance(error, FileExistsError) and target.exists():
            raise ShopUnavailableError(because(Unavailable.BACKUP_EXISTS, file=target)) from error
        found = because(Unavailable.SYSTEM_MESSAGE, text=getattr(error, "strerror", None) or str(error))
        raise _not_backed_up(target, found) from error
    return target


def _not_backed_up(target: Path, found: Reason) -> ShopUnavailableError:
    # The folder, not the file: an automatic backup that fails again under another name is the same failure.
    return ShopUnavailableError(because(Unavailable.BACKUP_FAILED, folder=target.parent, found=found))


def restore(shop_folder: Path, copy: Path | None, now: datetime) -> Path | None:
    """Put ``copy`` in the place of the shop, or an empty shop when it is None.

    Returns the folder that holds what was there before, None when there was nothing. Raises ShopTakenError while the
    program runs, RestoreError when the copy is not a sound shop; nothing was changed then.
    """
    if copy is not None:
        if not copy.is_file():
            raise RestoreError(because(Unavailable.NO_BACKUP_FILE, file=copy))
        with file_errors():
            damage = examine(copy).damage
        if damage is not None:
            raise RestoreError(because(Unavailable.BACKUP_DAMAGED, file=copy, found=damage))
    try:
        shop_folder.mkdir(mode=0o700, parents=True, exist_ok=True)
        shop = FileDatabase(shop_folder)
        try:
            return _put(shop, copy, now)
        finally:
            shop.release()
    except OSError as error:
        found = because(Unavailable.SYSTEM_MESSAGE, text=str(error))
        raise ShopUnavailableError(because(Unavailable.RESTORE_FAILED, found=found)) from error


def _put(shop: FileDatabase, copy: Path | None, now: datetime) -> Path | None:
    coming = copies.unfinished_beside(shop.file)
    try:
        if copy is None:
            coming.unlink()
            make_empty(coming)
        else:
            shutil.copyfile(copy, coming)
        copies.sync_file(coming)
        aside = _set_aside(shop, now)
        for journal in _journals(shop):  # one that is left would be read as if it belonged to the copy
            journal.unlink(missing_ok=True)
        coming.replace(shop.file)
    finally:
        coming.unlink(missing_ok=True)
    copies.sync_folder(shop.folder)
    return aside


def _set_aside(shop: FileDatabase, now: datetime) -> Path | None:
    """Copy what is there to a folder of its own; None where nothing is."""
    present = [file for file in (shop.file, *_journals(shop)) if file.exists()]
    if not present:
        return None
    aside = shop.folder / "set-aside" / f"{now:{copies.TIME}}"
    aside.mkdir(mode=0o700, parents=True)
    for file in present:
        copies.sync_file(Path(shutil.copyfile(file, aside / file.name)))
    keep_from_others(shop.folder)
    copies.sync_folder(aside)
    for folder in (aside.parent, shop.folder):
        copies.sync_folder(folder)
    with suppress(sqlite3.DatabaseError):  # a damaged shop has nothing to fold; all of it is aside already
        # so that a power cut between taking the journal away and putting the copy in place leaves the old shop whole
        fold_journal(shop.file)
    return aside


def _journals(shop: FileDatabase) -> list[Path]:
    return [shop.file.with_name(shop.file.name + end) for end in BESIDE]


def copy_is_due(shop_folder: Path, now: datetime) -> bool:
    """Whether the newest automatic copy is old. One from the future, after a clock was put back, does not count."""
    return not any(
        timedelta(0) <= now - copy.at < EVERY
        for copy in copies.listed(copies.folder_of(shop_folder))
        if copy.kind == copies.AUTOMATIC
    )


def keep_one(shop_folder: Path, now: datetime) -> Path:
    """Make an automatic copy, then let go of those that have had their day. Raises ShopUnavailableError."""
    folder = copies.folder_of(shop_folder)
    made = back_up(shop_folder, copies.named(folder, copies.AUTOMATIC, now))
    copies.prune(folder, now)
    return made


@contextmanager
def copying(shop: FileDatabase, clock: Callable[[], datetime], tell: Callable[[Reason], None]) -> Iterator[None]:
    """Make automatic copies until the block is left, and a last one then of what was written since; once a night every
    row is proved.

    A file that is gone from its folder is rescued instead. Why a copy failed is told once, and it is tried again.
    """
    keeper = _Keeper(shop, clock, tell)

    def keep(stop: threading.Event) -> None:
        while True:
            keeper.look()
            keeper.prove(stop.is_set)
            if stop.wait(LOOK_AGAIN_SECONDS):
                return

    try:
        with meanwhile("copies", keep):
            yield
    finally:
        keeper.look(last=True)


class _Keeper:
    """Makes the copies of one run of the program, and tells why one failed."""

    def __init__(self, shop: FileDatabase, clock: Callable[[], datetime], tell: Callable[[Reason], None]) -> None:
        self._shop = shop
        self._clock = clock
        self._tell = tell
        self._copied = shop.writes
        self._told = ToldOnce(tell)
        self._rescued = False
        self._nightly = NightlyProof(shop, clock, tell, lambda found: because(Noticed.DAMAGE_FOUND, found=found))

    def look(self, *, last: bool = False) -> None:
        """Make the copy that is due, if one is; with ``last`` one of whatever is in no copy yet."""
        try:
            if not self._shop.still_there():
                self._rescue()
                return
            writes, now = self._shop.writes, self._clock()
            if writes != self._copied if last else copy_is_due(self._shop.folder, now):
                keep_one(self._shop.folder, now)
                self._copied = writes
                self._told.over()
        except ShopUnavailableError as error:
            self._told.trouble(error.reason)

    def prove(self, stopped: Callable[[], bool]) -> None:
        """Prove every row where that was not done since the last night, and tell what is wrong."""
        untouched = self._shop.writes == self._copied
        try:
            proof = self._nightly.look(stopped)
        except ShopUnavailableError as error:
            self._told.trouble(error.reason)
            return
        if untouched and proof is not None:
            self._copied += 1  # nothing but the proof itself was written: that asks for no copy of its own

    def _rescue(self) -> None:
        if not self._rescued:
            saved = rescue(self._shop, self._clock())
            self._rescued = True
            told = because(Noticed.RESCUED, file=saved)
            self._shop.noticed.append(told)
            self._tell(told)
