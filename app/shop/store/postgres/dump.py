"""Backups of the records on a server, by the server's own programs, each read to its end before it counts as one.

Where the database's user may create databases, rows are restored into one of those and every row hash is made again.
"""

import os
import re
import secrets
import shutil
import subprocess
from collections.abc import Iterator
from contextlib import closing, contextmanager
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import psycopg
from psycopg import conninfo, sql

from app.shop.reasons import Reason, because
from app.shop.store import row_hashes
from app.shop.store.codes import Unavailable
from app.shop.store.copies import sync_file, sync_folder, unfinished_beside
from app.shop.store.database import ShopUnavailableError
from app.shop.store.postgres.codes import ServerProblem
from app.shop.store.postgres.failures import first_line, server_errors
from app.shop.store.postgres.opening import let_in, revision_of, server_name
from app.shop.store.postgres.server import connected
from app.shop.store.postgres.wire import ServerWire

ENDING = ".dump"
INSTALLED = Path("/usr/lib/postgresql")
"""Where distributions keep the programs of each version."""


@dataclass(frozen=True, slots=True)
class Dumped:
    """A backup: its file, how many rows had a right hash, and why that was not looked at, None where it was."""

    file: Path
    rows: int
    unproved: Reason | None = None


@dataclass(frozen=True, slots=True)
class ServerTools:
    """The server's programs on this computer."""

    dump: Path
    restore: Path


def dump(address: str, target: Path) -> Dumped:
    """Save the database at ``address``, in use or not, as ``target``.

    Raises ShopUnavailableError, and leaves nothing at ``target`` then.
    """
    if target.exists():
        raise ShopUnavailableError(because(Unavailable.BACKUP_EXISTS, file=target))
    with server_errors(), closing(let_in(address)) as connection:
        if revision_of(connection) is None:
            raise ShopUnavailableError(because(ServerProblem.NOTHING_THERE, place=server_name(address)))
        programs = programs_for(connection.info.server_version // 10000)
        target.parent.mkdir(mode=0o700, parents=True, exist_ok=True)
        growing = unfinished_beside(target)
        try:
            _run(programs.dump, "--format=custom", f"--file={growing}", f"--dbname={address}")
            _run(programs.restore, f"--file={os.devnull}", str(growing))  # reads all of it
            rows, unproved = _proved(connection, address, programs, growing)
            sync_file(growing)
            growing.replace(target)
        except OSError as error:
            raise _failed(error.strerror or str(error)) from error
        finally:
            growing.unlink(missing_ok=True)
    sync_folder(target.parent)
    return Dumped(target, rows, unproved)


def programs_for(version: int) -> ServerTools:
    """The tools that are not older than a server of ``version``. Raises ShopUnavailableError where there are none."""
    beside = [folder for folder in sorted(INSTALLED.glob("*/bin"), key=_version_of_folder) if folder.is_dir()]
    for folder in (None, *reversed(beside)):
        found = [shutil.which(name, path=folder and str(folder)) for name in ("pg_dump", "pg_restore")]
        if found[0] and found[1] and _version(found[0]) >= version:
            return ServerTools(Path(found[0]), Path(found[1]))
    raise ShopUnavailableError(because(ServerProblem.NO_DUMP, version=version))


def _version_of_folder(folder: Path) -> int:
    return int(folder.parent.name) if folder.parent.name.isdecimal() else 0


def _version(program: str) -> int:
    """The version that a program tells of itself, 0 where it tells none."""
    try:
        said = subprocess.run([program, "--version"], capture_output=True, text=True, check=False).stdout
    except OSError:
        return 0
    found = re.search(r"\) (\d+)", said)
    return int(found[1]) if found else 0


def _run(program: Path, *arguments: str) -> None:
    """Raises ShopUnavailableError with what the program said."""
    line = [str(program), "--no-password" if program.name == "pg_dump" else "--no-owner", *arguments]
    done = subprocess.run(line, stdout=subprocess.DEVNULL, stderr=subprocess.PIPE, text=True, check=False)
    if done.returncode:
        said = [one.strip() for one in done.stderr.splitlines() if one.strip()]
        raise _failed(said[0] if said else f"{program.name}: {done.returncode}")


def _failed(why: str) -> ShopUnavailableError:
    return ShopUnavailableError(because(ServerProblem.DUMP_FAILED, why=why))


def _proved(
    connection: psycopg.Connection[Any], address: str, programs: ServerTools, file: Path
) -> tuple[int, Reason | None]:
    """How many rows of a backup have a right hash; or why none was looked at. Raises ShopUnavailableError for a wrong
    one."""
    try:
        with _scratch(connection) as name:
            there = conninfo.make_conninfo(address, dbname=name)
            how = ("--no-password", "--no-privileges", "--exit-on-error")
            _run(programs.restore, *how, f"--dbname={there}", str(file))
            with closing(connected(there)) as restored:
                seals = row_hashes.check(ServerWire(restored))
    except psycopg.errors.InsufficientPrivilege as error:
        return 0, because(ServerProblem.DUMP_NOT_PROVED, why=first_line(error))
    if seals.broken:
        table, ident = seals.broken[0]
        raise _failed(f"{table} {ident}")
    return seals.sound, None


@contextmanager
def _scratch(connection: psycopg.Connection[Any]) -> Iterator[str]:
    """The name of an empty database that is there until the block is left. Raises InsufficientPrivilege."""
    name = f"evenbore_proof_{secrets.token_hex(6)}"
    quoted = sql.Identifier(name)
    connection.execute(sql.SQL("CREATE DATABASE {} ENCODING UTF8 TEMPLATE template0").format(quoted))
    try:
        yield name
    finally:
        connection.execute(sql.SQL("DROP DATABASE {} WITH (FORCE)").format(quoted))
