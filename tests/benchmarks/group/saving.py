"""What saving a reading takes on both engines, each beside a bare endpoint that commits one row on the same engine.

``python -m tests.benchmarks.group.saving --write``
"""

import argparse
import socket
import subprocess
import sys
import tempfile
import threading
from collections.abc import Iterator
from contextlib import ExitStack, contextmanager
from pathlib import Path
from typing import Annotated

from fastapi import FastAPI, Form
from fastapi.responses import RedirectResponse

from app.shop.store.postgres.opening import open_server
from app.shop.store.upgrade import open_shop
from tests.benchmarks.group.search import three
from tests.benchmarks.report import report
from tests.benchmarks.saving import TURN, bare_sqlite, saving, share, timed
from tests.clock import working_day
from tests.cluster import cluster
from tests.faults.bench import Ledger, Tablet, fill, readings_path
from tests.faults.group import LASTING

VISITS = 40


def bare_server(address: str) -> FastAPI:
    """An endpoint that commits one row to the database server and does nothing else."""
    import psycopg

    connection, turn = psycopg.connect(address, autocommit=True), threading.Lock()
    connection.execute("CREATE TABLE row (id bigserial PRIMARY KEY, key text UNIQUE, bore bigint, value float8)")
    app = FastAPI()

    @app.post("/")
    def add(key: Annotated[str, Form()], bore: Annotated[int, Form()], value: Annotated[float, Form()]) -> object:
        with turn, connection.transaction():
            connection.execute("INSERT INTO row (key, bore, value) VALUES (%s, %s, %s)", (key, bore, value))
        return RedirectResponse("/", status_code=303)

    return app


def serve(what: str, where: str) -> None:
    """Serve one part with the program's own server settings, in this process."""
    from app.server.cli import answer
    from app.web.application import create_app

    with socket.create_server(("127.0.0.1", 0)) as door, tempfile.TemporaryDirectory() as folder:
        match what:
            case "file":
                app = create_app(open_shop(Path(where)), clock=working_day())
            case "server":
                app = create_app(open_server(where, Path(folder)), clock=working_day())
            case "file-bare":
                app = bare_sqlite(Path(where))
            case _:
                app = bare_server(where)
        answer(app, door, "127.0.0.1")


@contextmanager
def served(what: str, where: str) -> Iterator[str]:
    """The address of a part that another process serves."""
    command = [sys.executable, "-m", "tests.benchmarks.group.saving", "--serve", what, "--where", where]
    with subprocess.Popen(command, stdout=subprocess.PIPE, text=True) as process:
        assert process.stdout is not None
        try:
            yield process.stdout.readline().split()[-1]
        finally:
            process.kill()


def saved(parts: dict[str, str], times: int) -> None:
    """Print what a reading takes beside a bare endpoint of the same engine; the parts take turns."""
    found: dict[str, list[float]] = {name: [] for name in parts}
    ledger = Ledger()
    with ExitStack() as held:
        at = {name: held.enter_context(served(name, where)) for name, where in parts.items()}
        for number in range(-TURN, times, TURN):  # the first turn warms up and is not counted
            for name, address in at.items():
                with Tablet(address) as tablet:
                    for one in range(-1, TURN):
                        path = "/" if name.endswith("bare") else readings_path(1 + one % VISITS)
                        took = timed(saving(tablet, path, ledger, number + one))
                        if number >= 0 and one >= 0:
                            found[name].append(took)
    print(f"Saving a reading, {times} of each, ms p50 / p95 / max")
    for name, words in (("file", "SQLite"), ("server", "PostgreSQL")):
        bare, page = found[f"{name}-bare"], found[name]
        ratio = share(page, 0.95) / share(bare, 0.95)
        print(f"{words:11} bare endpoint {three(bare)}   a reading {three(page)}   p95 {ratio:.2f} times (goal 1.5)")


def main() -> None:
    """Print the table."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--times", type=int, default=1000)
    parser.add_argument("--serve", choices=("file", "server", "file-bare", "server-bare"))
    parser.add_argument("--where", default="")
    asked = parser.parse_args()
    if asked.serve:
        serve(asked.serve, asked.where)
        return
    with tempfile.TemporaryDirectory() as made, cluster(LASTING) as server:
        folder = Path(made)
        places = {"file-bare": str(folder / "bare.db"), "file": str(folder / "file")}
        places |= {"server-bare": server.make("bare"), "server": server.make("saving")}
        for shop in (open_shop(folder / "file"), open_server(places["server"], folder / "server")):
            fill(shop, VISITS)
            shop.close()
        saved(places, asked.times)


if __name__ == "__main__":
    with report("group.saving"):
        main()
