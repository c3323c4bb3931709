"""What live values save: ``python -m tests.benchmarks.live``.

The first table has one visit an engine, worked through the commands that the pages send: typed; with one live probe
carried from bore to bore and a pedal; with sensors at all bores at once, and that probe for the proof. The engines are
``tests.benchmarks.flow_engine``'s, the same ones in every row. A turn takes 0.7 min, a feeler reset 2.0; what a reading
takes and how well it repeats is in the row. Even is every bore's true flow within 8 % of the mean and idle within 60
rev/min of the one wanted.

The second table is how long saving a reading takes while twelve channels stream at 200 values a second, and while none
does, in turns of one run at one program.
"""

import argparse
import multiprocessing
import os
import statistics
import tempfile
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from datetime import datetime, timedelta
from functools import partial
from pathlib import Path

import numpy as np

from app.shop.assessment.verdicts import next_of
from app.shop.commands import checks, engines, meters, moves, readings, visits
from app.shop.commands.meters import NewMeter
from app.shop.commands.moves import NewMove
from app.shop.commands.readings import NewLook, NewReading
from app.shop.commands.visits import NewVisit
from app.shop.procedure.parts import temperatures_of
from app.shop.procedure.phases import COLD_PRESET, FIRST_FIRE, HEAT_SOAKED
from app.shop.procedure.read_order import next_reading
from app.shop.record.visit_record import VisitRecord
from app.shop.store.database import Database
from app.shop.store.upgrade import open_shop
from app.sync.engine.events import BladeReset, StopTurn
from app.sync.engine.units import KG_PER_HOUR, MINUTE, REV_PER_MIN
from app.sync.planning.advice import Advice, AdviceKind, AdviceReason, move_of
from tests.benchmarks.engine import layout_of
from tests.benchmarks.flow_engine import BIG, FlowEngine, TrueMeter, drawn
from tests.benchmarks.report import report
from tests.benchmarks.saving import share
from tests.benchmarks.streaming import side_by_side
from tests.benchmarks.yardstick import Outcome
from tests.shop.yard import AT, FACTS, check_all, key, read_round, visit_record

FIRST = 9000
"""Seed of the first engine; no setting of the program was chosen on these."""

MOST_STEPS = 300
"""Steps after which a visit has no end."""

GAUGES_EVERY = 15 * MINUTE


@dataclass(frozen=True, slots=True)
class Way:
    """How bores are read: minutes that a reading takes, or a look at all, and by what it repeats as a fraction. What
    is typed has no error of its own and the step of its meter."""

    name: str
    minutes: float
    repeats: float
    live: bool = True
    at_once: bool = False


PROBE = Way("carried probe and pedal", 0.15, 0.01)
WAYS = (
    Way("typed", 0.3, 0.02, live=False),
    PROBE,
    Way("all bores at once", 0.05, 0.006, at_once=True),
)


@dataclass
class Visit:
    """A visit under way: the shop that it is recorded in, the engine, and how its bores are read."""

    shop: Database
    stand: FlowEngine
    way: Way
    ident: int = 0
    taken: int = 0
    gauges_read: float = 0.0
    proving: bool = False

    def open(self) -> None:
        """Bring the visit as far as the fine round."""
        layout = self.stand.layout
        facts = replace(FACTS, displacement=BIG * len(layout.bores))
        step = self.stand.true_meter.step / KG_PER_HOUR
        meter = meters.register(self.shop, key(), NewMeter("Bench", "kg/h", step, 0.0, 90.0))
        engine = engines.register(self.shop, key(), facts, layout, self.stand.hardware, AT)
        self.ident = visits.open_visit(self.shop, engine, key(), NewVisit("test cell", "1", "First", "KM", meter), AT)
        check_all(self.shop, self.ident, COLD_PRESET)
        check_all(self.shop, self.ident, FIRST_FIRE)
        read_round(self.shop, self.ident, FIRST_FIRE)
        check_all(self.shop, self.ident, HEAT_SOAKED)

    @property
    def record(self) -> VisitRecord:
        """What is recorded by now."""
        return visit_record(self.shop, self.ident)

    @property
    def at(self) -> str:
        """The time at the engine."""
        return (datetime.fromisoformat(AT) + timedelta(minutes=self.stand.minutes)).isoformat(timespec="milliseconds")

    def work(self) -> str:
        """Do what the page says until it says that nothing is left, or that nothing helps; its last word."""
        self.tell_speed()
        while self.taken + self.stand.moves < MOST_STEPS:
            advice = next_of(self.record, HEAT_SOAKED)
            assert advice is not None
            if advice.kind in (AdviceKind.DONE, AdviceKind.CANNOT):
                return f"{advice.kind} {advice.why}"
            self.look_at_gauges()
            if advice.kind is not AdviceKind.MEASURE:
                self.move(advice)
            elif self.way.at_once and not self.proves(advice):
                self.take_all()
            else:
                self.take(advice.bores[0])
        return "no end"

    def proves(self, advice: Advice) -> bool:
        """Whether the probe is asked for, or has read already since the last move."""
        self.proving = self.proving or advice.why is AdviceReason.ONE_PROBE
        return self.proving

    def tell_speed(self) -> None:
        """Record the idle speed."""
        self.stand.read_speed()
        speed = round(self.stand.speed * (1 + 0.005 * self.stand.rng.gauss(0, 1)) / REV_PER_MIN)
        checks.record(self.shop, self.ident, key(), HEAT_SOAKED.slug, {"idle-speed": float(speed)}, "KM", self.at)

    def look_at_gauges(self) -> None:
        """Record the temperatures now and then, as a hot engine is asked for; it takes no time in any row."""
        if 60 * self.stand.minutes - self.gauges_read < GAUGES_EVERY:
            return
        self.gauges_read = 60 * self.stand.minutes
        record = self.record
        hot: dict[str, float | None] = {
            what: record.series(HEAT_SOAKED.slug, what)[-1][1] for what in temperatures_of(record.layout)
        }
        checks.record(self.shop, self.ident, key(), HEAT_SOAKED.slug, hot, "KM", self.at)

    def shown(self, bore: int) -> float:
        """What the instrument shows at a bore now [kg/h], as the page writes it."""
        return self.read(bore, self.way)

    def read(self, bore: int, way: Way) -> float:
        """The same with another instrument."""
        self.stand.true_meter = replace(self.stand.true_meter, repeatability=way.repeats)
        self.stand.read(bore)
        self.stand.minutes += way.minutes - 0.3
        value = self.stand.shown / KG_PER_HOUR
        return float(f"{max(value, 0.01):.4g}")

    def take(self, bore: int) -> None:
        """Read one bore, with a probe that is carried."""
        way = PROBE if self.way.at_once else self.way
        now = next_reading(self.record, HEAT_SOAKED)
        read = now.current.latest if now.current else {}
        kind = now.kind if bore == now.bore else "again" if bore in read else "turn"
        sd = way.repeats if way.live else None
        new = NewReading(HEAT_SOAKED.slug, now.round_number, bore, kind, self.read(bore, way), "KM", sd=sd)
        readings.add(self.shop, self.ident, key(), new, self.at)
        self.taken += 1

    def take_all(self) -> None:
        """Look at every bore at one moment."""
        now = next_reading(self.record, HEAT_SOAKED)
        if now.bore is None:
            readings.begin_round(self.shop, self.ident, key(), HEAT_SOAKED.slug, self.at)
            now = next_reading(self.record, HEAT_SOAKED)
        begun = self.stand.minutes
        values = {}
        for bore in self.stand.layout.bores:
            values[bore] = (self.shown(bore), self.way.repeats)
            self.stand.minutes = self.stand.looked = begun  # one moment: the idle strays by the same at every bore
        self.stand.minutes += self.way.minutes
        look = NewLook(HEAT_SOAKED.slug, now.round_number, values, "KM")
        readings.add_look(self.shop, self.ident, key(), look, self.at)
        self.taken += 1

    def move(self, advice: Advice) -> None:
        """Make the move that is advised, and read the speed."""
        self.proving = False
        move = move_of(advice)
        assert isinstance(move, StopTurn | BladeReset)
        self.stand.make(move)
        place = (advice.bank or "", advice.near, advice.far)
        new = NewMove(HEAT_SOAKED.slug, advice.kind, *place, advice.turns, advice.leaves, True, "KM")
        moves.make(self.shop, self.ident, key(), new, self.at)
        self.tell_speed()


