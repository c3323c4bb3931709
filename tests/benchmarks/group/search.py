"""Search among 200,000 made-up engines, on both engines, and whether both find the same.

``python -m tests.benchmarks.group.search --write``
"""

import argparse
import itertools
import random
import tempfile
import time
import uuid
from collections.abc import Iterator
from pathlib import Path
from typing import Any

from app.shop.queries import search
from app.shop.store.database import Database, raw_connection
from app.shop.store.postgres.opening import open_server
from app.shop.store.postgres.server import ServerDatabase, look_through
from app.shop.store.upgrade import open_shop
from tests.benchmarks.report import report
from tests.benchmarks.saving import share
from tests.cluster import cluster
from tests.faults.group import LASTING

KINDS = ("four", "six", "eight", "ten", "twelve")
WORDS = ("Raised", "Narrow", "Open", "Twin", "Marine", "Bench", "Early", "Late", "Short", "Long")
NAMES = ("Almer", "Borowin", "Castellor", "Dunmarsh", "Everholm", "Farrowby", "Gildenau", "Harrowick", "Istermere")
COLORS = ("blue", "red", "green", "white", "silver", "black")
BODIES = ("coupe", "van", "launch", "saloon", "roadster", "truck")


def engines(count: int) -> Iterator[tuple[Any, ...]]:
    """Made-up engines, the same each time: the columns of a row but its id."""
    chance = random.Random(7)
    for number in range(count):
        serial = f"{chance.choice('ABCDEFGH')}{number % 97:02d}-{number:06d}"
        described = f"{chance.choice(WORDS)} {chance.choice(KINDS)} {number % 311}"
        customer = f"{chance.choice(NAMES)} {chance.choice(('works', 'hire', 'farm', 'yard'))} C-{number % 4000}"
        vehicle = f"{chance.choice(COLORS)} {chance.choice(BODIES)}"
        key = str(uuid.UUID(int=chance.getrandbits(128), version=4))
        yield (
            *(key, "", serial, serial.casefold(), described, 0.0039, "L", customer, vehicle, 14.0),
            *("2026-01-01T00:00:00+00:00", 1),
        )


COLUMNS = (
    *("key", "payload", "serial", "serial_folded", "description", "displacement", "displacement_unit", "customer"),
    *("vehicle", "idle_speed", "registered_at", "version"),
)


def fill_with(shop: Database, count: int) -> float:
    """Store that many engines past the program, in bulk, and return how long that took [s]."""
    began = time.perf_counter()
    rows = engines(count)
    names, marks = ", ".join(COLUMNS), ", ".join("?" * len(COLUMNS))
    with shop.writing() as session:
        wire = raw_connection(session)
        while some := list(itertools.islice(rows, 5_000)):
            wire.executemany(f"INSERT INTO engine ({names}) VALUES ({marks})", some)
        if isinstance(shop, ServerDatabase):
            look_through(wire)  # as after carrying a shop there; a server does it by itself within a minute or so
    return time.perf_counter() - began


def typed(count: int, each: int) -> dict[str, list[str]]:
    """What is typed, by kind: the kinds of the search's own tests."""
    chance = random.Random(11)
    wanted = frozenset(chance.sample(range(count), each))
    some = [row for number, row in enumerate(engines(count)) if number in wanted]

    def wrong(word: str) -> str:
        at = chance.randrange(1, len(word) - 1)
        return word[:at] + chance.choice("xqz") + word[at + 1 :]

    return {
        "a serial as stamped": [row[2] for row in some],
        "part of a serial": [row[2][4:9] for row in some],
        "a customer's name": [row[7] for row in some],
        "three parts of words": [f"{row[4][:4]} {row[7][:4]} {row[8][:4]}" for row in some],
        "one letter wrong": [wrong(row[7].split()[0]) for row in some],
        "two words, one wrong": [f"{row[7].split()[0]} {wrong(row[8].split()[1])}" for row in some],
        "common words": [row[8] for row in some],
        "two letters": [row[2][-2:] for row in some],
        "nothing like it": ["zzyzx" + row[2][-3:] for row in some],
    }


def searched(shops: dict[str, Database], count: int, each: int) -> None:
    """Print the table of searches, the engines taking turns, and how many answers were the same."""
    print(f"Search among {count:,} engines, {each} of each kind, ms p50 / p95 / max; the same answers in both")
    every: dict[str, list[float]] = {name: [] for name in shops}
    for kind, texts in typed(count, each).items():
        took: dict[str, list[float]] = {name: [] for name in shops}
        same = 0
        for text in texts:
            answers = []
            for name, shop in shops.items():
                with shop.reading() as session:
                    began = time.perf_counter()
                    hits = search.find(session, text)
                    took[name].append((time.perf_counter() - began) * 1000)
                answers.append(hits)
            same += len(set(answers)) == 1
        told = "  ".join(f"{name} {three(took[name])}" for name in shops)
        print(f"{kind:22}{told}  same {same}/{each}")
        for name in shops:
            every[name] += took[name]
    print(f"{'all of them':22}" + "  ".join(f"{name} {three(every[name])}" for name in shops) + " (goal: p95 50)")


def three(times: list[float]) -> str:
    """p50, p95 and the longest."""
    return f"{share(times, 0.5):5.1f} /{share(times, 0.95):6.1f} /{max(times):6.1f}"


def main() -> None:
    """Print the table."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--engines", type=int, default=200_000)
    parser.add_argument("--searches", type=int, default=60)
    asked = parser.parse_args()
    with tempfile.TemporaryDirectory() as made, cluster(LASTING) as server:
        file = open_shop(Path(made) / "file")
        database = open_server(server.make("search"), Path(made) / "server")
        took = fill_with(file, asked.engines), fill_with(database, asked.engines)
        print(f"{asked.engines:,} engines in bulk: SQLite {took[0]:.0f} s, PostgreSQL {took[1]:.0f} s")
        searched({"SQLite": file, "PostgreSQL": database}, asked.engines, asked.searches)
        file.close()
        database.close()


if __name__ == "__main__":
    with report("group.search"):
        main()
