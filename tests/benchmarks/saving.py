"""How long saving a reading takes, beside the least that a server could do, in one run on one disk.

``python -m tests.benchmarks.saving`` prints, side by side: SQLite's bare commit of one row; a bare FastAPI endpoint
that takes a form and commits one row, once by ``sqlite3`` and once by the ORM; and the page's own route. Then the same
route with 40 tablets at once. Every part has the same settings (WAL, synchronous=FULL) and its own file in the same
folder; the parts take turns, so that whatever else the machine does falls on all of them.

The goal is read against the endpoint by ``sqlite3``, the least there can be: it looks nothing up, keeps no rule, has
no guard before it. That by the ORM shows what the packages alone take that the program is written with.
"""

import argparse
import random
import socket
import sqlite3
import subprocess
import sys
import tempfile
import threading
import time
from collections.abc import Callable, Iterator
from contextlib import ExitStack, contextmanager
from pathlib import Path
from typing import Annotated

from fastapi import FastAPI, Form
from fastapi.responses import RedirectResponse
from sqlalchemy import Text
from sqlmodel import Field, Session, SQLModel, create_engine

from app.shop.store.database import PRAGMAS
from app.shop.store.upgrade import open_shop
from tests.benchmarks.report import report
from tests.clock import working_day
from tests.faults.bench import Ledger, Tablet, readings_path, shop_with_visits

ROW = "CREATE TABLE row (id INTEGER PRIMARY KEY, key TEXT UNIQUE, bore INTEGER, value REAL) STRICT"
INSERT = "INSERT INTO row (key, bore, value) VALUES (?, ?, ?)"
VISITS = 40
TURN = 50
"""How many times each part goes before the next has its turn."""


class BareRow(SQLModel, table=True):
    """One row, as the ORM sees it."""

    __tablename__ = "row"
    id: int | None = Field(default=None, primary_key=True)
    key: str = Field(sa_type=Text)
    bore: int
    value: float


def bare_file(file: Path) -> sqlite3.Connection:
    """A database of one table with the shop's settings."""
    connection = sqlite3.connect(file, isolation_level=None, check_same_thread=False)
    for pragma in PRAGMAS:
        connection.execute(f"PRAGMA {pragma}")
    connection.execute(ROW)
    return connection


def bare_sqlite(file: Path) -> FastAPI:
    """An endpoint that commits one row by ``sqlite3`` and does nothing else."""
    connection, turn = bare_file(file), threading.Lock()
    app = FastAPI()

    @app.post("/")
    def add(key: Annotated[str, Form()], bore: Annotated[int, Form()], value: Annotated[float, Form()]) -> object:
        with turn:
            connection.execute("BEGIN IMMEDIATE")
            connection.execute(INSERT, (key, bore, value))
            connection.execute("COMMIT")
        return RedirectResponse("/", status_code=303)

    return app


def bare_orm(file: Path) -> FastAPI:
    """The same by SQLModel."""
    connection, turn = bare_file(file), threading.Lock()
    engine = create_engine("sqlite://", creator=lambda: connection)
    app = FastAPI()

    @app.post("/")
    def add(key: Annotated[str, Form()], bore: Annotated[int, Form()], value: Annotated[float, Form()]) -> object:
        with turn, Session(engine) as session:
            session.connection().exec_driver_sql("BEGIN IMMEDIATE")
            session.add(BareRow(key=key, bore=bore, value=value))
            session.commit()
        return RedirectResponse("/", status_code=303)

    return app


def serve(what: str, folder: Path) -> None:
    """Serve one part with the program's own server settings, in this process."""
    from app.server.cli import answer
    from app.web.application import create_app

    with socket.create_server(("127.0.0.1", 0)) as door:
        if what == "page":
            answer(create_app(open_shop(folder), clock=working_day()), door, "127.0.0.1")
        else:
            app = bare_sqlite if what == "sqlite" else bare_orm
            answer(app(folder / f"{what}.db"), door, "127.0.0.1")


@contextmanager
def served(what: str, folder: Path) -> Iterator[str]:
    """The address of a part that another process serves."""
    command = [sys.executable, "-m", "tests.benchmarks.saving", "--serve", what, "--folder", str(folder)]
    with subprocess.Popen(command, stdout=subprocess.PIPE, text=True) as process:
        assert process.stdout is not None
        try:
            yield process.stdout.readline().split()[-1]
        finally:
            process.kill()


def timed(do: Callable[[], object]) -> float:
    """How long ``do`` took [ms]."""
    began = time.perf_counter()
    do()
    return (time.perf_counter() - began) * 1000


