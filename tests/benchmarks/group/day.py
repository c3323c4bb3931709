"""A simulated day of 40 sites with 200 tablets on one database server, and the rate at which that is outgrown.

``python -m tests.benchmarks.group.day --write``. What tablets write in a day is our judgement: five tablets a site, two
visits a tablet, 150 writes a visit. A part of it is run as fast as it goes through, then at rates that rise until a
write in twenty takes longer than 250 ms.
"""

import argparse
import random
import tempfile
import threading
import time
from collections.abc import Sequence
from contextlib import ExitStack
from http.client import HTTPException
from pathlib import Path

from app.shop.store.postgres.opening import open_server
from tests.benchmarks.group.search import three
from tests.benchmarks.report import report
from tests.benchmarks.saving import share
from tests.cluster import cluster
from tests.faults.bench import Ledger, Tablet, fill, readings_path
from tests.faults.group import LASTING, Home
from tests.faults.soak import taken
from tests.shop.yard import just_now

SITES, TABLETS, VISITS_A_DAY, WRITES_A_VISIT = 40, 200, 2, 150
HOURS = 8
SLOW = 250.0
"""What a write may take [ms], the goal of 40 tablets in a shop."""

RATES = (5, 10, 20, 40, 80, 120, 160, 200, 300, 400, 500, 600, 800)
"""Writes a second that are tried one after the other."""


class Site(threading.Thread):
    """Tablets that write ``count`` readings on visits of their own, ``rate`` a second together or as fast as it goes.

    What a write took counts from when it was due: one that waits for the one before it waits already.
    """

    def __init__(self, number: int, address: str, visits: Sequence[int], count: int, rate: float | None) -> None:
        super().__init__(daemon=True)
        self.number, self.address, self.visits, self.count, self.rate = number, address, visits, count, rate
        self.took: list[float] = []
        self.lost = 0

    def run(self) -> None:
        ledger, begun = Ledger(), time.perf_counter()
        chance = random.Random(self.number)
        tablet = Tablet(self.address)
        for at in range(self.count):
            due = begun + (at + chance.random()) / self.rate if self.rate else time.perf_counter()
            time.sleep(max(0.0, due - time.perf_counter()))
            fields = ledger.new_reading(at)
            try:
                answer = tablet.post(readings_path(self.visits[at % len(self.visits)]), fields)
            except (OSError, HTTPException):
                tablet = Tablet(self.address)
                answer = tablet.post(readings_path(self.visits[at % len(self.visits)]), fields)
            self.took.append((time.perf_counter() - due) * 1000)
            self.lost += answer.saved != fields["key"]


def worked(homes: Sequence[Home], visits: int, writes: int, rate: float | None) -> tuple[list[float], int, float]:
    """What each write took [ms], how many were not acknowledged, and how long all of them took [s]."""
    shares = [list(range(1 + at, visits + 1, SITES)) for at in range(SITES)]
    began = time.perf_counter()
    sites = [
        Site(at, homes[at % len(homes)].address, mine, writes // SITES, rate / SITES if rate else None)
        for at, mine in enumerate(shares)
    ]
    for one in sites:
        one.start()
    for one in sites:
        one.join()
    return [t for one in sites for t in one.took], sum(one.lost for one in sites), time.perf_counter() - began


def day(homes: Sequence[Home], visits: int, writes: int, seconds: float) -> None:
    """Print whether a day goes through, and at which rate it does no longer."""
    whole = TABLETS * VISITS_A_DAY * WRITES_A_VISIT
    mean = whole / HOURS / 3600
    took, lost, lasted = worked(homes, visits, writes, None)
    print(
        f"A day of {SITES} sites and {TABLETS} tablets: {whole:,} writes, {mean:.1f} a second in {HOURS} hours.\n"
        f"{len(took):,} of them as fast as they go, {SITES} at once, two servers: {len(took) / lasted:.0f} a second, "
        f"ms {three(took)}, not acknowledged {lost}: the whole day in {whole * lasted / len(took) / 60:.0f} minutes."
    )
    held = 0.0
    for rate in RATES:
        took, lost, lasted = worked(homes, visits, max(SITES, int(rate * seconds)), rate)
        print(f"{rate:4} a second: ms {three(took)}, not acknowledged {lost}, {len(took) / lasted:.0f} a second came")
        if lost or share(took, 0.95) > SLOW:
            break
        held = rate
    print(f"Outgrown above {held:g} a second (p95 {SLOW:g} ms): {held / mean:.0f} times the mean of that day.")
    used = " and ".join(f"{taken(home.program)[0]:.0f}" for home in homes if home.program is not None)
    print(f"Memory of the two servers, which had {visits} visits in mind: {used} MB.")


def main() -> None:
    """Print the figures."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--visits", type=int, default=TABLETS * VISITS_A_DAY)
    parser.add_argument("--writes", type=int, default=6_000)
    parser.add_argument("--seconds", type=float, default=15.0)
    asked = parser.parse_args()
    with tempfile.TemporaryDirectory() as made, cluster(LASTING) as server, ExitStack() as ends:
        folder, address = Path(made), server.make("day")
        shop = open_server(address, folder / "filled")
        with just_now():
            fill(shop, asked.visits)
        shop.close()
        homes = [Home(address, folder / name, ends=ends) for name in ("one", "two")]
        for home in homes:
            home.start()
        day(homes, asked.visits, asked.writes, asked.seconds)


if __name__ == "__main__":
    with report("group.day"):
        main()
