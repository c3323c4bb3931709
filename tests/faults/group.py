"""Eight writers at two servers of one database, while either server, or the database, is killed.

``python -m tests.faults.group --falls 12`` lets them fall more often than the test beside it does.
"""

import argparse
import http.client
import itertools
import os
import random
import tempfile
import threading
import time
from collections import Counter
from collections.abc import Iterator
from contextlib import ExitStack, contextmanager, suppress
from dataclasses import dataclass, field
from pathlib import Path

from app.shop.store import row_hashes
from app.shop.store.database import raw_connection
from app.shop.store.postgres.opening import open_server
from tests.cluster import Cluster, cluster
from tests.faults.bench import Answer, Ledger, Tablet, fill, readings_path
from tests.shop.yard import just_now
from tests.started import Started, started
from tests.waiting import until

WRITERS, VISITS = 8, 2
LASTING = ("-c", "max_connections=80", "-c", "shared_buffers=32MB")
"""Settings of a database server that keeps what it acknowledged."""

BETWEEN = 20
"""Readings that are acknowledged between two falls."""

PATIENCE = 120.0
"""Seconds in which that many are stored, on a machine that is busy with something else."""

AGAIN = 0.02
"""Seconds before a reading that was not acknowledged is sent again."""


@dataclass
class Home:
    """One server: where it is now, and how often it was started."""

    data: str
    folder: Path
    program: Started | None = None
    ends: ExitStack = field(default_factory=ExitStack)

    def start(self) -> None:
        environment = {**os.environ, "XDG_DATA_HOME": str(self.folder)}
        self.program = self.ends.enter_context(started("serve", "--port", "0", "--data", self.data, env=environment))

    def fall(self) -> None:
        """Killed, and started again at another port."""
        assert self.program is not None
        self.program.process.kill()
        self.program.process.wait(60)
        self.start()

    @property
    def address(self) -> str:
        assert self.program is not None
        return self.program.address


class Writer(threading.Thread):
    """Sends one reading after the other, each under its key until it is acknowledged, to whichever server."""

    def __init__(self, number: int, homes: list[Home], ledger: Ledger, over: threading.Event) -> None:
        super().__init__()
        self.number, self.homes, self.ledger, self.over = number, homes, ledger, over
        self.path = readings_path(1 + number % VISITS)
        self.chance = random.Random(number)
        self.answers: Counter[int] = Counter()
        self.took: list[float] = []
        self.trouble: BaseException | None = None
        self.start()

    def run(self) -> None:
        try:
            for number in itertools.count():
                if self.over.is_set():
                    return
                fields = self.ledger.new_reading(number)
                if self.chance.random() < 0.1:
                    self.at_once(fields)
                else:
                    self.until_stored(fields)
        except BaseException as error:
            self.trouble = error

    def at_once(self, fields: dict[str, str]) -> None:
        """The same one to both servers."""
        both = [threading.Thread(target=self.send, args=(home, fields)) for home in self.homes]
        for one in both:
            one.start()
        for one in both:
            one.join()
        self.until_stored(fields)

    def until_stored(self, fields: dict[str, str]) -> None:
        begun = time.perf_counter()
        while (answer := self.send(self.chance.choice(self.homes), fields)) is None or answer.status == 503:
            if self.over.is_set() and time.perf_counter() - begun > PATIENCE / 4:
                raise AssertionError("never acknowledged")
            time.sleep(AGAIN)
        if answer.saved != fields["key"]:
            raise AssertionError(f"{answer.status} and a key of {answer.saved}")
        self.took.append(time.perf_counter() - begun)

    def send(self, home: Home, fields: dict[str, str]) -> Answer | None:
        """What a server answered, None where it did not."""
        with suppress(OSError, http.client.HTTPException), Tablet(home.address) as tablet:
            answer = tablet.post(self.path, fields)
            self.answers[answer.status] += 1
            self.ledger.note(fields["key"], answer)
            return answer
        return None


@contextmanager
def group(folder: Path) -> Iterator[tuple[Cluster, list[Home], set[str]]]:
    """A database, two servers over it, and the keys of the readings that are there."""
    with cluster(LASTING) as database, ExitStack() as ends:
        address = database.make("shop")
        shop = open_server(address, folder)
        with just_now():
            fill(shop, VISITS)
        shop.close()
        homes = [Home(address, folder / name, ends=ends) for name in ("one", "other")]
        for home in homes:
            home.start()
        yield database, homes, set(stored(address, folder))


def stored(address: str, folder: Path) -> list[str]:
    """The keys of all readings by id. Raises AssertionError where a row is not what was stored."""
    shop = open_server(address, folder)
    with shop.reading() as session:
        wire = raw_connection(session)
        keys = [str(key) for (key,) in wire.execute("SELECT key FROM reading ORDER BY id")]
        assert row_hashes.check(wire).broken == ()
    shop.close()
    return keys


def run(folder: Path, falls: int) -> tuple[Counter[int], list[float]]:
    """Let the writers loose while each part falls in turn; how they were answered, and how long each reading took [s].

    Raises AssertionError where anything acknowledged is lost, or anything is there twice.
    """
    with group(folder) as (database, homes, before):
        ledger, over = Ledger(), threading.Event()
        writers = [Writer(number, homes, ledger, over) for number in range(WRITERS)]

        def some_more() -> None:
            known = len(ledger.acknowledged)
            until(lambda: len(ledger.acknowledged) > known + BETWEEN or not all(map(_sound, writers)), PATIENCE)

        try:
            fallers = (homes[0].fall, database.fall, homes[1].fall, database.fall)
            for fall in itertools.islice(itertools.cycle(fallers), falls):
                some_more()
                fall()
            some_more()
        finally:
            over.set()
            for writer in writers:
                writer.join()
        if trouble := next((writer.trouble for writer in writers if writer.trouble is not None), None):
            raise trouble
        keys = stored(homes[0].data, folder)
        assert sorted(keys) == sorted(before | set(ledger.acknowledged))
        for visit_id in range(1, VISITS + 1):
            seen = [home.program.fetch(f"api/visits/{visit_id}") for home in homes if home.program is not None]
            assert seen[0] == seen[1]
    return sum((writer.answers for writer in writers), Counter()), [s for writer in writers for s in writer.took]


def _sound(writer: Writer) -> bool:
    return writer.trouble is None


def main() -> None:
    """As often as the command line says."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--falls", type=int, default=4)
    falls = parser.parse_args().falls
    with tempfile.TemporaryDirectory() as folder:
        answers, took = run(Path(folder), falls)
    told = ", ".join(f"{count} times {status}" for status, count in sorted(answers.items()))
    middle = sorted(took)[len(took) // 2]
    print(
        f"{WRITERS} writers, 2 servers, {falls} falls: {told}; {len(took)} readings, half of them within "
        f"{middle * 1000:.0f} ms; nothing lost, nothing twice"
    )


if __name__ == "__main__":
    main()
