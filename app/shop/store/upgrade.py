"""From a folder to a shop that is checked, copied and up to date: the only place that makes or changes tables.

The order is the point. Take the lock; look at the file without changing it; copy it if a migration is due; migrate in
one transaction with foreign keys off, because with them on a rebuilt parent table takes its children along; count rows
and check foreign keys before the commit. Whatever fails, the file stays as it was and nothing is deleted.
"""

import shlex
import sqlite3
from collections.abc import Iterator
from contextlib import closing, contextmanager, suppress
from datetime import UTC, datetime
from pathlib import Path

from alembic import command
from alembic.config import Config
from alembic.script import ScriptDirectory
from sqlalchemy import URL, Connection, NullPool, create_engine, event

from app.places import migrations
from app.shop.reasons import Reason, because
from app.shop.store import copies, row_hashes
from app.shop.store.codes import Damage, Noticed, Unavailable
from app.shop.store.database import FileDatabase, ShopUnavailableError, file_errors, fold_journal
from app.shop.store.folder.journal import Ending, ending
from app.shop.store.folder.owner import keep_from_others
from app.shop.store.integrity import APPLICATION_ID, Findings, examine, keys_not_in, newest_entry, read_only
from app.shop.store.proof import proving

NOTE_SECONDS = 1.0
"""How long a start waits to note what it proved, where another program writes to the file."""


class DamagedShopError(ShopUnavailableError):
    """The file is not a sound shop; it stays as it is.

    ``found`` is what is wrong, ``newest`` the newest sound backup, and ``command`` restores that one or, where there is
    none, starts an empty shop.
    """

    def __init__(self, shop: FileDatabase, found: Reason) -> None:
        self.found = found
        self.folder = shop.folder
        self.newest = newest_sound(shop.folder)
        restore = ["evenbore", "restore", "--data", str(shop.folder)]
        empty = shlex.join([*restore, "--empty"])
        self.command = shlex.join([*restore, str(self.newest.file)]) if self.newest else empty
        if self.newest is None:
            reason = because(Unavailable.DAMAGED_WITHOUT_BACKUP, file=shop.file, found=found, command=self.command)
        elif found.code is Damage.FILE_GONE:
            at = self.newest.at
            reason = because(Unavailable.MISSING, file=shop.file, at=at, command=self.command, empty=empty)
        else:
            at = self.newest.at
            reason = because(Unavailable.DAMAGED, file=shop.file, found=found, at=at, command=self.command)
        super().__init__(reason)


class NewerShopError(ShopUnavailableError):
    """The records were written by a later version of this program."""


class UpgradeFailedError(ShopUnavailableError):
    """A migration failed and was rolled back whole."""


def open_shop(folder: Path, scripts: Path | None = None) -> FileDatabase:
    """Open the shop in ``folder``, made or brought up to date first if need be.

    Parameters: ``folder``, made when missing; ``scripts``, the migrations to use (the program's own by default).
    Raises a ShopUnavailableError whose reason says what is wrong.
    """
    try:
        folder.mkdir(mode=0o700, parents=True, exist_ok=True)  # the records name customers
    except OSError as error:
        why = error.strerror or str(error)
        raise ShopUnavailableError(because(Unavailable.FOLDER_NOT_CREATED, folder=folder, why=why)) from error
    shop = FileDatabase(folder)
    try:
        ended = ending(shop.file)
        with file_errors():
            _bring_up_to_date(shop, scripts or migrations())
            shop.noticed = at_start(shop.folder, shop.file, ended)
    except OSError as error:
        shop.release()
        raise ShopUnavailableError(because(Unavailable.NOT_OPENED, folder=folder, why=str(error))) from error
    except BaseException:
        shop.release()
        raise
    return shop


def _bring_up_to_date(shop: FileDatabase, scripts: Path) -> None:
    config = _config(scripts)
    directory = ScriptDirectory.from_config(config)
    newest = directory.get_current_head()
    if not shop.file.exists():
        _make(shop, config)
        return
    found = _examined(shop)
    present = found.revision
    if present not in {script.revision for script in directory.walk_revisions()}:
        folder = shop.folder
        raise NewerShopError(because(Unavailable.NEWER_PROGRAM, folder=folder, present=present, known=newest))
    if present != newest:
        kept = _keep_copy(shop, present)
        with _failing_as(Unavailable.UPGRADE_FAILED, file=shop.file, backup=kept):
            migrate(shop.file, config)
        _note(shop, _examined(shop))
    elif found.proof.fresh:
        _note(shop, found)


def _make(shop: FileDatabase, config: Config) -> None:
    """A new shop grows under another name, so that a power cut cannot leave half of one."""
    journal = shop.file.with_name(shop.file.name + "-wal")
    if journal.exists() and journal.stat().st_size:
        raise DamagedShopError(shop, because(Damage.JOURNAL_ONLY, journal=journal.name))
    if copies.listed(copies.folder_of(shop.folder)):
        raise DamagedShopError(shop, because(Damage.FILE_GONE))
    growing = copies.unfinished_beside(shop.file)
    try:
        with _failing_as(Unavailable.NOT_CREATED, folder=shop.folder):
            migrate(growing, config)
        copies.sync_file(growing)
        copies.put_in_place(growing, shop.file)
    finally:
        growing.unlink(missing_ok=True)


def make_empty(file: Path) -> None:
    """Make an empty shop in ``file``."""
    migrate(file, _config(migrations()))


def _config(scripts: Path) -> Config:
    config = Config()
    config.set_main_option("script_location", str(scripts).replace("%", "%%"))
    return config


