"""A PostgreSQL server of the tests' own: made in a temporary folder, reached by a socket there, gone at the end."""

import getpass
import os
import shutil
import signal
import subprocess
import tempfile
from collections.abc import Iterator, Sequence
from contextlib import contextmanager, suppress
from dataclasses import dataclass
from pathlib import Path

from tests.waiting import until

NAMES = ("initdb", "pg_ctl")
NOT_AS_ROOT = "nobody"
"""Who the server runs as where the tests are root, whom it refuses."""

QUICK = (
    *("-c", "fsync=off", "-c", "synchronous_commit=off", "-c", "full_page_writes=off"),
    *("-c", "autovacuum=off", "-c", "shared_buffers=32MB", "-c", "max_connections=60"),
)
"""A server that tests empty again and again. What the program promises of the disk is tried with ``lasting``."""


def programs() -> Path | None:
    """The folder of the server's programs: on the path, or where distributions put the newest; None without any."""
    if found := shutil.which(NAMES[0]):
        return Path(found).resolve().parent
    folders = [folder for folder in Path("/usr/lib/postgresql").glob("*/bin") if (folder / NAMES[0]).exists()]
    return max(folders, key=lambda folder: int(folder.parent.name), default=None)


@dataclass(frozen=True)
class Cluster:
    """A server that runs. ``owner`` may do anything in it."""

    folder: Path
    programs: Path
    owner: str

    def address(self, database: str = "postgres", user: str = "") -> str:
        """The address of one of its databases."""
        return f"postgresql://{user or self.owner}@/{database}?host={self.folder}"

    def make(self, database: str) -> str:
        """Make an empty database and return its address."""
        import psycopg

        with psycopg.connect(self.address(), autocommit=True) as connection:
            connection.execute(f'CREATE DATABASE "{database}" TEMPLATE template0'.encode())
        return self.address(database)

    def control(self, *what: str) -> None:
        """Run pg_ctl: ``stop``, ``restart``, ``kill``."""
        run(_as_owner(self.owner, [str(self.programs / "pg_ctl"), "-D", str(self.folder / "data"), "-w", *what]))

    def fall(self) -> None:
        """End all of it by SIGKILL, as a power cut would, and start it again. On Linux."""
        lock = self.folder / "data" / "postmaster.pid"
        head = int(lock.read_text().split()[0])
        children = Path(f"/proc/{head}/task/{head}/children").read_text().split()
        pids = [head, *map(int, children)]
        for pid in pids:
            with suppress(ProcessLookupError):
                os.kill(pid, signal.SIGKILL)
        until(lambda: not any(map(_runs, pids)))
        for kept in (lock, *self.folder.glob(".s.PGSQL.*.lock")):
            kept.unlink()  # the number in it may be kept by an entry that nobody asks for
        self.control("start", "-l", str(self.folder / "log"))


def _runs(pid: int) -> bool:
    """Whether a process is more than an entry that nobody asked for yet."""
    with suppress(OSError):
        return Path(f"/proc/{pid}/stat").read_text().rpartition(")")[2].split()[0] not in "ZX"
    return False


@contextmanager
def cluster(settings: Sequence[str] = QUICK) -> Iterator[Cluster]:
    """A server that runs until the block is left. Raises RuntimeError where its programs are not installed."""
    there = programs()
    if there is None:
        raise RuntimeError("PostgreSQL is not installed")
    owner = NOT_AS_ROOT if os.geteuid() == 0 else getpass.getuser()
    folder = Path(tempfile.mkdtemp(prefix="evenbore-pg-"))
    if os.geteuid() == 0:
        shutil.chown(folder, owner)
    made = Cluster(folder, there, owner)
    try:
        options = ("--auth=trust", "--locale=C.UTF-8", "--encoding=UTF8", "--data-checksums", "--no-sync")
        run(_as_owner(owner, [str(there / "initdb"), "-D", str(folder / "data"), *options]))
        with (folder / "data" / "postgresql.conf").open("a") as file:
            file.write(f"listen_addresses = ''\nunix_socket_directories = '{folder}'\n")
            file.writelines(f"{name.replace('=', ' = ', 1)}\n" for name in settings if name != "-c")
        made.control("start", "-l", str(folder / "log"))
        try:
            yield made
        finally:
            made.control("stop", "-m", "immediate")
    finally:
        shutil.rmtree(folder, ignore_errors=True)


def run(line: Sequence[str]) -> None:
    """Run a command. Raises RuntimeError with what it said where it fails."""
    done = subprocess.run(line, stdout=subprocess.PIPE, stderr=subprocess.STDOUT, text=True, cwd="/", check=False)
    if done.returncode:
        raise RuntimeError(f"{line}: {done.stdout}")


def _as_owner(owner: str, line: Sequence[str]) -> list[str]:
    if os.geteuid() != 0:
        return list(line)
    return ["setpriv", f"--reuid={owner}", "--regid=65534", "--clear-groups", *line]
