"""Advice beside an oracle, on engines of the program's own law: ``python -m tests.benchmarks.advice``.

How it does at engines of another law, beside a good technician, is ``tests.benchmarks.yardstick``.

Minutes are the work's (stop 0.7, blade reset 2, reading 0.3, a first and a last round with their closing readings
included); success is true flow within 8 % of the mean on every bore and idle within 60 rev/min of the one wanted.
Engines 2000 and up are for this table; settings were chosen on engines 3000 to 3099.

"Cold" rows have the adviser at engines whose plates were all set on one feeler before the first start, each beside the
same engines as preset by turns. These engines are drawn about the edge gap of 0.005 in on which they idle as wanted, so
that is the feeler. Gauged hands err half as much, hot and cold; on a fresh assembly the couplers were never set. A
first start stalls that idles below three quarters of the speed wanted.
"""

import argparse
import multiprocessing
import os
import statistics
import time
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass, replace
from functools import partial

import numpy as np

from app.sync.engine.engine_air import usual_breathing
from app.sync.engine.events import ColdSetting
from app.sync.engine.linkage import IDLE_GAP
from app.sync.engine.units import REV_PER_MIN, THOU
from app.sync.estimation.posterior import prior_for
from app.sync.planning.cold_setting import ASSEMBLED_SD, SLOWEST_START, outward
from app.sync.planning.planner import next_move
from tests.benchmarks.engine import PER_BORE, SPEED_WINDOW, WANTED, WINDOW, Imperfections, SimulatedEngine, layout_of
from tests.benchmarks.people import BLADES, adviser, oracle
from tests.benchmarks.report import report

TEST_SEEDS = 2000

Worker = Callable[[SimulatedEngine], str]
WHO: dict[str, Worker] = {"adviser": adviser, "oracle": oracle}


@dataclass(frozen=True)
class Outcome:
    """How one engine ended. ``worst`` is a fraction of the mean, ``fast_by`` in rev/s."""

    minutes: float
    moves: int
    readings: int
    worst: float
    worst_at_first: float
    fast_by: float
    said: str
    cold_minutes: float = 0.0
    stalled: bool = False

    def within(self, window: float) -> bool:
        """Whether every bore is inside a window, and idle speed inside its own."""
        return self.worst <= window and abs(self.fast_by) <= SPEED_WINDOW


def one_engine(seed: int, who: str, bores: int, banks: int, rough: Imperfections) -> Outcome:
    """Let somebody work at one engine."""
    stand = SimulatedEngine(layout_of(bores, banks), seed, rough)
    return outcome_of(stand, WHO[who](stand))


def outcome_of(stand: SimulatedEngine, said: str) -> Outcome:
    """How an engine ended, with the last word of whoever worked at it."""
    return Outcome(
        stand.minutes, stand.moves, stand.readings, stand.worst(), stand.worst_at_first, stand.fast_by(), said
    )


def one_cold(seed: int, bores: int, banks: int, rough: Imperfections, gauged: bool, plates_set: bool) -> Outcome:
    """Let the adviser work at one engine after a first start, its plates all set cold or as preset by turns."""
    stand = SimulatedEngine(layout_of(bores, banks), seed, rough)
    for bore, _ in outward(stand.layout) if plates_set else ():
        stand.set_cold(ColdSetting(bore, IDLE_GAP, (IDLE_GAP,), 0.0, gauged))
    stalled, worst = stand.fast_by() < (SLOWEST_START - 1) * WANTED, stand.worst()
    found = outcome_of(stand, adviser(stand))
    return replace(found, cold_minutes=stand.cold_minutes, stalled=stalled, worst_at_first=worst)


def cold_rows(engines: int, start: int, jobs: int) -> Iterator[tuple[str, list[Outcome]]]:
    """Every row of the table of cold settings: setting, and how each engine ended."""
    usual = Imperfections()
    hands = [("ordinary hands", usual, False), ("gauged hands", replace(usual, blade=0.2 * THOU), True)]
    with multiprocessing.get_context("spawn").Pool(jobs) as pool:
        for bores, banks in ((8, 2), (4, 1)):
            for fresh in (False, True):
                for hand, rough, gauged in hands:
                    couplers = ASSEMBLED_SD if fresh else rough.couplers
                    for plates_set in (False, True):
                        setting = f"{bores}, {hand}{', fresh' if fresh else ''}"
                        work = partial(
                            one_cold,
                            bores=bores,
                            banks=banks,
                            rough=replace(rough, couplers=couplers),
                            gauged=gauged,
                            plates_set=plates_set,
                        )
                        seeds = range(start, start + max(engines, 2))
                        name = f"{setting:26} {'cold' if plates_set else 'usual':5}"
                        yield name, pool.map(work, seeds, chunksize=4)


def cold_line(setting: str, found: list[Outcome]) -> str:
    """One row of that table as text."""
    hot = [one.minutes for one in found]
    return (
        f"{setting:32} {len(found):4} {statistics.mean(one.cold_minutes for one in found):6.1f} "
        f"{statistics.mean(hot):6.1f} {np.std(hot) / len(hot) ** 0.5:5.1f} {statistics.median(hot):7.1f} "
        f"{np.percentile(hot, 90):6.1f} {np.mean([one.within(WINDOW) for one in found]):8.1%} "
        f"{np.mean([one.worst_at_first for one in found]):8.1%} {np.mean([one.stalled for one in found]):7.1%}"
    )


