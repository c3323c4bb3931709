"""The advice beside a slow planner that plays every choice to its end: ``python -m tests.benchmarks.reference``.

At the first moves, and once a whole round stands, the reference draws engines from what is believed by then, the same
ones for every choice, and follows the advice at each of them to its end, first doing what is chosen: what is advised, a
move that was to follow, a reading before it, or to stop. A visit that ends uneven costs ``UNEVEN`` minutes. It does
something else than advised only where that is better by ``CLEARLY`` standard errors. Both work at the same engines of
``tests.benchmarks.flow_engine``, with the same luck for the same reading of a bore or move of an adjuster.

What each other choice would have gained is told by kind over every step that was asked of, taken or not: the few that
were taken are those at which the draws were kind to it.
"""

import argparse
import math
import random
import statistics
import zlib
from collections import Counter, defaultdict
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field, replace

import numpy as np

from app.sync.engine.events import BladeReset, Event, IdleSpeed, Move, Reading, StopTurn
from app.sync.engine.work_minutes import READ_MINUTES
from app.sync.estimation.depth_start import depth_learned
from app.sync.estimation.foretold import predict_readings
from app.sync.estimation.posterior import LEAST_GAP, Floats, Posterior, start_prior
from app.sync.estimation.predict import predict
from app.sync.estimation.visit_hypotheses import judged
from app.sync.planning.advice import Advice, AdviceKind, AdviceReason, move_of
from app.sync.planning.evaluation import BLADE_MINUTES, STOP_MINUTES
from app.sync.planning.planner import next_move
from app.sync.planning.recent_events import moves_at, since_last_move
from app.sync.readings import trail
from app.sync.readings.idle_wander import WANDER
from tests.benchmarks.engine import SPEED_WINDOW, WINDOW, layout_of
from tests.benchmarks.flow_engine import FlowEngine, drawn
from tests.benchmarks.people import BLADES
from tests.benchmarks.report import report
from tests.sync.column_engines import WANTED, follow

UNEVEN, CLEARLY = 30.0, 1.3
"""Minutes that an uneven end costs, and standard errors by which another choice has to win (our judgement)."""

EARLY = 2
"""Moves of a visit before which the reference is asked as well (our judgement)."""

FIRST_ENGINE = 6000
STAGES_KEPT = 500
MOST_STEPS = 120


def luck(*of: object) -> np.random.Generator:
    """The luck of one reading or move, the same whoever meets it."""
    return np.random.default_rng(zlib.crc32(repr(of).encode()))


@dataclass
class PairedEngine(FlowEngine):
    """An engine whose luck hangs on how often that was done there, and on nothing that was done before."""

    done: Counter[str] = field(default_factory=Counter)

    def read(self, bore: int, closing: bool = False) -> None:
        """Read the meter to its step."""
        self._draw(f"read {bore}")
        super().read(bore, closing)

    def make(self, move: StopTurn | BladeReset) -> None:
        """Turn a stop screw or reset a coupler, as hands do it."""
        self._draw(f"move {move.place}")
        super().make(move)

    def _draw(self, what: str) -> None:
        self.done[what] += 1
        self.rng = random.Random(f"{self.seed} {what} {self.done[what]}")


def paired(seed: int, bores: int, banks: int) -> PairedEngine:
    """The yardstick's engine of that seed, its luck paired."""
    one = drawn(seed, layout_of(bores, banks))
    return PairedEngine(one.seed, one.depression, one.meter, one.ambient, one.layout, one.truth, per_bore=one.per_bore)


