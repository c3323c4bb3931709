"""A demonstration shop: a yard by an invented estuary, its engines, and what was done to them.

Every row is made through the store's own verbs, as the pages make them. The engines answer with readings from a small
model of their own (flow grows with the gap, less than in proportion; a stop screw moves a bank, a coupler what hangs on
it), seeded, so that the shop is the same each time.
"""

import random
import uuid
from dataclasses import dataclass, field
from datetime import UTC, datetime, timedelta

from app.shop import checks, engines, moves, practice, readings, visits
from app.shop.checks import record
from app.shop.database import Database
from app.shop.engines import EngineFacts
from app.shop.judgement import next_of
from app.shop.moves import NewMove
from app.shop.phases import BANK_BALANCE, COLD_PRESET, FIRST_FIRE, HEAT_SOAKED, LOCK_DOWN, Phase
from app.shop.practice import NewPractice
from app.shop.progress import Missing, items_of, progress
from app.shop.readings import NewReading
from app.shop.snap import snap_items
from app.shop.story import Story
from app.shop.typical import TYPICAL
from app.shop.visits import NewVisit
from app.shop.walk import due
from app.sync.advice import Advice
from app.sync.hardware import likely_hardware
from app.sync.layout import Bank, Coupler, Layout
from app.sync.snap import BLIPS
from app.sync.units import CUBIC_INCH, LITRE, REV_PER_MIN, THOU

STEP = 0.25
NOISE = 0.012
HAND = 0.25
GAP, FLOW = 4.5, 6.5
TURN = 4.2
MOST_STEPS = 90


@dataclass
class Bench:
    """One engine on the stand: its true gaps in thousandths of an inch, and the meter that reads them."""

    layout: Layout
    rng: random.Random
    flow: float = FLOW
    link_late: float = 0.0
    gaps: dict[int, float] = field(default_factory=dict)

    def __post_init__(self) -> None:
        for bank in self.layout.banks:
            common = self.rng.gauss(0, 0.5)
            self.gaps[bank.stop] = GAP + common + self.rng.gauss(0, 0.3)
            for coupler in bank.couplers():
                self.gaps[coupler.far] = max(1.5, self.gaps[coupler.near] + self.rng.gauss(0, 0.5))

    def read(self, bore: int, opening: float) -> float:
        """What the meter shows at a bore."""
        gap = self.gaps[bore]
        if opening:
            late = self.link_late if len(self.layout.banks) > 1 and bore in self.layout.banks[1].bores else 0.0
            gap += max(0.0, opening / THOU - 3 - late) * 0.55
        true: float = self.flow * (gap / GAP) ** 0.85
        return STEP * round(true * self.rng.gauss(1, NOISE) / STEP)

    def turn_stop(self, name: str, turns: float) -> None:
        """Turn a bank's stop screw."""
        for bore in self.layout.bank(name).bores:
            self.gaps[bore] = max(1.0, self.gaps[bore] + turns * TURN)

    def reset(self, coupler: Coupler, thou: float) -> None:
        """Reset a coupler with its far plate on a blade."""
        shift = thou + self.rng.gauss(0, HAND) - self.gaps[coupler.far]
        for bore in self.layout.bank_of(coupler.far).beyond(coupler):
            self.gaps[bore] = max(1.0, self.gaps[bore] + shift)

    def slip(self, coupler: Coupler, thou: float) -> None:
        """Let a coupler slip in use."""
        for bore in self.layout.bank_of(coupler.far).beyond(coupler):
            self.gaps[bore] = max(1.0, self.gaps[bore] + thou)


