"""A long day: ``python -m tests.faults.soak`` reads one visit 20,000 times, and an engine with up to 500 visits.

The real program is asked over the wire. At each step the table says what it takes: memory, open files, and how soon a
reading is stored and a page shown. ``--write`` keeps the table in the README beside.
"""

import argparse
import math
import sys
import tempfile
import time
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass
from pathlib import Path

from app.shop.procedure.phases import COLD_PRESET, FIRST_FIRE, HEAT_SOAKED
from app.shop.store.upgrade import open_shop
from tests.benchmarks.report import report
from tests.faults.bench import Ledger, Tablet, audit, readings_path, shop_with_visits, stored
from tests.shop.past import Past
from tests.shop.yard import check_all, read_round, visit
from tests.started import Started, started

README = Path(__file__).parent / "README.md"
STEPS = 8
LOOKS = 20
"""How often each page is asked for at a step."""


@dataclass(frozen=True)
class Step:
    """What the program takes once ``so_far`` was done: memory [MB], open files, and the p95 of each request [ms]."""

    so_far: int
    megabytes: float
    files: int
    late: tuple[float, ...]


def taken(program: Started) -> tuple[float, int]:
    """Memory [MB] and open files of the program, that of Linux."""
    own = Path(f"/proc/{program.process.pid}")
    memory = (own / "status").read_text().partition("VmRSS:")[2].split()[0]
    return int(memory) / 1024, sum(1 for _ in (own / "fd").iterdir())


def late(do: Callable[[], object], times: int = LOOKS) -> float:
    """How long 95 of 100 stay under [ms]."""
    took = []
    for _ in range(times):
        began = time.perf_counter()
        do()
        took.append((time.perf_counter() - began) * 1000)
    return sorted(took)[math.ceil(0.95 * len(took)) - 1]


def shown(tablet: Tablet, path: str) -> Callable[[], None]:
    """Look at a page and insist on seeing it."""

    def look() -> None:
        answer = tablet.get(path)
        if answer.status != 200:
            raise AssertionError(f"{path} was answered with {answer.status}")

    return look


def readings(folder: Path, number: int, steps: int = STEPS) -> Iterator[Step]:
    """One visit read ``number`` times by one tablet that looks at it now and then."""
    before = shop_with_visits(folder, now=True)
    ledger = Ledger()
    with started("serve", "--port", "0", "--data", str(folder)) as program, Tablet(program.address) as tablet:

        def read() -> None:
            fields = ledger.new_reading(len(ledger.sent))
            if not ledger.note(fields["key"], tablet.post(readings_path(1), fields)):
                raise AssertionError("a reading was not stored")

        late(shown(tablet, readings_path(1)))
        for step in range(1, steps + 1):
            so_far = number * step // steps
            stored_late = late(read, so_far - len(ledger.sent))
            shown_late = late(shown(tablet, readings_path(1)))
            yield Step(so_far, *taken(program), (stored_late, shown_late))
        program.stop()
    audit(folder, before, ledger)


def visits(folder: Path, number: int) -> Step:
    """An engine with that many visits, the last one under way."""
    shop = open_shop(folder)
    past = Past(shop)
    for _ in range(number - 1):
        past.visit([6.5] * 8)
    here = visit(shop, past.engine_id)
    check_all(shop, here, COLD_PRESET)
    check_all(shop, here, FIRST_FIRE)
    read_round(shop, here, FIRST_FIRE)
    check_all(shop, here, HEAT_SOAKED)
    shop.close()
    before, ledger = set(stored(folder)), Ledger()
    with started("serve", "--port", "0", "--data", str(folder)) as program, Tablet(program.address) as tablet:
        paths = (f"/engines/{past.engine_id}", readings_path(here))
        for path in paths:  # the first look works everything out
            shown(tablet, path)()
        step = Step(number, *taken(program), tuple(late(shown(tablet, path)) for path in paths))
        program.stop()
    audit(folder, before, ledger)
    return step


def rows(kind: str, steps: Sequence[Step]) -> Iterator[str]:
    """Lines of the table."""
    for step in steps:
        times = " | ".join(f"{one:.0f}" for one in step.late)
        yield f"| {step.so_far} {kind} | {step.megabytes:.0f} | {step.files} | {times} |"


def main() -> None:
    """As the command line says."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--readings", type=int, default=20_000)
    parser.add_argument("--visits", type=int, default=500)
    wanted = parser.parse_args([one for one in sys.argv[1:] if one != "--write"])
    with report("soak", README), tempfile.TemporaryDirectory() as folder:
        print("| so far | memory, MB | open files | reading stored, or engine shown, p95 ms | visit shown, p95 ms |")
        print("| --- | --- | --- | --- | --- |")
        for step in readings(Path(folder) / "readings", wanted.readings):
            print(*rows("readings of one visit", [step]), sep="\n", flush=True)
        for share in (50, 10, 3, 1):
            step = visits(Path(folder) / f"visits-{share}", max(1, wanted.visits // share))
            print(*rows("visits of one engine", [step]), sep="\n", flush=True)


if __name__ == "__main__":
    main()