def one_visit(seed: int, bores: int, way: Way) -> Outcome:
    """Work at one engine in one way; a look at all bores counts as one reading."""
    step = 0.25 * KG_PER_HOUR if not way.live else 0.001 * KG_PER_HOUR
    stand = drawn(seed, layout_of(bores, 2), meter=TrueMeter(way.repeats, step))
    with tempfile.TemporaryDirectory() as folder:
        shop = open_shop(Path(folder))
        try:
            visit = Visit(shop, stand, way)
            visit.open()
            said = visit.work()
        finally:
            shop.close()
    return Outcome(stand.minutes, stand.moves, visit.taken, stand.worst, stand.fast_by, said)


def outcomes(bores: Sequence[int], engines: int, jobs: int) -> Iterator[tuple[int, Way, list[Outcome]]]:
    """Every way at engines of every size."""
    with multiprocessing.get_context("spawn").Pool(jobs) as pool:
        for size in bores:
            for way in WAYS:
                yield size, way, pool.map(partial(one_visit, bores=size, way=way), range(FIRST, FIRST + engines), 1)


def line(bores: int, way: Way, found: Sequence[Outcome]) -> str:
    """One row as text."""
    minutes = [one.minutes for one in found]
    return (
        f"{bores:2} bores, {way.name:24} {way.minutes:4.2f} {way.repeats:6.1%} {len(found):4} "
        f"{statistics.median(minutes):7.1f} {np.percentile(minutes, 90):6.1f} "
        f"{statistics.median(one.moves for one in found):6.1f} {statistics.median(one.readings for one in found):6.1f} "
        f"{np.mean([one.even for one in found]):6.0%} {sum(one.said.startswith('done') for one in found):5}"
    )


def main() -> None:
    """Print both tables."""
    options = argparse.ArgumentParser(description=__doc__)
    options.add_argument("--engines", type=int, default=40, help="of each row")
    options.add_argument("--bores", type=int, nargs="*", default=[8, 12])
    options.add_argument("--jobs", type=int, default=os.cpu_count() or 1)
    options.add_argument("--saved", type=int, default=400, help="readings saved each way")
    chosen = options.parse_args()
    print(f"{'':34} {'min':>4} {'repeat':>6} {'n':>4} {'minutes':>7} {'p90':>6} {'moves':>6} {'taken':>6} {'even':>6} "
          f"{'done':>5}")  # fmt: skip
    for bores, way, found in outcomes(chosen.bores, chosen.engines, chosen.jobs):
        print(line(bores, way, found), flush=True)
    times = side_by_side(chosen.saved)
    print(f"\n{'saving a reading':34} {'p50 ms':>8} {'p95 ms':>8}")
    for what, took in times.items():
        print(f"{what:34} {share(took, 0.5):8.1f} {share(took, 0.95):8.1f}")
    alone, streamed = times.values()
    print(f"p95 {share(streamed, 0.95) / share(alone, 0.95):.2f} times (goal 1.5)")


if __name__ == "__main__":
    with report("live"):
        main()
