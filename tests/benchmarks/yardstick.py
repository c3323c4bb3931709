"""Advice beside a good technician at engines of another law: ``python -m tests.benchmarks.yardstick``.

A reading takes 0.3 min, a turn 0.7, a feeler reset 2.0. Even is every bore's true flow within 8 % of the mean and idle
within 60 rev/min of the one wanted. The engines are ``tests.benchmarks.flow_engine``'s, the technician is
``tests.benchmarks.technician``'s; "finer meter" is the advice with a meter that repeats to 0.2 % and is known to. Both
columns of a row have the same engines. "Accused" are those of the engines without that fault at which a coupler or a
bore was named all the same; "named" those with it, at the right place. Of dead couplers it is out of those that were
reset and are not even, with the median of the resets before it: an engine that comes even without that coupler cannot
show it.
Where the advice said that it is done, "claimed" is its chance, on average, that every bore is inside, and "true" how
often that was so; "band" is how often the first reading after a move lay in the band said to hold nine of ten.
"""

import argparse
import multiprocessing
import os
import statistics
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field, replace
from functools import partial
from math import radians

import numpy as np

from app.sync.engine.events import BladeReset, Meter
from app.sync.engine.units import KG_PER_HOUR, REV_PER_MIN
from app.sync.planning.advice import AdviceReason
from tests.benchmarks.engine import SPEED_WINDOW, WINDOW, layout_of
from tests.benchmarks.flow_engine import FlowEngine, TrueMeter, drawn
from tests.benchmarks.report import report
from tests.benchmarks.technician import Advised, technician
from tests.sync.column_engines import LEAK, WANTED, Truth

SEEDS = (2000, 6000)
"""First engines of the two sets; no setting of the program was chosen on them."""

FINE = Meter(step=0.01 * KG_PER_HOUR, repeatability=0.002)
ACCUSING = (AdviceReason.NO_EFFECT, AdviceReason.SCATTER)
SLOP, DEAD = 3, 4
"""Bores that the faults are at: a plate with slop, and the far end of a dead coupler."""


@dataclass(frozen=True, slots=True)
class Row:
    """Engines alike in layout and in what is unlike the program's belief."""

    name: str
    bores: int = 8
    banks: int = 2
    truth: Truth = field(default_factory=Truth)
    meter: TrueMeter = field(default_factory=TrueMeter)
    slop: Mapping[int, float] = field(default_factory=dict)
    dead: frozenset[int] = frozenset()


PLAIN = (
    Row("8, two banks"),
    Row("4, one bank", 4, 1),
    Row("6, one bank", 6, 1),
    Row("6, two banks", 6, 2),
    Row("12, two banks", 12, 2),
)
UNLIKE = (
    Row("8, meter twice as noisy", meter=TrueMeter(repeatability=0.04)),
    Row("8, stop lever 30 % more", truth=Truth(lever=1.3)),
    Row("8, stop screw x 0.7", truth=Truth(lever=0.7)),
    Row("8, stop screw x 1.4", truth=Truth(lever=1.4)),
    Row("8, slop 0.004 rad", slop={SLOP: 0.004}),
    Row("8, one coupler dead", dead=frozenset({DEAD})),
    Row("8, leaks x 3", truth=Truth(leak=3 * LEAK)),
    Row("8, closed at 4.5 degrees", truth=Truth(closed=radians(4.5))),
    Row("8, closed at 9 degrees", truth=Truth(closed=radians(9))),
    Row("8, 0.9 of pressure shared", truth=Truth(sharing=0.9)),
    Row("8, 3 % misread", meter=TrueMeter(misread=0.03)),
    Row("8, meter shows flow^1.15", meter=TrueMeter(exponent=1.15)),
    Row("8, hands twice as rough", truth=replace(Truth(), hand=2 * Truth().hand, screw=2 * Truth().screw)),
)
WHO = ("technician", "advice", "finer meter")


@dataclass(frozen=True, slots=True)
class Outcome:
    """How one engine ended."""

    minutes: float
    moves: int
    readings: int
    worst: float
    fast_by: float
    said: str
    resets: int = 0
    inside: float | None = None
    bands: int = 0
    held: int = 0

    @property
    def done(self) -> bool:
        """Whether the advice said that it is done, with a chance that every bore is inside."""
        return self.said.startswith("done") and self.inside is not None

    @property
    def even(self) -> bool:
        """Whether every bore and the idle are inside."""
        return self.worst <= WINDOW and abs(self.fast_by) <= SPEED_WINDOW

    def names(self, bore: int) -> bool:
        """Whether that bore, or the coupler that sets it, was named as the cause."""
        return self.accuses and self.said.split()[2:] == [str(bore)]

    @property
    def accuses(self) -> bool:
        """Whether anything was named as the cause."""
        return self.said.startswith("cannot ") and self.said.split()[1] in ACCUSING