@dataclass
class Hands:
    """Somebody of the yard at work: makes keys, lets time pass, and writes through the store's verbs."""

    shop: Database
    rng: random.Random
    now: datetime
    by: str = "KM"

    def key(self) -> str:
        """A key of its own for every write, the same in every demonstration shop."""
        return str(uuid.UUID(int=self.rng.getrandbits(128), version=4))

    def at(self, seconds: float = 20) -> str:
        """The time, a little later than before."""
        self.now += timedelta(seconds=seconds)
        return self.now.isoformat(timespec="milliseconds")

    def story(self, visit_id: int) -> Story:
        """What is recorded of a visit by now."""
        with self.shop.reading() as session:
            return visits.load(session, visit_id)

    def open(self, engine_id: int, place: str, job: str, why: str) -> int:
        """Open a visit."""
        new = NewVisit(place, job, why, self.by, meter_id=1)
        return visits.open_visit(self.shop, engine_id, self.key(), new, self.at())

    def check(self, visit_id: int, phase: Phase, **figures: float) -> None:
        """Record everything a phase asks for, the temperatures as they climb."""
        if phase is HEAT_SOAKED:
            self.warm(visit_id)
        values: dict[str, float | None] = {}
        for item in items_of(self.story(visit_id), phase):
            if not item.needed and item.slug not in TYPICAL:
                continue
            values[item.slug] = {**TYPICAL, **figures}[item.slug] if item.kind == "number" else None
        record(self.shop, visit_id, self.key(), phase.slug, values, self.by, self.at(90))

    def warm(self, visit_id: int) -> None:
        """Read the gauges every few minutes while the engine warms: oil lags behind coolant."""
        for coolant, oil in ((31, 27), (58, 41), (77, 58), (84, 72), (85, 81), (84, 86), (84, 87)):
            gauges = {"coolant": float(coolant), "oil": float(oil)}
            record(self.shop, visit_id, self.key(), HEAT_SOAKED.slug, gauges, self.by, self.at(300))
        self.now += timedelta(seconds=150)

    def read_round(self, visit_id: int, phase: Phase, bench: Bench, most: int = 99) -> None:
        """Read the bores the round asks for until it is closed, or ``most`` of them."""
        now = due(self.story(visit_id), phase)
        if now.bore is None:
            readings.begin_round(self.shop, visit_id, self.key(), phase.slug, self.at())
            now = due(self.story(visit_id), phase)
        bores = bench.layout.bores
        walk = [*((bore, "turn") for bore in bores), (bores[0], "closing")]
        for bore, kind in walk[:most]:
            new = NewReading(phase.slug, now.round_number, bore, kind, bench.read(bore, now.opening), self.by)
            readings.add(self.shop, visit_id, self.key(), new, self.at(18))

    def even_out(self, visit_id: int, bench: Bench) -> None:
        """Read and move as the advice says until it says to leave the plates alone, or nothing helps any more."""
        for _ in range(MOST_STEPS):
            story = self.story(visit_id)
            advice = next_of(story, HEAT_SOAKED)
            if advice is None or advice.kind in ("done", "cannot"):
                break
            if advice.kind == "measure":
                self.measure(story, bench, advice)
            else:
                self.follow(visit_id, bench, advice)
        self.blip(visit_id, bench)
        if self.missing(visit_id, HEAT_SOAKED):
            why = "Left as it stands: the customer waits, and it idles well."
            checks.override(self.shop, visit_id, self.key(), HEAT_SOAKED.slug, why, self.by, self.at())

    def blip(self, visit_id: int, bench: Bench) -> None:
        """Blip the throttle and read the suspect bores, three times."""
        items = snap_items(self.story(visit_id))
        for _ in range(BLIPS if items else 0):
            figures = {item.slug: bench.read(int(item.slug.removeprefix("snap-")), 0.0) for item in items}
            record(self.shop, visit_id, self.key(), HEAT_SOAKED.slug, figures, self.by, self.at(40))

    def measure(self, story: Story, bench: Bench, advice: Advice) -> None:
        """Read the bores that the advice names, then the first one again when that closes the round."""
        now = due(story, HEAT_SOAKED)
        read = now.current.latest if now.current else {}
        for bore in advice.bores:
            kind = now.kind if bore == now.bore else "again" if bore in read else "turn"
            new = NewReading(HEAT_SOAKED.slug, now.round_number, bore, kind, bench.read(bore, 0.0), self.by)
            readings.add(self.shop, story.visit.ident, self.key(), new, self.at(18))

    def follow(self, visit_id: int, bench: Bench, advice: Advice) -> None:
        """Make the move that is advised."""
        bank, near, far = advice.bank or "", advice.near, advice.far
        if advice.kind == "stop":
            bench.turn_stop(bank, advice.turns)
        elif near is not None and far is not None:
            bench.reset(Coupler(near, far), advice.gap / THOU)
        new = NewMove(HEAT_SOAKED.slug, advice.kind, bank, near, far, advice.turns, advice.leaves, True, self.by)
        moves.make(self.shop, visit_id, self.key(), new, self.at(120))

    def balance(self, visit_id: int, bench: Bench) -> None:
        """Read both openings off idle."""
        if len(bench.layout.banks) < 2:
            return
        self.check(visit_id, BANK_BALANCE)
        for _ in range(2):
            self.read_round(visit_id, BANK_BALANCE, bench)
        if any(m.slug == "round" for m in self.missing(visit_id, BANK_BALANCE)):
            why = "Within what the link nut can hold; looked at again on the road."
            checks.override(self.shop, visit_id, self.key(), BANK_BALANCE.slug, why, self.by, self.at())

    def missing(self, visit_id: int, phase: Phase) -> tuple[Missing, ...]:
        """What a phase still lacks."""
        return next(s.missing for s in progress(self.story(visit_id)) if s.phase is phase)

    def lock_down(self, visit_id: int, bench: Bench, name: str) -> None:
        """Tighten, read once more, sign off."""
        self.check(visit_id, LOCK_DOWN)
        for _ in range(3):
            self.read_round(visit_id, LOCK_DOWN, bench)
            if not self.missing(visit_id, LOCK_DOWN):
                break
        else:
            why = "Read three times; the last round stands as it is."
            checks.override(self.shop, visit_id, self.key(), LOCK_DOWN.slug, why, self.by, self.at())
        visits.sign_off(self.shop, visit_id, self.key(), name, self.at(300))


