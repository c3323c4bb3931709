"""How often the pooled shares decide, how often they are wrong, and whether what they claim comes true.

``python -m tests.benchmarks.shares``. The engines are those of ``tests.sync.idling_engines``: `near` set roughly,
`done` worked on, `single` even but for one plate. Every engine is read three times over; a pass is a chance of 0.95
that all bores are within 8 %. Seed 1 is for this table. ``--followed 300`` follows the advice at as many simulated
engines with couplers instead, to its last word, from seed 70000: one row a layout. ``--columns 60`` follows it at
engines of eight bores read by vacuum columns, those of ``tests.sync.column_engines`` from seed 5000.
"""

import argparse
import itertools
from collections.abc import Callable, Iterator, Sequence
from random import Random
from statistics import fmean
from typing import NamedTuple

from scipy.stats import binomtest

from app.sync.engine.events import Reading
from app.sync.engine.units import KPA
from app.sync.estimation.conformity import Conformity, decide
from app.sync.estimation.evenness import evenness
from app.sync.planning.recent_events import since_last_move
from app.sync.readings.untouched import untouched
from app.sync.simulation.reference_run import follow_advice
from app.sync.simulation.simulator import SimulatedEngine
from tests.benchmarks.engine import WINDOW, layout_of
from tests.benchmarks.people import BLADES
from tests.benchmarks.report import report
from tests.sync.column_engines import visited
from tests.sync.idling_engines import METERS, done, engines, near, single

ROUNDS = 3
EDGES = (0.0, 0.2, 0.4, 0.6, 0.8, 0.95, 1.01)
SEED = 1


class Setting(NamedTuple):
    """One line: what engines, how many bores, what meter and idle. ``step`` [kg/h]."""

    kind: Callable[[Random, int], list[float]]
    repeatability: float
    bores: int = 8
    wander: float = 0.0
    step: float | None = None

    @property
    def label(self) -> str:
        """How it is called in the table."""
        extra = (", idle wanders 0.7 %" if self.wander else "") + (f", step {self.step}" if self.step else "")
        return f"{self.kind.__name__}, {self.bores} bores, {100 * self.repeatability:g} %{extra}"


class Said(NamedTuple):
    """What was said of one engine after one round, and what is true."""

    rounds: int
    conformity: Conformity
    all_inside: float
    move_advised: bool
    inside: bool


SETTINGS = (
    *(Setting(kind, meter) for kind in (near, done, single) for meter in METERS),
    *(Setting(kind, 0.02, bores) for bores in (3, 4, 6, 12) for kind in (near, done)),
    Setting(near, 0.02, wander=0.007),
    Setting(near, 0.008, step=0.25),
)


def judged(setting: Setting, count: int) -> Iterator[Said]:
    """What is said of every engine after every round that leaves none in contradiction."""
    kind, repeatability, bores, wander, step = setting
    for engine in engines(count, kind, repeatability, bores=bores, wander=wander, step=step, seed=SEED):
        for n in range(1, ROUNDS + 1):
            engine.round()
            found = decide(engine.posterior(), closed=True)
            if found.all_inside is not None:
                yield Said(n, found.conformity, found.all_inside, found.move_advised, engine.inside)


def line(setting: Setting, count: int) -> str:
    """One line of the table."""
    said = list(judged(setting, count))
    inside = sum(each.inside for each in said if each.rounds == 1)
    cells = [setting.label, f"{100 * inside / count:.0f}"]
    for kind in (Conformity.EVEN, Conformity.LIMIT, Conformity.NOT_EVEN):
        wanted = kind is not Conformity.NOT_EVEN
        after = [[each for each in said if each.rounds == n and each.conformity is kind] for n in range(1, ROUNDS + 1)]
        shares = ", ".join(f"{100 * len(each) / count:.0f}" for each in after)
        wrong = sum(each.inside is not wanted for each in itertools.chain(*after))
        cells.append(f"{shares}; {wrong} of {sum(map(len, after))}")
    moves = [sum(each.move_advised for each in said if each.rounds == n) for n in range(1, ROUNDS + 1)]
    cells.append(", ".join(f"{100 * n / count:.0f}" for n in moves))
    classes = []
    for low, high in itertools.pairwise(EDGES):
        here = [each for each in said if low <= each.all_inside < high]
        if len(here) >= 30:
            claim, true = (
                sum(values) / len(here) for values in zip(*((e.all_inside, e.inside) for e in here), strict=True)
            )
            classes.append(f"{claim:.2f} {true:.2f}")
    cells.append(", ".join(classes))
    return "| " + " | ".join(cells) + " |"