@dataclass
class Imagined:
    """An engine as it may be by what is believed: ``state`` is one draw of the posterior, which it moves by as well."""

    stand: FlowEngine
    state: Posterior
    number: int
    events: list[Event] = field(init=False)
    minutes: float = 0.0
    done: Counter[str] = field(default_factory=Counter)

    def __post_init__(self) -> None:
        self.events = list(self.stand.events)
        mean, cov = self.state.mean, self.state.covariance
        self._stands(mean, cov, luck(self.number, "state"))

    def _stands(self, mean: Floats, cov: Floats, rng: np.random.Generator) -> None:
        drawn_ = rng.multivariate_normal(mean, cov, check_valid="ignore", method="eigh")
        drawn_[: self.state.bores] = np.maximum(drawn_[: self.state.bores], LEAST_GAP)
        self.state = replace(self.state, mean=drawn_, covariance=np.zeros_like(cov))

    def _luck(self, what: str) -> np.random.Generator:
        self.done[what] += 1
        return luck(self.number, what, self.done[what])

    @property
    def at(self) -> float:
        """Seconds of the visit."""
        return 60 * (self.stand.minutes + self.minutes)

    def read(self, bore: int, closing: bool) -> None:
        """Read the meter to its step."""
        meter, rng = self.stand.meter, self._luck(f"read {bore}")
        shown = predict_readings(self.state, meter).values[self.state.row(bore)]
        shown *= 1 + np.hypot(meter.repeatability, WANDER) * rng.standard_normal()
        self.minutes += READ_MINUTES
        self.events.append(Reading(bore, max(round(shown / meter.step), 0) * meter.step, self.at, closing))

    def read_speed(self) -> None:
        """Read the tachometer."""
        self.events.append(IdleSpeed(self.speed, self.at))

    @property
    def speed(self) -> float:
        """Idle speed [rev/s]."""
        return float(predict_readings(self.state, self.stand.meter).values[-1])

    def make(self, move: Move) -> None:
        """Move, as the program believes that hands and heat do it."""
        after = predict(self.state, move)
        self._stands(after.mean, after.covariance, self._luck(f"move {move.place}"))
        minutes = BLADE_MINUTES if isinstance(move, BladeReset) else STOP_MINUTES
        self.minutes += minutes - READ_MINUTES
        self.events.append(replace(move, at=self.at))

    @property
    def even(self) -> bool:
        """Whether every bore and the idle are inside."""
        flows = predict_readings(self.state, self.stand.meter).values[:-1]
        return bool(np.abs(flows / flows.mean() - 1).max() <= WINDOW) and abs(self.speed - WANTED) <= SPEED_WINDOW


def advised(stand: FlowEngine, events: Sequence[Event]) -> Advice:
    """What the program advises after those events."""
    displacement = stand.per_bore * len(stand.layout.bores)
    return next_move(stand.layout, stand.hardware, stand.meter, events, WANTED, BLADES, WINDOW, displacement)


def do(engine: FlowEngine | Imagined, step: Advice) -> None:
    """Do at an engine what a step asks for, as ``follow`` does."""
    move = move_of(step)
    if move is None:
        engine.read(step.bores[0], step.why is AdviceReason.CLOSE_ROUND)
        return
    assert isinstance(move, StopTurn | BladeReset)
    engine.make(move)
    engine.read_speed()


def cost(stand: FlowEngine, belief: Posterior, choice: Advice, number: int) -> float:
    """Minutes from now on of one engine drawn from what is believed, the choice made first."""
    engine, step = Imagined(stand, belief, number), choice
    for _ in range(MOST_STEPS):
        if step.kind in (AdviceKind.DONE, AdviceKind.CANNOT):
            break
        do(engine, step)
        step = advised(stand, engine.events)
    return engine.minutes + (0.0 if engine.even else UNEVEN)


def choices(stand: FlowEngine, belief: Posterior, advice: Advice) -> Iterator[Advice]:
    """What else may be done than what is advised."""
    if advice.kind is AdviceKind.DONE:
        flows = predict_readings(belief, stand.meter).values[:-1]
        widest = int(np.abs(flows / flows.mean() - 1).argmax())
        yield Advice(AdviceKind.MEASURE, AdviceReason.DOUBTFUL, bores=(stand.layout.bores[widest],))
        return
    since = [one for one in since_last_move(stand.events) if isinstance(one, Reading)]
    if {one.bore for one in since} >= set(stand.layout.bores):
        yield Advice(AdviceKind.DONE, AdviceReason.EVEN)
    if move_of(advice) is None:
        yield from (replace(advice, bores=(bore,)) for bore in advice.bores[1:2])
        return
    yield Advice(AdviceKind.MEASURE, AdviceReason.DOUBTFUL, bores=advice.bores[:1])
    yield from advice.then[:1]


def asked(stand: FlowEngine, advice: Advice) -> bool:
    """Whether the reference is asked at a step: before the first moves, and once a whole round stands."""
    since = [one for one in since_last_move(stand.events) if isinstance(one, Reading)]
    if not any(isinstance(one, Reading) and one.closing for one in stand.events):
        return False
    early = move_of(advice) is not None and len(moves_at(stand.events)) < EARLY
    return early or {one.bore for one in since} >= set(stand.layout.bores)