def _examined(shop: FileDatabase) -> Findings:
    """What is known of a file that passed every check; rows that were proved before are not proved again."""
    found = examine(shop.file, since=True)
    if found.damage is not None:
        raise DamagedShopError(shop, found.damage)
    return found


def _note(shop: FileDatabase, found: Findings) -> None:
    """Keep how far the rows are proved. Where the file takes nothing now, the next start proves them again."""
    with suppress(sqlite3.OperationalError), closing(sqlite3.connect(shop.file, timeout=NOTE_SECONDS)) as file, file:
        proving.note(file, found.proof, datetime.now(UTC))


def newest_sound(folder: Path) -> copies.Copy | None:
    """The newest copy of a shop that passes every check, if there is one."""
    for copy in copies.listed(copies.folder_of(folder)):
        with suppress(OSError, sqlite3.Error):
            if examine(copy.file).damage is None:
                return copy
    return None


def _keep_copy(shop: FileDatabase, revision: str) -> Path:
    folder = copies.folder_of(shop.folder)
    folder.mkdir(mode=0o700, exist_ok=True)
    target = copies.named(folder, f"shop-at-{revision}", datetime.now(UTC))
    with closing(sqlite3.connect(shop.file)) as connection:
        copies.copy(connection.backup, target)
    return target


def at_start(folder: Path, file: Path, ended: Ending) -> list[Reason]:
    """Fold the journal of a shop that is up to date, and return what the people of the shop are to know of its files.

    ``ended`` is how the last run did. Nothing that a person has to decide on is changed.
    """
    found = [] if fold_journal(file) else [because(Noticed.FILE_HELD)]
    if ended.left:
        with closing(read_only(file)) as shop:
            found.append(because(Noticed.JOURNAL_CUT if ended.cut else Noticed.NOT_CLOSED, at=newest_entry(shop)))
    if (more := _copy_with_more(folder, file)) is not None:
        copy, rows = more
        command = shlex.join(["evenbore", "restore", "--data", str(folder), str(copy.file)])
        found.append(because(Noticed.BACKUP_HAS_MORE, count=rows, at=copy.at, command=command))
    if left := copies.unfinished(folder):
        found.append(because(Noticed.UNFINISHED, files=tuple(map(str, left))))
    if not keep_from_others(folder):
        found.append(because(Noticed.OPEN_TO_OTHERS, folder=folder))
    return found


def _copy_with_more(folder: Path, file: Path) -> tuple[copies.Copy, int] | None:
    """The newest copy where it holds rows that the shop in ``file`` does not, and how many; None where it does not.

    A copy takes long to examine, so that only one with more is; one that is not sound does not count.
    """
    for copy in copies.listed(copies.folder_of(folder)):
        with suppress(OSError, sqlite3.Error):
            with closing(read_only(copy.file)) as connection:
                rows = keys_not_in(connection, file)
            if not rows:
                return None
            if examine(copy.file).damage is None:
                return copy, rows
    return None


@contextmanager
def _failing_as(code: Unavailable, **values: Path) -> Iterator[None]:
    try:
        with file_errors():
            yield
    except ShopUnavailableError:
        raise
    except Exception as error:
        raise UpgradeFailedError(because(code, why=str(error), **values)) from error


def migrate(file: Path, config: Config) -> None:
    """Run the migrations that ``file`` lacks, all of them or none.

    Raises whatever a migration raised, or RuntimeError when rows went missing or point nowhere; the file is then as it
    was.
    """
    engine = create_engine(URL.create("sqlite", database=str(file)), poolclass=NullPool)
    event.listen(engine, "connect", _prepare)
    event.listen(engine, "begin", _begin)
    with engine.begin() as connection:
        before = _row_counts(connection)
        config.attributes["connection"] = connection
        command.upgrade(config, "head")
        connection.exec_driver_sql(f"PRAGMA application_id={APPLICATION_ID}")
        after = _row_counts(connection)
        lost = sorted(table for table, rows in before.items() if after.get(table, 0) < rows)
        if lost:
            raise RuntimeError(f"rows went missing from {', '.join(lost)}")
        loose = connection.exec_driver_sql("PRAGMA foreign_key_check").all()
        if loose:
            raise RuntimeError(f"rows of {', '.join(sorted({row[0] for row in loose}))} point nowhere")
        driver = connection.connection.driver_connection
        assert isinstance(driver, sqlite3.Connection)
        if broken := row_hashes.check(driver).broken:
            raise RuntimeError(
                f"rows of {', '.join(sorted({table for table, _ in broken}))} do not match their row hashes"
            )


def _row_counts(connection: Connection) -> dict[str, int]:
    """Rows of every table of records. The search index is made from them, and SQLite rearranges its rows at will."""
    query = "SELECT name FROM sqlite_schema WHERE type = 'table' AND name NOT LIKE 'search\\_%' ESCAPE '\\'"
    names = connection.exec_driver_sql(query).scalars().all()
    return {name: connection.exec_driver_sql(f'SELECT count(*) FROM "{name}"').scalar_one() for name in names}


def _prepare(connection: sqlite3.Connection, _record: object) -> None:
    connection.isolation_level = None  # the driver's own commits before DDL would make a rollback partial
    connection.execute("PRAGMA foreign_keys=OFF")  # inside a transaction it does nothing
    connection.execute("PRAGMA synchronous=FULL")
    connection.execute("PRAGMA secure_delete=ON")


def _begin(connection: Connection) -> None:
    connection.exec_driver_sql("BEGIN IMMEDIATE")
