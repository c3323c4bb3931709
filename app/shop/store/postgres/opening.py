"""From the address of a database to a shop that is up to date: the only place that makes or changes its tables.

Programs that have the shop open hold a lock together; one that migrates holds it alone. Everything is made or changed
in one transaction, which PostgreSQL takes back whole.
"""

import re
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any

import psycopg
from alembic import command
from alembic.config import Config
from alembic.script import ScriptDirectory
from psycopg import conninfo
from sqlalchemy import NullPool, create_engine, event

from app.places import migrations
from app.shop.reasons import because
from app.shop.store import row_hashes
from app.shop.store.database import ShopUnavailableError
from app.shop.store.postgres.codes import ServerProblem
from app.shop.store.postgres.dialect import NAME
from app.shop.store.postgres.failures import first_line, server_errors
from app.shop.store.postgres.server import OPEN, ServerDatabase, connected
from app.shop.store.postgres.wire import ServerWire
from app.shop.store.tables import EVIDENCE

LEAST_VERSION = 14
RUNS = "evenbore_runs"
"""The role that may read and add, and change what is no evidence; given its rights where the server has it."""

CHANGED = ("engine", "search_text", "proved", "handed", "asked")
EMPTIED = ("search_term", "search_text", "proved", "pairing_code")
"""What may be changed and what emptied: an engine's facts, the index made from them, up to where row hashes were
proved, how far engines are handed over and what is asked about them, and the codes for tablets."""

LACKING = """
SELECT pg_has_role(made.tableowner, 'USAGE') AND NOT has_table_privilege(runs.oid, 'alembic_version', 'SELECT')
FROM pg_roles AS runs, pg_tables AS made
WHERE runs.rolname = %s AND made.schemaname = current_schema() AND made.tablename = 'alembic_version'
"""
"""Whether who asks owns the tables, and the role that runs the program has no right to them: it was made after them, or
a backup was restored without its rights."""

MIGRATE_SECONDS = 20
"""How long a program that migrates waits for others to close the shop, and one that opens it for a migration."""


def open_server(address: str, folder: Path, scripts: Path | None = None) -> ServerDatabase:
    """Open the shop in a database, its tables made or brought up to date first if need be.

    Parameters: ``address`` as libpq takes it, without a password; ``folder`` for what is no record, made when missing;
    ``scripts``, the migrations to use (the program's own by default). Raises a ShopUnavailableError.
    """
    _require_no_password(address)
    folder.mkdir(mode=0o700, parents=True, exist_ok=True)
    with server_errors(), let_in(address) as connection:
        _require_fit(connection)
        _bring_up_to_date(connection, address, scripts or migrations())
        if connection.execute(LACKING, (RUNS,)).fetchone() == (True,):
            give_rights(connection)
    return ServerDatabase(address, folder)


def server_name(address: str) -> str:
    """A database as a person knows it: where it is, and its name. Raises psycopg.ProgrammingError."""
    said = conninfo.conninfo_to_dict(address)
    return f"{said.get('host') or 'localhost'}/{said.get('dbname') or said.get('user') or ''}"


def _require_no_password(address: str) -> None:
    try:
        said = conninfo.conninfo_to_dict(address)
    except psycopg.ProgrammingError as error:
        raise ShopUnavailableError(because(ServerProblem.ADDRESS, why=first_line(error))) from error
    if said.get("password"):
        raise ShopUnavailableError(because(ServerProblem.PASSWORD))


def let_in(address: str) -> psycopg.Connection[Any]:
    """A connection. Raises ShopUnavailableError where the server is not there, or refuses that address."""
    try:
        return connected(address)
    except psycopg.OperationalError as error:
        why = re.sub(r"^connection failed: ", "", first_line(error))
        raise ShopUnavailableError(because(ServerProblem.NOT_LET_IN, server=server_name(address), why=why)) from error


def _require_fit(connection: psycopg.Connection[Any]) -> None:
    version = connection.info.server_version // 10000
    if version < LEAST_VERSION:
        raise ShopUnavailableError(because(ServerProblem.TOO_OLD, version=version, least=LEAST_VERSION))
    encoding = connection.info.parameter_status("server_encoding")
    if encoding != "UTF8":
        raise ShopUnavailableError(because(ServerProblem.ENCODING, encoding=encoding))


