"""A good technician with arithmetic and nothing else, and one who follows the advice, at the same engines."""

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field
from statistics import fmean

from app.sync.engine.events import BladeReset, Event, Reading, StopTurn
from app.sync.engine.layout import Bank, Coupler
from app.sync.engine.units import THOU
from app.sync.planning.advice import Advice, Expected, move_of
from app.sync.planning.planner import next_move
from tests.benchmarks.engine import SPEED_WINDOW, WINDOW
from tests.benchmarks.flow_engine import FlowEngine
from tests.benchmarks.people import BLADES
from tests.sync.column_engines import WANTED, follow

USUAL_GAP = 5 * THOU
"""The feeler that is tried first."""

MOST_PASSES, MOST_TRIES = 5, 5
NEAR = 0.75
"""Part of the tolerance within which a bore is left alone, so that it is inside once the others are moved too."""

DOUBTFUL = 0.5, 1.4
"""Parts of the tolerance, from and to, between which a bore is read once more."""

A_TURN = 1.0
"""What a whole turn of a stop screw adds to a bank's air, as a fraction, until it was seen."""


class Technician:
    """Reads every bore and takes the mean as target; sets banks by their stop screws and couplers outward, the first
    feeler the size of a usual gap, the next one by proportion; sets the speed; reads a last round for proof."""

    def __init__(self, stand: FlowEngine) -> None:
        self.stand, self.layout = stand, stand.layout
        self.a_turn = dict.fromkeys((bank.name for bank in self.layout.banks), A_TURN)
        self.laid: dict[int, float] = {}

    def work(self) -> str:
        """Work until a last round proves it, or ``MOST_PASSES`` did not."""
        values = self.round()
        for _ in range(MOST_PASSES):
            self.level(values)
            for bank in self.layout.banks:
                self.outward(bank, values)
            self.set_speed()
            values = self.round()
            target = fmean(values.values())
            values |= {bore: self.twice(bore, value, target) for bore, value in values.items()}
            if not self.outside(values):
                return "done"
        return "gave up"

    def round(self) -> dict[int, float]:
        """Every bore once, and the first one again for the drift, half of which is each reading's."""
        values = {bore: self.read(bore) for bore in self.layout.bores}
        self.read(self.layout.bores[0], closing=True)
        return values

    def read(self, bore: int, closing: bool = False) -> float:
        """What the meter shows, and never nothing."""
        self.stand.read(bore, closing)
        return max(self.stand.shown, self.stand.true_meter.step / 2)

    def twice(self, bore: int, value: float, target: float) -> float:
        """A value near the limit read once more, the mean of both; any other one as it is."""
        near = DOUBTFUL[0] * WINDOW < abs(value / target - 1) < DOUBTFUL[1] * WINDOW
        return (value + self.read(bore)) / 2 if near else value

    def outside(self, values: Mapping[int, float]) -> list[int]:
        """The bores farther from the mean than the tolerance."""
        mean = fmean(values.values())
        return [bore for bore, value in values.items() if abs(value / mean - 1) > WINDOW]

    def level(self, values: dict[int, float]) -> None:
        """Bring a bank that is off as a whole to the mean of all by its stop screw."""
        target = fmean(values.values())
        for bank in self.layout.banks if len(self.layout.banks) > 1 else ():
            off = fmean(values[bore] for bore in bank.bores) / target - 1
            if abs(off) > NEAR * WINDOW:
                before, turns = values[bank.stop], self.turn(bank, -off)
                now = self.read(bank.stop)
                self.learn(bank, turns, now / before - 1)
                values |= {bore: values[bore] * now / before for bore in bank.bores}

    def turn(self, bank: Bank, wanted: float) -> float:
        """Turn a stop screw by so much air as a fraction, in sixteenths, and return the turns."""
        turns = round(16 * wanted / self.a_turn[bank.name]) / 16
        turns = max(min(turns, 0.5), -0.5) or (1 / 16 if wanted > 0 else -1 / 16)
        self.stand.make(StopTurn(bank.name, turns, 0.0))
        return turns

    def learn(self, bank: Bank, turns: float, change: float) -> None:
        """Keep what a turn did, as far as it is believable."""
        if change * turns > 0:
            self.a_turn[bank.name] = max(min(change / turns, 3 * A_TURN), A_TURN / 3)

    def outward(self, bank: Bank, values: dict[int, float]) -> None:
        """Set the couplers of a bank from its stop screw outward."""
        disturbed = set[int]()
        for coupler in bank.couplers():
            bore, target = coupler.far, fmean(values.values())
            if bore in disturbed:
                values[bore] = self.twice(bore, self.read(bore), target)
            for _ in range(MOST_TRIES):
                if abs(values[bore] / target - 1) <= NEAR * WINDOW:
                    break
                wanted = self.laid[bore] * target / values[bore] if bore in self.laid else USUAL_GAP
                feeler = min(BLADES, key=lambda leaf: abs(leaf - wanted))
                self.stand.make(BladeReset(coupler.near, bore, feeler, (feeler,), 0.0))
                self.laid[bore] = feeler  # the same one again where no other is nearer: hands do not err alike twice
                disturbed |= set(bank.beyond(Coupler(coupler.near, bore)))
                values[bore] = self.twice(bore, self.read(bore), target)

    def set_speed(self) -> None:
        """Turn all stop screws alike until the idle is as wanted."""
        for _ in range(MOST_TRIES):
            self.stand.read_speed()
            off = self.stand.fast_by
            if abs(off) <= SPEED_WINDOW:
                return
            for bank in self.layout.banks:
                self.turn(bank, -off / WANTED)


def technician(stand: FlowEngine) -> str:
    """A good technician at work."""
    return Technician(stand).work()


@dataclass
class Advised:
    """One who does what the advice says, and keeps what it claimed: of the ``bands`` expected after moves how many were
    seen, and ``held``; ``inside``, the chance that every bore is inside, with its last word."""

    stand: FlowEngine
    advise: Callable[..., Advice] = next_move
    held: int = 0
    bands: int = 0
    inside: float | None = None
    expected: Mapping[int, Expected] = field(default_factory=dict)
    seen: int = 0

    def work(self) -> str:
        """Work to the last word of the advice: the kind, the reason, the bores that it is about."""
        end = follow(self.stand, self.next)
        return " ".join(map(str, (end.kind, end.why, *end.about))) if end is not None else "no end"

    def next(self) -> Advice:
        """The next piece of advice, once what came of the one before it is counted."""
        stand = self.stand
        self._count(stand.events[self.seen :])
        self.seen = len(stand.events)
        given = (WANTED, BLADES, WINDOW, stand.per_bore * len(stand.layout.bores))
        advice = self.advise(stand.layout, stand.hardware, stand.meter, stand.events, *given)
        if move_of(advice) is not None:
            self.expected = dict(advice.expected)
        self.inside = advice.inside
        return advice

    def _count(self, events: Sequence[Event]) -> None:
        """Bores that were read the first time since the move that they were expected to answer to."""
        for event in events:
            if isinstance(event, Reading) and (band := self.expected.get(event.bore)) is not None:
                self.bands += 1
                self.held += band.low <= event.value <= band.high
                self.expected = {bore: one for bore, one in self.expected.items() if bore != event.bore}


def advised(stand: FlowEngine, advise: Callable[..., Advice] = next_move) -> str:
    """Does what the advice says, and returns its last word."""
    return Advised(stand, advise).work()