def rows(
    engines: int, start: int, jobs: int, workers: Sequence[str] = tuple(WHO)
) -> Iterator[tuple[str, str, list[Outcome]]]:
    """Every row of the table: setting, who, and how each engine ended."""
    usual = Imperfections()
    twice = replace(usual, repeatability=2 * usual.repeatability)
    rough_hands = replace(usual, blade=2 * usual.blade, turn=2 * usual.turn)
    settings = [
        ("8 bores, two banks", 8, 2, usual, engines),
        ("4, one bank", 4, 1, usual, engines // 3),
        ("6, one bank", 6, 1, usual, engines // 3),
        ("6, two banks", 6, 2, usual, engines // 3),
        ("12, two banks", 12, 2, usual, engines // 3),
        ("8, meter noise doubled", 8, 2, twice, engines // 3),
        ("8, hands twice as rough", 8, 2, rough_hands, engines // 3),
    ]
    with multiprocessing.get_context("spawn").Pool(jobs) as pool:
        for name, bores, banks, rough, count in settings:
            for who in workers:
                work = partial(one_engine, who=who, bores=bores, banks=banks, rough=rough)
                yield name, who, pool.map(work, range(start, start + max(count, 2)), chunksize=4)


def line(setting: str, who: str, found: list[Outcome]) -> str:
    """One row as text."""
    minutes = [one.minutes for one in found]
    share = [np.mean([one.within(window) for one in found]) for window in (WINDOW, 0.10)]
    worse = np.mean([one.worst > max(one.worst_at_first, WINDOW) for one in found])
    return (
        f"{setting:24} {who:11} {len(found):4} {statistics.median(minutes):7.1f} {np.percentile(minutes, 90):6.1f} "
        f"{statistics.median(one.moves for one in found):6.1f} {statistics.median(one.readings for one in found):8.1f} "
        f"{share[0]:8.1%} {share[1]:8.1%} {worse:6.1%}"
    )


def speed(calls: int = 200) -> str:
    """How long one piece of advice takes with twelve bores and forty rounds behind it, on one core: as it is asked for
    in a visit, after every reading and move, and with nothing kept from an earlier one, as after a restart."""
    stand = SimulatedEngine(layout_of(12, 2), TEST_SEEDS)
    couplers = stand.layout.couplers()
    next_to_read: list[int] = []
    taken: dict[str, list[tuple[float, float]]] = {"after each reading": [], "after a restart": []}
    rounds = 0
    while len(taken["after each reading"]) < calls:
        if not next_to_read:
            if rounds:
                stand.reset(couplers[rounds % len(couplers)], (BLADES[6],))
            rounds += 1
            stand.read_speed()
            next_to_read = [*stand.layout.bores, stand.layout.bores[0]]
        stand.read(next_to_read.pop(0))
        if rounds <= 40:
            continue
        for how, found in taken.items():
            # A belief of its own has nothing kept of it.
            fresh = prior_for(stand.layout, stand.hardware, usual_breathing(12, 12 * PER_BORE, WANTED))
            begun = time.perf_counter(), time.process_time()
            next_move(
                stand.layout, stand.hardware, stand.meter, stand.events, WANTED, BLADES, WINDOW, 12 * PER_BORE,
                None if how == "after each reading" else fresh,
            )  # fmt: skip
            found.append((time.perf_counter() - begun[0], time.process_time() - begun[1]))
    lines = [
        f"advice for 12 bores with 40 rounds behind it, {calls} calls, ms: median and p95 by the clock, of the core"
    ]
    for how, found in taken.items():
        clock, core = (1e3 * np.array(one) for one in zip(*found, strict=True))
        lines.append(
            f"  {how:20} {np.median(clock):6.1f} {np.percentile(clock, 95):6.1f} "
            f"{np.median(core):8.1f} {np.percentile(core, 95):6.1f}"
        )
    return "\n".join(lines)


def main() -> None:
    """Print the table."""
    options = argparse.ArgumentParser(description=__doc__)
    options.add_argument("--engines", type=int, default=200, help="of eight bores; other rows take a third")
    options.add_argument("--seed", type=int, default=TEST_SEEDS, help="number of the first engine")
    options.add_argument("--jobs", type=int, default=os.cpu_count() or 1)
    options.add_argument("--who", nargs="+", choices=WHO, default=tuple(WHO), help="works at the engines")
    options.add_argument("--speed-only", action="store_true")
    options.add_argument("--cold-only", action="store_true", help="the rows with plates set cold, and no others")
    chosen = options.parse_args()
    if chosen.cold_only:
        print_cold(chosen.engines // 2, chosen.seed, chosen.jobs)
        return
    print(speed(), flush=True)
    if chosen.speed_only:
        return
    print(f"idle wanted {WANTED / REV_PER_MIN:.0f} rev/min, window {WINDOW:.0%}")
    print(f"{'':24} {'who':11} {'n':>4} {'minutes':>7} {'p90':>6} {'moves':>6} {'readings':>8} {'in 8 %':>8} "
          f"{'in 10 %':>8} {'worse':>6}")  # fmt: skip
    for setting, who, found in rows(chosen.engines, chosen.seed, chosen.jobs, chosen.who):
        print(line(setting, who, found), flush=True)
    print_cold(chosen.engines // 2, chosen.seed, chosen.jobs)


def print_cold(engines: int, start: int, jobs: int) -> None:
    """Print what setting all plates cold saves and costs."""
    print(f"{'plates set before the start':32} {'n':>4} {'cold':>6} {'hot':>6} {'+-':>5} {'median':>7} {'p90':>6} "
          f"{'in 8 %':>8} {'worst':>8} {'stalls':>7}")  # fmt: skip
    for setting, found in cold_rows(engines, start, jobs):
        print(cold_line(setting, found), flush=True)


if __name__ == "__main__":
    with report("advice"):
        main()