@dataclass(frozen=True)
class Piece:
    """One engine of the demonstration and what happened to it. ``until`` leaves its last visit open there."""

    serial: str
    description: str
    litres: float
    customer: str
    vehicle: str
    banks: tuple[tuple[int, ...], ...]
    visits: tuple[tuple[str, str, str, int], ...]
    slips: tuple[int, int] | None = None
    until: str = ""
    springless: frozenset[int] = frozenset()
    inches: bool = False


PIECES = (
    Piece(
        "31-0217",
        "Eight with raised intakes",
        3.9,
        "C-104",
        "Blue coupe",
        ((1, 2, 3, 4), (5, 6, 7, 8)),
        (
            ("test cell", "1007", "First sync", 640),
            ("vehicle", "1061", "Rough when hot", 400),
            ("vehicle", "1184", "Idle wanders", 1),
        ),
        slips=(2, 3),
        until="heat",
        springless=frozenset({3, 7}),
    ),
    Piece(
        "31-0305",
        "Twelve for the launch",
        5.3,
        "C-131",
        "Harbour launch",
        ((1, 2, 3, 4, 5, 6), (7, 8, 9, 10, 11, 12)),
        (("test cell", "1120", "First sync", 210), ("test cell", "1201", "Before the season", 2)),
        slips=(9, 10),
        until="heat",
    ),
    Piece(
        "22-0098",
        "Four in line, hill engine",
        2.0,
        "C-077",
        "Club racer",
        ((1, 2, 3, 4),),
        (
            ("test cell", "0988", "First sync", 700),
            ("telephone", "1040", "Own ring fitted at home", 330),
            ("vehicle", "1190", "Another exhaust", 1),
        ),
        slips=(2, 3),
        until="lock",
    ),
    Piece(
        "22-0311",
        "Six in line, estate",
        3.0,
        "C-150",
        "White estate",
        ((1, 2, 3, 4, 5, 6),),
        (("test cell", "1130", "First sync", 180), ("vehicle", "1203", "Fitted to the car", 3)),
        slips=(4, 5),
        until="fire",
    ),
    Piece(
        "18-0264",
        "Six in two banks",
        2.7,
        "C-092",
        "Hill climb car",
        ((1, 3, 5), (2, 4, 6)),
        (("test cell", "1096", "First sync", 300), ("test cell", "1196", "Popping at light throttle", 4)),
        slips=(3, 5),
        until="bank",
    ),
    Piece(
        "31-0312",
        "Eight, touring",
        7.4,
        "C-160",
        "Touring car",
        ((1, 3, 5, 7), (2, 4, 6, 8)),
        (("test cell", "1143", "First sync", 90), ("vehicle", "1204", "After the first thousand", 6)),
        slips=(6, 4),
        until="done",
        inches=True,
    ),
    Piece(
        "31-0330",
        "Eight, new build",
        4.4,
        "C-171",
        "Not in a car yet",
        ((1, 2, 3, 4), (5, 6, 7, 8)),
        (("test cell", "1211", "First sync", 0),),
        until="cold",
    ),
)
"""Seven engines. A visit is place, job, reason, and how many days before today."""


