"""What the fault tests share: a tablet that keeps count of what was acknowledged, and the audit at the end."""

import http.client
import os
import sqlite3
import subprocess
import sys
import threading
import uuid
from collections import Counter
from collections.abc import Iterator, Mapping
from contextlib import closing, contextmanager, nullcontext
from dataclasses import dataclass, field
from pathlib import Path
from urllib.parse import urlencode, urlsplit

import pytest

from app.shop.procedure.phases import HEAT_SOAKED
from app.shop.store.database import Database
from app.shop.store.integrity import examine, orphan_rows, read_only
from app.shop.store.upgrade import open_shop
from app.web.context import SAVED
from tests.shop.yard import FOUR, check_all, engine, just_now, read_round, visit

PATIENCE = 30.0
"""How long a tablet waits for an answer [s]: many times what one takes, for a machine that is busy."""


@dataclass(frozen=True)
class Answer:
    """What the server said: the status, the key it vouches for, where to go next, the page."""

    status: int
    saved: str | None
    next: str | None
    page: str


class Tablet:
    """One tablet on one connection. It trusts nothing but its own key coming back."""

    def __init__(self, address: str) -> None:
        self.origin = address.rstrip("/")
        self._wire = http.client.HTTPConnection(urlsplit(address).netloc, timeout=PATIENCE)

    def get(self, path: str) -> Answer:
        """Look at a page."""
        return self._ask("GET", path, None)

    def post(self, path: str, fields: Mapping[str, str]) -> Answer:
        """Send a form. Raises OSError or http.client.HTTPException when no whole answer came."""
        return self._ask("POST", path, urlencode(fields))

    def _ask(self, method: str, path: str, body: str | None) -> Answer:
        headers = {"Origin": self.origin, "Content-Type": "application/x-www-form-urlencoded"} if body else {}
        try:
            self._wire.request(method, path, body, headers)
            got = self._wire.getresponse()
            page = got.read().decode()
        except (OSError, http.client.HTTPException):
            self._wire.close()
            raise
        return Answer(got.status, got.headers[SAVED], got.headers["Location"], page)

    def __enter__(self) -> "Tablet":
        return self

    def __exit__(self, *_: object) -> None:
        self._wire.close()


@dataclass
class Ledger:
    """The keys of the readings sent, and of those that the server vouched for."""

    sent: set[str] = field(default_factory=set)
    acknowledged: list[str] = field(default_factory=list)
    _turn: threading.Lock = field(default_factory=threading.Lock)

    def note(self, key: str, answer: Answer) -> bool:
        """Whether the server vouched for ``key``."""
        if answer.saved != key or answer.status >= 400:
            return False
        with self._turn:
            self.acknowledged.append(key)
        return True

    def new_reading(self, number: int, round_number: int = 2) -> dict[str, str]:
        """The fields of one more reading of a bore that was read before."""
        key = str(uuid.uuid4())
        with self._turn:
            self.sent.add(key)
        return {
            "key": key,
            "round": str(round_number),
            "bore": str(1 + number % 4),
            "kind": "again",
            "value": f"{6 + number % 7 * 0.25}",
            "by": "KM",
        }


def readings_path(visit_id: int) -> str:
    """Where the readings of a visit's fine rounds go."""
    return f"/visits/{visit_id}/{HEAT_SOAKED.slug}/readings"


def shop_with_visits(folder: Path, visits: int = 1, *, now: bool = False) -> set[str]:
    """A closed shop of engines that have each been read once around; the keys of those readings.

    ``now``, that was just done, for a program that goes by the real clock; else at the time of the tests.
    """
    with just_now() if now else nullcontext():
        return _shop_with_visits(folder, visits)


def _shop_with_visits(folder: Path, visits: int) -> set[str]:
    shop = open_shop(folder)
    fill(shop, visits)
    shop.close()
    return set(stored(folder))


def fill(shop: Database, visits: int) -> None:
    """Engines that have each been read once around."""
    from app.shop.procedure.phases import COLD_PRESET, FIRST_FIRE

    for number in range(visits):
        visit_id = visit(shop, engine(shop, FOUR, f"31-{number}"))
        check_all(shop, visit_id, COLD_PRESET)
        check_all(shop, visit_id, FIRST_FIRE)
        read_round(shop, visit_id, FIRST_FIRE)
        check_all(shop, visit_id, HEAT_SOAKED)
        read_round(shop, visit_id, HEAT_SOAKED)


def stored(folder: Path) -> list[str]:
    """The keys of the readings in a shop's file, in the order in which they were stored."""
    with closing(read_only(folder / "shop.db")) as connection:
        return [str(key) for (key,) in connection.execute("SELECT key FROM reading ORDER BY id")]


def audit(folder: Path, before: set[str], ledger: Ledger) -> None:
    """The file is whole, and holds what it held, everything acknowledged, and nothing twice or that nobody sent."""
    assert_whole(folder / "shop.db")
    keys = stored(folder)
    assert [key for key, times in Counter(keys).items() if times > 1] == []
    assert set(ledger.acknowledged) - set(keys) == set(), "acknowledged, but not stored"
    assert set(keys) - before - ledger.sent == set(), "stored, but never sent"
    assert before - set(keys) == set()


def assert_whole(file: Path) -> None:
    """SQLite's check, the seals of every row, and the rows that belong to nothing."""
    assert examine(file).damage is None
    with closing(read_only(file)) as connection:
        assert orphan_rows(connection) == {}


def rows_of(folder: Path) -> dict[str, int]:
    """How many rows each table of a shop has."""
    with closing(sqlite3.connect(folder / "shop.db")) as connection:
        names = [str(name) for (name,) in connection.execute("SELECT name FROM sqlite_schema WHERE type = 'table'")]
        return {name: int(connection.execute(f'SELECT count(*) FROM "{name}"').fetchone()[0]) for name in names}


@contextmanager
def small_disk(place: Path, size: str) -> Iterator[Path]:
    """A disk of that size in memory, mounted at ``place``. Skips the test where that is not allowed."""
    place.mkdir()
    if sys.platform != "linux" or os.geteuid() != 0:
        pytest.skip("only root may mount a small disk")
    mounted = subprocess.run(
        ["mount", "-t", "tmpfs", "-o", f"size={size}", "tmpfs", str(place)], check=False, capture_output=True, text=True
    )
    if mounted.returncode:
        pytest.skip(f"no small disk may be mounted here: {mounted.stderr.strip()}")
    try:
        yield place
    finally:
        subprocess.run(["umount", "--lazy", str(place)], check=True)