def share(times: list[float], part: float) -> float:
    """The time that ``part`` of them stayed under."""
    return sorted(times)[min(len(times) - 1, int(part * len(times)))]


def saving(tablet: Tablet, path: str, ledger: Ledger, number: int) -> Callable[[], None]:
    """Send one reading and insist on its being stored."""
    fields = ledger.new_reading(number)

    def send() -> None:
        answer = tablet.post(path, fields)
        if answer.status != 303:
            raise AssertionError(f"{path} was answered with {answer.status}: {answer.page}")

    return send


def side_by_side(folder: Path, times: int) -> dict[str, list[float]]:
    """Every part's times [ms], the parts taking turns."""
    found: dict[str, list[float]] = {name: [] for name in ("bare commit", "sqlite", "orm", "page")}
    connection = bare_file(folder / "commit.db")
    ledger = Ledger()
    shop_with_visits(folder / "page", VISITS)

    def commit() -> None:
        connection.execute("BEGIN IMMEDIATE")
        connection.execute(INSERT, (str(random.random()), 1, 6.5))
        connection.execute("COMMIT")

    def turn(what: str, address: str, number: int, kept: list[float]) -> None:
        with Tablet(address) as tablet:  # a connection of its own: the server hangs up on one that is idle too long
            for one in range(-1, TURN):
                path = readings_path(1 + one % VISITS) if what == "page" else "/"
                took = timed(saving(tablet, path, ledger, number + one))
                if one >= 0:
                    kept.append(took)

    with ExitStack() as held:
        folders = {"sqlite": folder, "orm": folder, "page": folder / "page"}
        served_at = {what: held.enter_context(served(what, place)) for what, place in folders.items()}
        for number in range(-TURN, times, TURN):  # the first turn warms up and is not counted
            kept = found if number >= 0 else {name: [] for name in found}
            kept["bare commit"] += [timed(commit) for _ in range(TURN)]
            for what, address in served_at.items():
                turn(what, address, number, kept[what])
    connection.close()
    return found


def at_once(folder: Path, tablets: int, each: int) -> tuple[list[float], list[float]]:
    """The page's times [ms] with that many tablets writing at once, each on a visit of its own.

    First those of the first reading of each, for which the program just started has to read the visit, then the rest.
    """
    shop_with_visits(folder, tablets)
    first: list[float] = []
    rest: list[float] = []
    ledger = Ledger()
    ready = threading.Barrier(tablets)

    def write(address: str, visit: int) -> None:
        with Tablet(address) as tablet:
            tablet.get("/static/tokens.css")
            for times, numbers in ((first, range(-1, 0)), (rest, range(each))):
                ready.wait()
                times += [timed(saving(tablet, readings_path(visit), ledger, number)) for number in numbers]

    with served("page", folder) as address:
        threads = [threading.Thread(target=write, args=(address, 1 + n)) for n in range(tablets)]
        for thread in threads:
            thread.start()
        for thread in threads:
            thread.join()
    return first, rest


def main() -> None:
    """Print the table."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--times", type=int, default=1000)
    parser.add_argument("--tablets", type=int, default=40)
    parser.add_argument("--serve", choices=("sqlite", "orm", "page"))
    parser.add_argument("--folder", type=Path)
    asked = parser.parse_args()
    if asked.serve:
        serve(asked.serve, asked.folder)
        return
    with tempfile.TemporaryDirectory() as folder:
        found = side_by_side(Path(folder), asked.times)
        first, crowd = at_once(Path(folder) / "crowd", asked.tablets, 20)
    named = {
        "bare commit": "SQLite, bare commit",
        "sqlite": "FastAPI, one row by sqlite3",
        "orm": "FastAPI, one row by the ORM",
        "page": "Evenbore, a reading by its page",
    }
    print(f"{'':32}{'p50 ms':>8}{'p95 ms':>8}")
    for what, words in named.items():
        print(f"{words:32}{share(found[what], 0.5):8.2f}{share(found[what], 0.95):8.2f}")
    for what, goal in (("sqlite", " (goal 1.5)"), ("orm", "")):
        p50, p95 = (share(found["page"], part) / share(found[what], part) for part in (0.5, 0.95))
        print(f"beside {named[what]}: p95 {p95:.2f} times{goal}, p50 {p50:.2f} times")
    for what, times in (("", crowd), (", the first reading of each after a start", first)):
        p50, p95 = share(times, 0.5), share(times, 0.95)
        print(f"{asked.tablets} tablets at once{what}: p50 {p50:.0f} ms, p95 {p95:.0f} ms (goal 250)")


if __name__ == "__main__":
    with report("saving"):
        main()
