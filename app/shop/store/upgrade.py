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
from app.shop.store import copies, row_hashes
from app.shop.store.database import Database, ShopUnavailableError, plain_words
from app.shop.store.integrity import APPLICATION_ID, examine


class DamagedShopError(ShopUnavailableError):
    """The file is not a whole shop. The message says how to go on; the file stays as it is."""

    def __init__(self, shop: Database, found: str) -> None:
        self.found = found
        self.folder = shop.folder
        self.newest = _newest_whole(shop.folder)
        data = f"--data {shlex.quote(str(shop.folder))}"
        if self.newest is not None:
            way_out = f"To go on with the copy of {self.newest.at:%d %B %Y, %H:%M} UTC, type"
            self.command = f"evenbore restore {data} {shlex.quote(str(self.newest.file))}"
        else:
            way_out = "No whole copy was found. To start with an empty shop, type"
            self.command = f"evenbore restore {data} --empty"
        super().__init__(
            f"{shop.file} is not a whole shop: {found}. It was left as it is, and will be put aside, not thrown away. "
            f"{way_out}: {self.command}"
        )


class NewerShopError(ShopUnavailableError):
    """The records were written by a later version of this program."""


class UpgradeFailedError(ShopUnavailableError):
    """A migration failed and was rolled back whole."""


def open_shop(folder: Path, scripts: Path | None = None) -> Database:
    """Open the shop in ``folder``, made or brought up to date first if need be.

    Parameters: ``folder``, made when missing; ``scripts``, the migrations to use (the program's own by default).
    Raises a ShopUnavailableError that says in plain words what is the matter and how to go on.
    """
    try:
        folder.mkdir(mode=0o700, parents=True, exist_ok=True)  # whose engine is whose is nobody else's business
    except OSError as error:
        raise ShopUnavailableError(f"The folder {folder} cannot be made ({error.strerror}).") from error
    shop = Database(folder)
    try:
        with plain_words():
            _bring_up_to_date(shop, scripts or migrations())
    except OSError as error:
        shop.release()
        raise ShopUnavailableError(f"The shop in {folder} cannot be opened: {error}.") from error
    except BaseException:
        shop.release()
        raise
    return shop


def _bring_up_to_date(shop: Database, scripts: Path) -> None:
    config = Config()
    config.set_main_option("script_location", str(scripts).replace("%", "%%"))
    directory = ScriptDirectory.from_config(config)
    newest = directory.get_current_head()
    if not shop.file.exists():
        _make(shop, config)
        return
    present = _revision(shop)
    if present not in {script.revision for script in directory.walk_revisions()}:
        raise NewerShopError(
            f"The shop in {shop.folder} was written by a later version of this program (its records are at {present}, "
            f"this version knows up to {newest}). Update the program. Nothing was changed."
        )
    if present != newest:
        kept = _keep_copy(shop, present)
        with _told(f"{shop.file} could not be brought up to date", f"A copy from before is {kept}."):
            migrate(shop.file, config)


def _make(shop: Database, config: Config) -> None:
    """A new shop grows under another name, so that a power cut cannot leave half of one."""
    journal = shop.file.with_name(shop.file.name + "-wal")
    if journal.exists():
        raise DamagedShopError(shop, f"the file is missing, but its journal {journal.name} is there")
    growing = shop.file.with_suffix(".part")
    growing.unlink(missing_ok=True)
    with _told(f"The shop in {shop.folder} could not be made", ""):
        migrate(growing, config)
    copies.sync_file(growing)
    growing.replace(shop.file)
    copies.sync_folder(shop.folder)


def _revision(shop: Database) -> str:
    """The revision of a file that passed every check."""
    found = examine(shop.file)
    if found.wrong:
        raise DamagedShopError(shop, found.wrong)
    return found.revision


def _newest_whole(folder: Path) -> copies.Copy | None:
    for copy in copies.listed(copies.folder_of(folder)):
        with suppress(OSError, sqlite3.Error):
            if not examine(copy.file).wrong:
                return copy
    return None


def _keep_copy(shop: Database, revision: str) -> Path:
    folder = copies.folder_of(shop.folder)
    folder.mkdir(exist_ok=True)
    target = copies.named(folder, f"shop-at-{revision}", datetime.now(UTC))
    with closing(sqlite3.connect(shop.file)) as connection:
        copies.copy(connection, target)
    return target


@contextmanager
def _told(what: str, afterwards: str) -> Iterator[None]:
    try:
        with plain_words():
            yield
    except ShopUnavailableError:
        raise
    except Exception as error:
        raise UpgradeFailedError(
            f"{what}: {error}. The records were left as they were. {afterwards} "
            "Go on with the version that you had, and pass this message on to whoever looks after the program."
        ) from error


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
            raise RuntimeError(f"rows of {', '.join(sorted({table for table, _ in broken}))} do not match their seals")


def _row_counts(connection: Connection) -> dict[str, int]:
    """Rows of every table of records. The search index is made from them, and SQLite rearranges its rows at will."""
    query = "SELECT name FROM sqlite_schema WHERE type = 'table' AND name NOT LIKE 'search\\_%' ESCAPE '\\'"
    names = connection.exec_driver_sql(query).scalars().all()
    return {name: connection.exec_driver_sql(f'SELECT count(*) FROM "{name}"').scalar_one() for name in names}


def _prepare(connection: sqlite3.Connection, _record: object) -> None:
    connection.isolation_level = None  # the driver's own commits before DDL would make a rollback partial
    connection.execute("PRAGMA foreign_keys=OFF")  # inside a transaction it does nothing
    connection.execute("PRAGMA synchronous=FULL")


def _begin(connection: Connection) -> None:
    connection.exec_driver_sql("BEGIN IMMEDIATE")