def followed(bores: int, banks: int, seeds: Sequence[int]) -> str:
    """One line on engines handed over by the advice: how many are inside, of how many that is said rightly, and how
    many pass or have another good word that is wrong."""
    inside = good = both = passed = passed_rightly = 0
    minutes = []
    for seed in seeds:
        stand = SimulatedEngine(layout_of(bores, banks), seed)
        follow_advice(stand, BLADES, WINDOW)
        read = [one for one in since_last_move(stand.events) if isinstance(one, Reading)]
        before = untouched(stand.layout, stand.events)
        found = evenness(stand.layout, read, stand.meter, WINDOW, earlier=before)
        said = found.verdict in (Conformity.EVEN, Conformity.LIMIT)
        true = stand.worst() <= WINDOW
        inside, good, both = inside + true, good + said, both + (true and said)
        passes = found.verdict is Conformity.EVEN
        passed, passed_rightly = passed + passes, passed_rightly + (true and passes)
        minutes.append(stand.minutes)
    cells = [
        f"{bores} bores, {len(seeds)} engines",
        f"{both} of {inside}",
        _wrong(passed_rightly, passed),
        _wrong(both, good),
        f"{fmean(minutes):.1f}",
    ]
    return "| " + " | ".join(cells) + " |"


def _wrong(rightly: int, said: int) -> str:
    """How many of those that something was said of it was wrong of, with the interval."""
    share = binomtest(said - rightly, said).proportion_ci()
    return f"{said - rightly} of {said} ({100 * share.low:.0f} to {100 * share.high:.0f} %)"


def print_followed(count: int) -> None:
    """Print the table of engines that were followed."""
    print("| engines | good word of those inside | wrong passes (95 % interval) | wrong good words | minutes |")
    print("| --- | --- | --- | --- | --- |")
    for bores, banks in ((4, 1), (8, 2), (12, 2)):
        print(followed(bores, banks, range(70000, 70000 + count)), flush=True)


AIRS = ((12.0, 101.325), (33.0, 101.325), (20.0, 79.495))
"""How deep engines read by columns draw, and the air of the day [kPa]: at sea level, and at 2000 m."""


def print_columns(count: int) -> None:
    """Print the table of engines that were followed by columns."""
    print("| vacuum, air, kPa | even | within 10 % | done | done and not even | minutes |")
    print("| --- | --- | --- | --- | --- | --- |")
    for depth, air in AIRS:
        ended = [visited(seed, depth * KPA, air * KPA) for seed in range(5000, 5000 + count)]
        done = [one for one in ended if one.kind == "done"]
        even, near_even, wrong = (
            sum(one.worst <= WINDOW for one in ended),
            sum(one.worst <= 0.10 for one in ended),
            sum(one.worst > WINDOW for one in done),
        )
        minutes = fmean(one.minutes for one in ended)
        print(
            f"| {depth:g}, {air:.1f} | {even} of {count} | {near_even} | {len(done)} | {wrong} | {minutes:.1f} |",
            flush=True,
        )


def main() -> None:
    """Print the table."""
    options = argparse.ArgumentParser(description=__doc__)
    options.add_argument("--engines", type=int, default=100)
    options.add_argument("--followed", type=int, default=0)
    options.add_argument("--columns", type=int, default=0)
    chosen = options.parse_args()
    if chosen.followed or chosen.columns:
        if chosen.followed:
            print_followed(chosen.followed)
        if chosen.columns:
            print_columns(chosen.columns)
        return
    print(
        "| engines, meter | inside, % | even after 1, 2, 3 rounds, %; wrong | even as far as shown; wrong |"
        " not even; wrong | move advised | claimed and true, by class |\n| --- | --- | --- | --- | --- | --- | --- |"
    )
    for setting in SETTINGS:
        print(line(setting, chosen.engines), flush=True)


if __name__ == "__main__":
    with report("shares"):
        main()
