"""Copies made on purpose and by themselves, and the way back from one.

``back_up`` works beside a running program. ``restore`` wants the shop to itself, and never writes over a shop without
having put what was there aside first.
"""

import shutil
import sqlite3
import threading
from collections.abc import Callable, Iterator
from contextlib import closing, contextmanager
from datetime import datetime, timedelta
from pathlib import Path

from app.shop.store import copies
from app.shop.store.database import Database, ShopUnavailableError, plain_words
from app.shop.store.integrity import examine, read_only

EVERY = timedelta(hours=4)
"""How often the shop is copied by itself while the program runs. A copy takes milliseconds."""

LOOK_AGAIN_SECONDS = 60.0
"""How often it is asked whether a copy is due: a computer that slept has lost count of its hours."""

JOURNALS = ("-wal", "-shm")


class RestoreError(ShopUnavailableError):
    """The copy cannot be put in place. Nothing was changed."""


def back_up(shop_folder: Path, target: Path) -> Path:
    """Copy the shop in ``shop_folder`` to ``target``, whether or not the program is running, and return the target.

    Raises ShopUnavailableError, in plain words, and leaves nothing at ``target`` then.
    """
    file = shop_folder / "shop.db"
    if not file.exists():
        raise ShopUnavailableError(f"There is no shop in {shop_folder}. Name its folder with --data.")
    if target.exists():
        raise ShopUnavailableError(f"{target} is there already, and nothing is written over it. Choose another name.")
    try:
        target.parent.mkdir(parents=True, exist_ok=True)
        with plain_words(), closing(read_only(file)) as source:
            copies.copy(source, target)
    except sqlite3.DatabaseError as error:
        raise ShopUnavailableError(f"No copy was made: {error}.") from error
    except OSError as error:
        raise ShopUnavailableError(f"No copy was made in {target.parent}: {error.strerror or error}.") from error
    return target


def restore(shop_folder: Path, copy: Path | None, now: datetime) -> Path | None:
    """Put ``copy`` in the place of the shop, or nothing at all when it is None, so that the next start makes a new one.

    Returns the folder that holds what was there before, None when there was nothing. Raises ShopTakenError while the
    program runs, RestoreError when the copy is not a whole shop; nothing was changed then.
    """
    if copy is not None:
        if not copy.is_file():
            raise RestoreError(f"There is no file {copy}. Nothing was changed.")
        with plain_words():
            found = examine(copy).wrong
        if found:
            raise RestoreError(f"{copy} is not a whole shop: {found}. Nothing was changed.")
    try:
        shop_folder.mkdir(parents=True, exist_ok=True)
        shop = Database(shop_folder)
        try:
            return _put(shop, copy, now)
        finally:
            shop.release()
    except OSError as error:
        raise ShopUnavailableError(f"The copy could not be put in place: {error}.") from error


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
def copying(shop_folder: Path, clock: Callable[[], datetime], tell: Callable[[str], None]) -> Iterator[None]:
    """Make automatic copies until the block is left. What goes wrong is told once, and tried again."""
    stop = threading.Event()

    def keep() -> None:
        told = ""
        while True:
            try:
                if copy_is_due(shop_folder, clock()):
                    keep_one(shop_folder, clock())
                    told = ""
            except ShopUnavailableError as error:
                if str(error) != told:
                    tell(str(error))
                    told = str(error)
            if stop.wait(LOOK_AGAIN_SECONDS):
                return

    thread = threading.Thread(target=keep, name="copies", daemon=True)
    thread.start()
    try:
        yield
    finally:
        stop.set()
        thread.join()
