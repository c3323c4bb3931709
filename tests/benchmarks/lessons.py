"""Advice at engines that come back, with what the visit before taught and without.

``python -m tests.benchmarks.lessons``. Every engine is evened, runs for a while and is evened again, once from the
usual belief and once from what the first visit taught, by the same hands with the same noise. Meanwhile every plate
wears a little, every third coupler slips, and leaks, demand and the meter's scale change by a few per cent. Engines
2000 and up are for this table.
"""

import argparse
import copy
import multiprocessing
import os
import statistics
from functools import partial

import numpy as np

from app.sync.estimation.filter import run_filter
from app.sync.estimation.posterior import start_prior
from app.sync.estimation.prior_transfer import prior_from_history
from app.sync.planning.planner import next_move
from tests.benchmarks.advice import TEST_SEEDS, Outcome, line, outcome_of
from tests.benchmarks.engine import PER_BORE, WANTED, SimulatedEngine, layout_of
from tests.benchmarks.people import adviser
from tests.benchmarks.report import report

WORN, SLIPPED = 0.0015, 0.009  # rad, of every plate and of a coupler that slipped
SLIPS = 0.35
LEAK_CHANGE, DEMAND_CHANGE, SCALE_CHANGE = 0.05, 0.03, 0.01


def come_back(stand: SimulatedEngine, same_meter: bool) -> None:
    """Let an engine run for a while; nothing of the visit before is left but its plates."""
    rng = np.random.default_rng([stand.seed, 99])
    stand.events, stand.minutes, stand.readings, stand.moves = [], 0.0, 0, 0
    stand.heated, stand.wander = 60.0, 0.0
    stand.angle = np.maximum(stand.angle + WORN * rng.standard_normal(len(stand.angle)), 0.006)
    for coupler in stand.layout.couplers():
        if rng.random() < SLIPS:
            rows = [stand.place[bore] for bore in stand.layout.bank_of(coupler.far).beyond(coupler)]
            stand.angle[rows] = np.maximum(stand.angle[rows] + rng.normal(0, SLIPPED), 0.006)
    stand.leak = np.clip(stand.leak * (1 + LEAK_CHANGE * rng.standard_normal(len(stand.leak))), 0.2e-6, None)
    stand.demand *= 1 + DEMAND_CHANGE * rng.standard_normal()
    stand.scale *= 1 + SCALE_CHANGE * rng.standard_normal()
    if not same_meter:
        stand.scale = rng.uniform(0.85, 1.15)
    stand.worst_at_first = stand.worst()


def one_engine(seed: int, bores: int, banks: int, same_meter: bool) -> tuple[Outcome, Outcome]:
    """The second visit of one engine: from the usual belief, and from what the first visit taught."""
    stand = SimulatedEngine(layout_of(bores, banks), seed)
    adviser(stand)
    fresh = start_prior(stand.layout, stand.hardware, bores * PER_BORE, WANTED)
    taught = prior_from_history(
        run_filter(fresh, stand.meter, stand.events), fresh, same_meter=same_meter, same_air=True
    )
    come_back(stand, same_meter)
    ends = []
    for start in (None, taught):
        again = copy.deepcopy(stand)
        again.rng = np.random.default_rng([seed, 5])
        ends.append(outcome_of(again, adviser(again, partial(next_move, start=start))))
    return ends[0], ends[1]


def main() -> None:
    """Print the table."""
    options = argparse.ArgumentParser(description=__doc__)
    options.add_argument("--engines", type=int, default=100)
    options.add_argument("--seed", type=int, default=TEST_SEEDS)
    options.add_argument("--jobs", type=int, default=os.cpu_count() or 1)
    chosen = options.parse_args()
    print("setting, who, engines, minutes median and p90, moves, readings, within 8 %, within 10 %, made worse")
    with multiprocessing.get_context("spawn").Pool(chosen.jobs) as pool:
        for bores, banks in ((8, 2), (4, 1)):
            for same_meter in (True, False):
                work = partial(one_engine, bores=bores, banks=banks, same_meter=same_meter)
                pairs = pool.map(work, range(chosen.seed, chosen.seed + chosen.engines), chunksize=4)
                setting = f"{bores} bores, {'same' if same_meter else 'another'} meter"
                for at, who in enumerate(("usual", "taught")):
                    print(line(setting, who, [pair[at] for pair in pairs]), flush=True)
                saved = [usual.minutes - taught.minutes for usual, taught in pairs]
                error = statistics.stdev(saved) / len(saved) ** 0.5
                print(f"{'':24} saved {statistics.fmean(saved):.1f} ± {error:.1f} minutes on average", flush=True)


if __name__ == "__main__":
    with report("lessons"):
        main()
