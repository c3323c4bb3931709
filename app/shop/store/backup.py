"""Backups made by hand and automatically, and restoring one.

``back_up`` works beside a running program. ``restore`` needs the shop closed, and replaces no records without moving
them to another folder first.
"""

import shutil
import sqlite3
import threading
from collections.abc import Callable, Iterator
from contextlib import closing, contextmanager
from datetime import datetime, timedelta
from pathlib import Path

from app.shop.reasons import Reason, because
from app.shop.store import copies
from app.shop.store.codes import Unavailable
from app.shop.store.database import Database, ShopUnavailableError, file_errors
from app.shop.store.integrity import examine, read_only

EVERY = timedelta(hours=4)
"""How often the shop is copied unasked while the program runs. A copy takes milliseconds."""

LOOK_AGAIN_SECONDS = 60.0
"""How often it is asked whether a copy is due: a computer that slept has lost count of its hours."""

JOURNALS = ("-wal", "-shm")


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
    try:
        target.parent.mkdir(parents=True, exist_ok=True)
        with file_errors(), closing(read_only(file)) as source:
            copies.copy(source, target)
    except copies.DamagedCopyError as error:
        raise _not_backed_up(target, error.damage) from error
    except (sqlite3.DatabaseError, OSError) as error:
        found = because(Unavailable.SYSTEM_MESSAGE, text=getattr(error, "strerror", None) or str(error))
        raise _not_backed_up(target, found) from error
    return target


def _not_backed_up(target: Path, found: Reason) -> ShopUnavailableError:
    # The folder, not the file: an automatic backup that fails again under another name is the same failure.
    return ShopUnavailableError(because(Unavailable.BACKUP_FAILED, folder=target.parent, found=found))


def restore(shop_folder: Path, copy: Path | None, now: datetime) -> Path | None:
    """Put ``copy`` in the place of the shop, or nothing at all when it is None, so that the next start makes a new one.

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
        shop_folder.mkdir(parents=True, exist_ok=True)
        shop = Database(shop_folder)
        try:
            return _put(shop, copy, now)
        finally:
            shop.release()
    except OSError as error:
        found = because(Unavailable.SYSTEM_MESSAGE, text=str(error))
        raise ShopUnavailableError(because(Unavailable.RESTORE_FAILED, found=found)) from error


def _put(shop: Database, copy: Path | None, now: datetime) -> Path | None:
    coming = shop.file.with_suffix(".part")
    if copy is not None:
        shutil.copyfile(copy, coming)
        copies.sync_file(coming)
    present = [file for file in (shop.file, *_journals(shop)) if file.exists()]
    aside = None
    if present:
        aside = shop.folder / "set-aside" / f"{now:{copies.TIME}}"
        aside.mkdir(parents=True)
        for file in present:
            copies.sync_file(Path(shutil.copyfile(file, aside / file.name)))
        copies.sync_folder(aside)
        for folder in (aside.parent, shop.folder):
            copies.sync_folder(folder)
        _fold_journal(shop)
    for journal in _journals(shop):  # one that is left would be read as if it belonged to the copy
        journal.unlink(missing_ok=True)
    if copy is None:
        shop.file.unlink(missing_ok=True)
    else:
        coming.replace(shop.file)
    copies.sync_folder(shop.folder)
    return aside


def _journals(shop: Database) -> list[Path]:
    return [shop.file.with_name(shop.file.name + end) for end in JOURNALS]


def _fold_journal(shop: Database) -> None:
    """So that a power cut between taking the journal away and putting the copy in place leaves the old shop whole."""
    try:
        with closing(sqlite3.connect(shop.file)) as connection:
            connection.execute("PRAGMA wal_checkpoint(TRUNCATE)")
    except sqlite3.DatabaseError:
        pass  # a damaged shop has nothing to fold; all of it is aside already


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
def copying(shop_folder: Path, clock: Callable[[], datetime], tell: Callable[[Reason], None]) -> Iterator[None]:
    """Make automatic copies until the block is left. Why one failed is told once, and it is tried again."""
    stop = threading.Event()

    def keep() -> None:
        told: Reason | None = None
        while True:
            try:
                if copy_is_due(shop_folder, clock()):
                    keep_one(shop_folder, clock())
                    told = None
            except ShopUnavailableError as error:
                if error.reason != told:
                    tell(error.reason)
                    told = error.reason
            if stop.wait(LOOK_AGAIN_SECONDS):
                return

    thread = threading.Thread(target=keep, name="copies", daemon=True)
    thread.start()
    try:
        yield
    finally:
        stop.set()
        thread.join()