def fill(shop: Database, today: datetime | None = None) -> None:
    """Fill an empty shop, with an engine to practise on at the top.

    ``today`` is the day the open visits happen on; the real one when left out.
    """
    end = today or datetime.now(UTC)
    for number, piece in enumerate(PIECES):
        _live(shop, piece, random.Random(number), end)
    key = str(uuid.UUID(int=random.Random(len(PIECES)).getrandbits(128), version=4))
    practice.start(shop, key, NewPractice("4", "slipped", "hot", "you"), end.isoformat(timespec="milliseconds"))


def _live(shop: Database, piece: Piece, rng: random.Random, end: datetime) -> None:
    layout = Layout(
        tuple(Bank(name, bores, bores[0], bores[0]) for name, bores in zip("AB", piece.banks, strict=False)),
        sensor=piece.banks[-1][-1],
        springless=piece.springless,
    )
    displacement = round(piece.litres * LITRE / CUBIC_INCH) * CUBIC_INCH if piece.inches else piece.litres * LITRE
    facts = EngineFacts(
        piece.serial,
        piece.description,
        displacement,
        "cu in" if piece.inches else "L",
        piece.customer,
        piece.vehicle,
        850 * REV_PER_MIN,
    )
    hands = Hands(shop, rng, end - timedelta(days=piece.visits[0][3], hours=5))
    hardware = likely_hardware(facts.displacement, len(layout.bores))
    engine_id = engines.register(shop, hands.key(), facts, layout, hardware, hands.at())
    bench = Bench(layout, rng)
    for place, job, why, days in piece.visits:
        hands.now = max(hands.now, end - timedelta(days=days, hours=4))
        visit_id = hands.open(engine_id, place, job, why)
        last = (place, job, why, days) == piece.visits[-1]
        _visit(hands, visit_id, bench, piece, piece.until if last else "")
        if piece.slips:
            bench.slip(Coupler(*piece.slips), 1.2)


def _visit(hands: Hands, visit_id: int, bench: Bench, piece: Piece, until: str) -> None:
    first = hands.story(visit_id).visit.number == 1
    if until == "cold":
        return
    if first:
        hands.check(visit_id, COLD_PRESET)
    if until == "fire":
        return
    hands.check(visit_id, FIRST_FIRE)
    if first:
        hands.read_round(visit_id, FIRST_FIRE, bench)
    hands.check(visit_id, HEAT_SOAKED)
    if until == "heat":
        hands.read_round(visit_id, HEAT_SOAKED, bench, most=len(bench.layout.bores) - 3)
        return
    hands.even_out(visit_id, bench)
    if until == "bank":
        hands.check(visit_id, BANK_BALANCE)
        hands.read_round(visit_id, BANK_BALANCE, bench)
        return
    hands.balance(visit_id, bench)
    if until == "lock":
        hands.check(visit_id, LOCK_DOWN)
        return
    hands.lock_down(visit_id, bench, "Foreman of the yard")