def _bring_up_to_date(connection: psycopg.Connection[Any], address: str, scripts: Path) -> None:
    config = Config()
    config.set_main_option("script_location", str(scripts).replace("%", "%%"))
    directory = ScriptDirectory.from_config(config)
    newest = directory.get_current_head()
    if revision_of(connection) == newest:
        return
    name = server_name(address)
    with _alone(connection, name):
        present = revision_of(connection)
        if present not in {None, *(script.revision for script in directory.walk_revisions())}:
            reason = because(ServerProblem.NEWER_PROGRAM, server=name, present=present, known=newest)
            raise ShopUnavailableError(reason)
        if present is None and _tables(connection):
            raise ShopUnavailableError(because(ServerProblem.FOREIGN, server=name))
        if present != newest:
            _migrate(address, config, scripts, name)


@contextmanager
def _alone(connection: psycopg.Connection[Any], name: str) -> Iterator[None]:
    """No other program has the shop open meanwhile. Raises ShopUnavailableError where others go on having it open."""
    connection.execute(f"SET lock_timeout = '{MIGRATE_SECONDS}s'")
    try:
        connection.execute(f"SELECT pg_advisory_lock({OPEN})")
    except psycopg.errors.LockNotAvailable as error:
        raise ShopUnavailableError(because(ServerProblem.IN_USE, server=name)) from error
    try:
        yield
    finally:
        connection.execute(f"SELECT pg_advisory_unlock({OPEN})")


def revision_of(connection: psycopg.Connection[Any]) -> str | None:
    """The version of the records; None where there are none."""
    if "alembic_version" not in _tables(connection):
        return None
    row = connection.execute("SELECT version_num FROM alembic_version").fetchone()
    return None if row is None else str(row[0])


def _tables(connection: psycopg.Connection[Any]) -> set[str]:
    query = "SELECT tablename FROM pg_tables WHERE schemaname = current_schema()"
    return {str(name) for (name,) in connection.execute(query)}


def _migrate(address: str, config: Config, scripts: Path, name: str) -> None:
    engine = create_engine(
        f"{NAME}://", creator=lambda: connected(address), poolclass=NullPool, use_native_hstore=False
    )
    event.listen(engine, "begin", lambda started: started.exec_driver_sql("BEGIN"))
    try:
        with engine.begin() as connection:
            driver = connection.connection.driver_connection
            assert isinstance(driver, psycopg.Connection)
            if revision_of(driver) is None:
                _make(driver, scripts / "postgres")
            before = _row_counts(driver)
            config.attributes["connection"] = connection
            command.upgrade(config, "head")
            _require_all(driver, before)
            give_rights(driver)
    except ShopUnavailableError:
        raise
    except Exception as error:
        why = first_line(error)
        raise ShopUnavailableError(because(ServerProblem.NOT_UPGRADED, server=name, why=why)) from error


def _make(connection: psycopg.Connection[Any], folder: Path) -> None:
    """The tables as they were when PostgreSQL could first hold them; migrations go on from there."""
    (tables,) = folder.glob("tables-*.sql")
    for file in (folder / "functions.sql", tables, folder / "search.sql"):
        connection.execute(file.read_text(encoding="utf-8").encode(), prepare=False)


def _require_all(connection: psycopg.Connection[Any], before: dict[str, int]) -> None:
    """Raises RuntimeError where a migration lost rows, or changed what is sealed."""
    after = _row_counts(connection)
    if lost := sorted(table for table, rows in before.items() if after.get(table, 0) < rows):
        raise RuntimeError(f"rows went missing from {', '.join(lost)}")
    if broken := row_hashes.check(ServerWire(connection)).broken:
        raise RuntimeError(f"rows of {', '.join(sorted({table for table, _ in broken}))} do not match their row hashes")


def _row_counts(connection: psycopg.Connection[Any]) -> dict[str, int]:
    names = sorted(name for name in _tables(connection) if not name.startswith("search_"))
    counted = {name: connection.execute(f'SELECT count(*) FROM "{name}"'.encode()).fetchone() for name in names}
    return {name: row[0] if row else 0 for name, row in counted.items()}


def give_rights(connection: psycopg.Connection[Any]) -> None:
    """Let the role that runs the program read and add, where the server has that role."""
    if connection.execute("SELECT 1 FROM pg_roles WHERE rolname = %s", (RUNS,)).fetchone() is None:
        return
    rest = sorted(_tables(connection) - {*EVIDENCE, "alembic_version"})
    grants = [("SELECT", name) for name in ("alembic_version",)]
    grants += [("SELECT, INSERT", name) for name in (*EVIDENCE, *rest)]
    grants += [("UPDATE", name) for name in CHANGED] + [("DELETE", name) for name in EMPTIED]
    for rights, table in grants:
        connection.execute(f'GRANT {rights} ON "{table}" TO {RUNS}'.encode())
