"""Advice at engines unlike the one believed in: ``python -m tests.benchmarks.unlike``.

The demonstration's engines answer with a power of the gap and know no idle speed, so nothing that is learned of them
fits all of it. What counts is that the advice comes to an end: moves and readings of a visit, and how even it ends.
"""

import argparse
from dataclasses import dataclass, replace
from random import Random

import numpy as np

from app.shop.demo.engine_model import DemoEngineModel
from app.shop.record.settings import DEFAULTS
from app.sync.engine.events import BladeReset, Event, IdleSpeed, Meter, Reading, StopTurn
from app.sync.engine.hardware import likely_hardware
from app.sync.engine.layout import Bank, Coupler, Layout
from app.sync.engine.units import KG_PER_HOUR, LITER, REV_PER_MIN, THOU
from app.sync.planning.advice import move_of
from app.sync.planning.planner import next_move
from tests.benchmarks.report import report

LAYOUTS = {
    "6, one bank": Layout((Bank("A", (1, 2, 3, 4, 5, 6), 3, 1),)),
    "8, two banks": Layout((Bank("A", (1, 2, 3, 4), 1, 1), Bank("B", (5, 6, 7, 8), 5, 5))),
    "12, two banks": Layout((Bank("A", (1, 2, 3, 4, 5, 6), 3, 1), Bank("B", (7, 8, 9, 10, 11, 12), 9, 7))),
}
FIRST_SEED = 100
MOST_MOVES = 60
DISPLACEMENT, WANTED, WINDOW = 3.9 * LITER, 850 * REV_PER_MIN, 0.08


@dataclass(frozen=True, slots=True)
class Ended:
    """How one visit ended: how many moves and readings it took, and how far the worst bore's flow is from the mean, as
    a fraction. ``again`` counts stop screws that were turned right after they had been."""

    moves: int
    readings: int
    again: int
    worst: float


def visit(layout: Layout, seed: int, speed_known: bool) -> Ended:
    """Follow the advice until it says that nothing more is to be done, or for ``MOST_MOVES``."""
    bench, hardware = DemoEngineModel(layout, Random(seed)), likely_hardware(DISPLACEMENT, len(layout.bores))
    events: list[Event] = [IdleSpeed(WANTED, 0.0)] if speed_known else []
    moves = readings = again = 0
    while moves < MOST_MOVES:
        told = next_move(layout, hardware, Meter(), events, WANTED, DEFAULTS.blades, WINDOW, DISPLACEMENT)
        move, at = move_of(told), 20.0 * len(events)
        if told.kind == "measure":
            shown = bench.read(told.bores[0], 0.0) * KG_PER_HOUR
            events.append(Reading(told.bores[0], shown, at, told.why == "close-round"))
            readings += 1
            continue
        if move is None:
            break
        before = events[-1]
        if isinstance(move, StopTurn):
            again += isinstance(before, StopTurn) and before.bank == move.bank
            bench.turn_stop(move.bank, move.turns)
        elif isinstance(move, BladeReset):
            bench.reset(Coupler(move.near, move.far), move.gap / THOU)
        events.append(replace(move, at=at))
        moves += 1
    flows = np.array(list(bench.gaps.values())) ** 0.85
    return Ended(moves, readings, again, float(np.abs(flows / flows.mean() - 1).max()))


def main() -> None:
    """Print the table."""
    options = argparse.ArgumentParser(description=__doc__)
    options.add_argument("--engines", type=int, default=60)
    chosen = options.parse_args()
    print("engine, idle speed typed: moves median, p90, most; readings median; within 8 and 10 %; turned again unseen")
    for name, layout in LAYOUTS.items():
        for known in (True, False):
            seeds = range(FIRST_SEED, FIRST_SEED + chosen.engines)
            found = [visit(layout, seed, known) for seed in seeds]
            moves, worst = [one.moves for one in found], np.array([one.worst for one in found])
            print(
                f"{name:14} {'yes' if known else 'no':3}  {np.median(moves):5.1f} {np.percentile(moves, 90):5.1f} "
                f"{max(moves):3}  {np.median([one.readings for one in found]):5.1f}  {np.mean(worst <= 0.08):6.1%} "
                f"{np.mean(worst <= 0.10):6.1%}  {sum(one.again for one in found):3}",
                flush=True,
            )


if __name__ == "__main__":
    with report("unlike"):
        main()