class Reference:
    """Works at an engine by rollouts. ``other`` counts the steps taken otherwise than advised, of those ``asked``;
    ``gains`` are the minutes that each choice was better by, taken or not, by the kind of what is advised and its own.
    """

    def __init__(self, stand: FlowEngine, rollouts: int) -> None:
        self.stand, self.rollouts, self.asked, self.other = stand, rollouts, 0, 0
        self.gains = defaultdict[tuple[str, str], list[float]](list)

    def next(self) -> Advice:
        """The next step."""
        advice = advised(self.stand, self.stand.events)
        if advice.kind is AdviceKind.CANNOT or not asked(self.stand, advice):
            return advice
        self.asked += 1
        best = self._best(advice)
        self.other += best is not advice
        return best

    def _best(self, advice: Advice) -> Advice:
        stand = self.stand
        bores = len(stand.layout.bores)
        start = start_prior(stand.layout, stand.hardware, bores * stand.per_bore, WANTED)
        start = depth_learned(start, stand.meter, stand.events)
        belief = judged(start, stand.meter, tuple(stand.events)).posterior
        usual = [cost(stand, belief, advice, n) for n in range(self.rollouts)]
        best, saved = advice, 0.0
        for choice in choices(stand, belief, advice):
            gain = [one - cost(stand, belief, choice, n) for n, one in enumerate(usual)]
            mean, error = statistics.fmean(gain), statistics.stdev(gain) / len(gain) ** 0.5
            self.gains[kind_of_step(advice), kind_of_step(choice)].append(mean)
            if mean > max(saved, CLEARLY * error):
                best, saved = choice, mean
        return best


def kind_of_step(step: Advice) -> str:
    """Read, move or leave it: what a step is in one word."""
    if step.kind is AdviceKind.DONE:
        return "leave"
    return "read" if move_of(step) is None else "move"


def main() -> None:
    """Print the table of fours, and of eights where some are asked for."""
    options = argparse.ArgumentParser(description=__doc__)
    options.add_argument("--engines", type=int, default=40, help="of one bank of four")
    options.add_argument("--eights", type=int, default=0, help="of two banks of four")
    options.add_argument("--rollouts", type=int, default=24)
    options.add_argument("--first", type=int, default=FIRST_ENGINE, help="seed of the first engine")
    chosen = options.parse_args()
    trail.REMEMBERED = STAGES_KEPT
    for bores, banks, engines in ((4, 1, chosen.engines), (8, 2, chosen.eights)):
        if engines:
            seeds = range(chosen.first, chosen.first + engines)
            print(table(bores, [work(seed, bores, banks, chosen.rollouts) for seed in seeds]))


def work(seed: int, bores: int, banks: int, rollouts: int) -> tuple[FlowEngine, FlowEngine, Reference]:
    """One engine evened as advised, and by the reference."""
    usual, slow = (paired(seed, bores, banks) for _ in range(2))
    follow(usual, lambda: advised(usual, usual.events))
    reference = Reference(slow, rollouts)
    follow(slow, reference.next)
    return usual, slow, reference


def table(bores: int, found: Sequence[tuple[FlowEngine, FlowEngine, Reference]]) -> str:
    """Both at engines of that many bores, and what lies between them."""
    lines = [f"{bores:2} bores   {'n':>3} {'minutes':>8} {'mean':>6} {'p90':>6} {'even':>6} {'weighed':>8}"]
    weighed = []
    for who, stands in zip(("program", "reference"), list(zip(*found, strict=True))[:2], strict=True):
        minutes = [one.minutes for one in stands]
        ends = [one.worst <= WINDOW and abs(one.fast_by) <= SPEED_WINDOW for one in stands]
        weighed.append([at + (0.0 if even else UNEVEN) for at, even in zip(minutes, ends, strict=True)])
        lines.append(
            f"{who:10} {len(stands):3} {statistics.median(minutes):8.1f} {statistics.fmean(minutes):6.1f} "
            f"{np.percentile(minutes, 90):6.1f} {np.mean(ends):6.1%} {statistics.fmean(weighed[-1]):8.1f}"
        )
    off = [mine - best for mine, best in zip(*weighed, strict=True)]
    error = statistics.stdev(off) / len(off) ** 0.5
    other, asked_ = sum(one.other for *_, one in found), sum(one.asked for *_, one in found)
    part = statistics.fmean(off) / statistics.fmean(weighed[1])
    lines.append(
        f"the program takes {statistics.fmean(off):+.1f} ± {error:.1f} weighed minutes more ({part:+.0%}); "
        f"{other} of {asked_} steps otherwise"
    )
    gains = defaultdict[tuple[str, str], list[float]](list)
    for *_, one in found:
        for kinds, gained in one.gains.items():
            gains[kinds] += gained
    for (kind, instead), gained in sorted(gains.items(), key=lambda item: -len(item[1])):
        mean, error = statistics.fmean(gained), statistics.pstdev(gained) / math.sqrt(max(len(gained) - 1, 1))
        lines.append(f"told to {kind}, {instead} instead: {mean:+6.2f} ± {error:.2f} ({len(gained)})")
    return "\n".join(lines)


if __name__ == "__main__":
    with report("reference"):
        main()
