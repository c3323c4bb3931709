"""Advice on engines that are joined otherwise than by couplers on blades: ``python -m tests.benchmarks.hardware``.

As ``tests.benchmarks.advice`` counts: minutes, and even where every bore's true flow is within 8 % of the mean and idle
within 60 rev/min of the one wanted. Only the adviser works at them: neither the technician nor the oracle knows these
screws. Engines 6000 and up; settings were chosen on engines 3000 to 3015.
"""

import argparse
import multiprocessing
import os
import statistics
import time
from collections import Counter
from functools import partial

import numpy as np

from app.sync.engine.layout import Bank, JointKind, Layout
from app.sync.engine.units import REV_PER_MIN, THOU
from app.sync.planning.advice import Advice
from app.sync.planning.planner import next_move
from app.sync.simulation.reference_run import follow_advice
from app.sync.simulation.simulator import SimulatedEngine
from tests.benchmarks.engine import SPEED_WINDOW, WINDOW
from tests.benchmarks.report import report

BLADES = tuple(t * THOU / 2 for t in range(3, 20))
TWINS: tuple[JointKind, ...] = ("shaft", "screw-in", "shaft")
BLADED_TWINS: tuple[JointKind, ...] = ("shaft", "blade", "shaft")
HARDWARE: dict[str, Layout] = {
    "4, couplers on blades": Layout((Bank("A", (1, 2, 3, 4), 2, 2),)),
    "4, screws, way known": Layout((Bank("A", (1, 2, 3, 4), 2, 2, ("screw-in", "screw-out", "screw-in")),)),
    "4, screws, way unknown": Layout((Bank("A", (1, 2, 3, 4), 2, 2, ("screw", "screw", "screw")),)),
    "4 on two shafts": Layout((Bank("A", (1, 2, 3, 4), 2, 2, TWINS),), bypass=frozenset({1, 2, 3, 4})),
    "opposed 6, one shaft a bank": Layout(
        (Bank("A", (1, 3, 5), 1, 1, ("shaft", "shaft")), Bank("B", (2, 4, 6), 2, 2, ("shaft", "shaft"))),
        bypass=frozenset(range(1, 7)),
        plenum=True,
    ),
    "8 on four shafts, blades": Layout(
        (Bank("A", (1, 2, 3, 4), 2, 2, BLADED_TWINS), Bank("B", (5, 6, 7, 8), 6, 6, BLADED_TWINS)),
        bypass=frozenset(range(1, 9)),
    ),
    "8, two banks, plenum": Layout((Bank("A", (1, 2, 3, 4), 2, 2), Bank("B", (5, 6, 7, 8), 6, 6)), plenum=True),
}


def one_engine(seed: int, name: str) -> tuple[SimulatedEngine, str, list[float]]:
    """Follow the advice at one engine: the engine as it ends, the last word, processor time of each advice [s]."""
    took: list[float] = []

    def advise(*facts: object) -> Advice:
        begun = time.process_time()
        found = next_move(*facts)  # type: ignore[arg-type]
        took.append(time.process_time() - begun)
        return found

    stand = SimulatedEngine(HARDWARE[name], seed)
    return stand, follow_advice(stand, BLADES, WINDOW, advise), took


def line(name: str, found: list[tuple[SimulatedEngine, str, list[float]]]) -> str:
    """One row as text."""
    ends = Counter(said.split()[0] for _, said, _ in found)
    stands = [stand for stand, _, _ in found]
    worst, minutes = np.array([s.worst() for s in stands]), [s.minutes for s in stands]
    in_time = np.array([abs(s.fast_by()) <= SPEED_WINDOW for s in stands])
    even, within = (worst <= WINDOW) & in_time, (worst <= 0.1) & in_time
    done = np.array([said.startswith("done") for _, said, _ in found])
    took = 1e3 * np.percentile([one for _, _, each in found for one in each], 95)
    return (
        f"{name:28} {len(found):4} {np.median([s.worst_at_first for s in stands]):6.0%} "
        f"{statistics.median(minutes):7.1f} {np.percentile(minutes, 90):6.1f} "
        f"{statistics.median(s.moves for s in stands):5.0f} {statistics.median(s.readings for s in stands):5.0f} "
        f"{even.mean():6.0%} {within.mean():8.0%} {even[done].mean():8.0%} "
        f"{ends['cannot']:7} {ends['no']:6} {took:6.0f}"
    )


def main() -> None:
    """Print the table."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--engines", type=int, default=60)
    parser.add_argument("--jobs", type=int, default=os.cpu_count())
    asked = parser.parse_args()
    print(f"window {WINDOW:.0%}, idle within {SPEED_WINDOW / REV_PER_MIN:.0f} rev/min")
    print(f"{'hardware':28}    n  first  median    p90 moves  read   even within10  done-ok  cannot no end p95-ms")
    with multiprocessing.get_context("spawn").Pool(asked.jobs) as pool:
        for name in HARDWARE:
            seeds = range(6000, 6000 + asked.engines)
            print(line(name, pool.map(partial(one_engine, name=name), seeds)), flush=True)


if __name__ == "__main__":
    with report("hardware"):
        main()