def one_engine(seed: int, row: Row, who: str) -> Outcome:
    """Let somebody work at one engine."""
    stand = drawn(seed, layout_of(row.bores, row.banks), row.truth, row.meter, row.slop, row.dead)
    if who == "finer meter":
        stand.meter = FINE
        stand.true_meter = replace(row.meter, repeatability=FINE.repeatability, step=FINE.step)
    if who == "technician":
        return outcome_of(stand, technician(stand))
    hand = Advised(stand)
    found = outcome_of(stand, hand.work())
    return replace(found, inside=hand.inside, bands=hand.bands, held=hand.held)


def outcome_of(stand: FlowEngine, said: str) -> Outcome:
    """How an engine ended, with the last word of whoever worked at it."""
    resets = sum(isinstance(one, BladeReset) and one.far in stand.dead for one in stand.events)
    return Outcome(stand.minutes, stand.moves, stand.readings, stand.worst, stand.fast_by, said, resets)


def outcomes(rows: Sequence[Row], engines: int, start: int, jobs: int) -> Iterator[tuple[Row, str, list[Outcome]]]:
    """Every row for everybody; the advice with a finer meter at the plain ones alone."""
    with multiprocessing.get_context("spawn").Pool(jobs) as pool:
        for row in rows:
            for who in WHO if row in PLAIN else WHO[:2]:
                yield row, who, pool.map(partial(one_engine, row=row, who=who), range(start, start + engines), 2)


def line(row: Row, who: str, found: list[Outcome]) -> str:
    """One row as text."""
    minutes = [one.minutes for one in found]
    named = [one for one in found if any(one.names(bore) for bore in (*row.slop, *row.dead))]
    accused = sum(one.accuses for one in found) - len(named)
    done = [one for one in found if one.done]
    claims = (np.mean([one.inside for one in done]), np.mean([one.worst <= WINDOW for one in done])) if done else ()
    bands, held = sum(one.bands for one in found), sum(one.held for one in found)
    return (
        f"{row.name:26} {who:11} {len(found):4} {statistics.median(minutes):7.1f} {np.percentile(minutes, 90):6.1f} "
        f"{statistics.median(one.moves for one in found):6.1f} {statistics.median(one.readings for one in found):8.1f} "
        f"{np.mean([one.even for one in found]):7.1%} {np.mean([one.worst <= 0.1 for one in found]):8.1%} "
        f"{told_of(row, found, named):>17} {accused:7} "
        f"{' '.join(f'{one:6.1%}' for one in claims) or '-      -':>14} {f'{held / bands:.1%}' if bands else '-':>6}"
    )


def told_of(row: Row, found: Sequence[Outcome], named: Sequence[Outcome]) -> str:
    """How many engines with a fault were named: of those that could be."""
    if row.dead:
        resets = f", after {statistics.median(one.resets for one in named):g}" if named else ""
        return f"{len(named)} of {sum(one.resets > 0 and (one in named or not one.even) for one in found)}{resets}"
    return f"{len(named)} of {len(found)}" if row.slop else "-"


def main() -> None:
    """Print the table."""
    options = argparse.ArgumentParser(description=__doc__)
    options.add_argument("--engines", type=int, default=60, help="of each row and set")
    options.add_argument("--jobs", type=int, default=os.cpu_count() or 1)
    options.add_argument("--plain", action="store_true", help="only the rows where truth is as believed")
    options.add_argument("--sets", type=int, nargs="+", default=SEEDS, help="first engine of each set")
    options.add_argument("--rows", nargs="+", help="only these rows, by name")
    chosen = options.parse_args()
    print(f"idle wanted {WANTED / REV_PER_MIN:.0f} rev/min, window {WINDOW:.0%}")
    print(f"{'':26} {'who':11} {'n':>4} {'minutes':>7} {'p90':>6} {'moves':>6} {'readings':>8} {'even':>7} "
          f"{'in 10 %':>8} {'named':>17} {'accused':>7} {'claimed':>7} {'true':>6} {'band':>6}")  # fmt: skip
    rows = [one for one in (PLAIN if chosen.plain else PLAIN + UNLIKE) if one.name in (chosen.rows or (one.name,))]
    for start in chosen.sets:
        print(f"engines {start} and up")
        for row, who, found in outcomes(rows, chosen.engines, start, chosen.jobs):
            print(line(row, who, found), flush=True)


if __name__ == "__main__":
    with report("yardstick"):
        main()
