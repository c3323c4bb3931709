"""The people of the demonstration at work, through the store's own verbs, as the pages do it."""

import random
import uuid
from dataclasses import dataclass
from datetime import datetime, timedelta

from app.shop.assessment.progress import Missing, items_of, progress
from app.shop.assessment.snap import snap_items
from app.shop.assessment.verdicts import next_of
from app.shop.commands import checks, moves, opening_speeds, readings, visits
from app.shop.commands.moves import NewMove
from app.shop.commands.opening_speeds import NewSpeed
from app.shop.commands.readings import NewReading
from app.shop.commands.visits import NewVisit
from app.shop.demo.engine_model import DemoEngineModel
from app.shop.procedure.items import Phase
from app.shop.procedure.phases import BANK_BALANCE, HEAT_SOAKED, LOCK_DOWN
from app.shop.procedure.read_order import next_reading
from app.shop.record import loader
from app.shop.record.intake import IntakeState
from app.shop.record.visit_record import VisitRecord
from app.shop.store.database import Database
from app.shop.training.typical import TYPICAL
from app.sync.engine.layout import Coupler
from app.sync.engine.units import MINUTE, THOU
from app.sync.planning.advice import Advice
from app.sync.readings.snap import BLIPS

MOST_STEPS = 90
LOOK_AFTER = 15 * MINUTE
"""A look at the gauges counts for half an hour; this one is made in time."""

INTAKES = {"test cell": IntakeState.FILTER_OFF, "vehicle": IntakeState.FILTER_OFF, "telephone": IntakeState.AS_IT_RUNS}
"""What is on the intakes while they are read, by place."""


@dataclass
class DemoTechnician:
    """A technician of the shop at work: makes keys, lets time pass, and writes through the store's verbs."""

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

    def record(self, visit_id: int) -> VisitRecord:
        """What is recorded of a visit by now."""
        with self.shop.reading() as session:
            return loader.load(session, visit_id)

    def open(self, engine_id: int, place: str, job: str, why: str) -> int:
        """Open a visit."""
        new = NewVisit(place, job, why, self.by, meter_id=1, intake=INTAKES[place])
        return visits.open_visit(self.shop, engine_id, self.key(), new, self.at())

    def check(self, visit_id: int, phase: Phase, **figures: float) -> None:
        """Record everything a phase asks for, the temperatures as they climb."""
        if phase is HEAT_SOAKED:
            self.warm(visit_id)
        values: dict[str, float | None] = {}
        for item in items_of(self.record(visit_id), phase):
            if not item.needed and item.slug not in TYPICAL:
                continue
            values[item.slug] = {**TYPICAL, **figures}[item.slug] if item.kind == "number" else None
        checks.record(self.shop, visit_id, self.key(), phase.slug, values, self.by, self.at(90))

    def warm(self, visit_id: int) -> None:
        """Read the gauges every few minutes while the engine warms: oil lags behind coolant."""
        for coolant, oil in ((31, 27), (58, 41), (77, 58), (84, 72), (85, 81), (84, 86), (84, 87)):
            gauges = {"coolant": float(coolant), "oil": float(oil)}
            checks.record(self.shop, visit_id, self.key(), HEAT_SOAKED.slug, gauges, self.by, self.at(300))
        self.now += timedelta(seconds=150)

    def look(self, visit_id: int) -> None:
        """Read the gauges once more where the last look is a while ago."""
        looks = self.record(visit_id).series(HEAT_SOAKED.slug, "coolant")
        if looks and self.now.timestamp() - looks[-1][0] > LOOK_AFTER:
            gauges = {"coolant": TYPICAL["coolant"], "oil": TYPICAL["oil"]}
            checks.record(self.shop, visit_id, self.key(), HEAT_SOAKED.slug, gauges, self.by, self.at())

    def read_round(self, visit_id: int, phase: Phase, bench: DemoEngineModel, most: int = 99) -> None:
        """Read the bores the round asks for until it is closed, or ``most`` of them."""
        self.look(visit_id)
        now = next_reading(self.record(visit_id), phase)
        if now.bore is None:
            readings.begin_round(self.shop, visit_id, self.key(), phase.slug, self.at())
            now = next_reading(self.record(visit_id), phase)
        if now.opening:
            speed = NewSpeed(phase.slug, now.round_number, bench.speed(now.opening), self.by)
            opening_speeds.record(self.shop, visit_id, self.key(), speed, self.at(10))
        bores = bench.layout.bores
        walk = [*((bore, "turn") for bore in bores), (bores[0], "closing")]
        for bore, kind in walk[:most]:
            new = NewReading(phase.slug, now.round_number, bore, kind, bench.read(bore, now.opening), self.by)
            readings.add(self.shop, visit_id, self.key(), new, self.at(18))

    def even_out(self, visit_id: int, bench: DemoEngineModel) -> None:
        """Read and move as the advice says until it says to leave the plates alone, or nothing helps any more."""
        for _ in range(MOST_STEPS):
            record = self.record(visit_id)
            advice = next_of(record, HEAT_SOAKED)
            if advice is None or advice.kind in ("done", "cannot"):
                break
            if advice.kind == "measure":
                self.measure(record, bench, advice)
            else:
                self.follow(visit_id, bench, advice)
        self.blip(visit_id, bench)
        self.idle(visit_id)
        if self.missing(visit_id, HEAT_SOAKED):
            why = "Left as it stands: the customer waits, and it idles well."
            checks.waive(self.shop, visit_id, self.key(), HEAT_SOAKED.slug, why, self.by, self.at())

    def blip(self, visit_id: int, bench: DemoEngineModel) -> None:
        """Blip the throttle and read the suspect bores, three times."""
        items = snap_items(self.record(visit_id))
        for _ in range(BLIPS if items else 0):
            figures = {item.slug: bench.read(int(item.slug.removeprefix("snap-")), 0.0) for item in items}
            checks.record(self.shop, visit_id, self.key(), HEAT_SOAKED.slug, figures, self.by, self.at(40))

    def idle(self, visit_id: int) -> None:
        """Record the idle speed once nothing is adjusted any more."""
        speed = {"idle-speed": TYPICAL["idle-speed"]}
        checks.record(self.shop, visit_id, self.key(), HEAT_SOAKED.slug, speed, self.by, self.at())

    def measure(self, record: VisitRecord, bench: DemoEngineModel, advice: Advice) -> None:
        """Read the bores that the advice names, then the first one again when that closes the round."""
        self.look(record.visit.ident)
        now = next_reading(record, HEAT_SOAKED)
        read = now.current.latest if now.current else {}
        for bore in advice.bores:
            kind = now.kind if bore == now.bore else "again" if bore in read else "turn"
            new = NewReading(HEAT_SOAKED.slug, now.round_number, bore, kind, bench.read(bore, 0.0), self.by)
            readings.add(self.shop, record.visit.ident, self.key(), new, self.at(18))

    def follow(self, visit_id: int, bench: DemoEngineModel, advice: Advice) -> None:
        """Make the move that is advised."""
        bank, near, far = advice.bank or "", advice.near, advice.far
        if advice.kind == "stop":
            bench.turn_stop(bank, advice.turns)
        elif near is not None and far is not None:
            bench.reset(Coupler(near, far), advice.gap / THOU)
        new = NewMove(HEAT_SOAKED.slug, advice.kind, bank, near, far, advice.turns, advice.leaves, True, self.by)
        moves.make(self.shop, visit_id, self.key(), new, self.at(120))

    def balance(self, visit_id: int, bench: DemoEngineModel) -> None:
        """Read both openings off idle."""
        if len(bench.layout.banks) < 2:
            return
        self.check(visit_id, BANK_BALANCE)
        for _ in range(2):
            self.read_round(visit_id, BANK_BALANCE, bench)
        if any(m.slug == "round" for m in self.missing(visit_id, BANK_BALANCE)):
            why = "Within what the link nut can hold; looked at again on the road."
            checks.waive(self.shop, visit_id, self.key(), BANK_BALANCE.slug, why, self.by, self.at())

    def missing(self, visit_id: int, phase: Phase) -> tuple[Missing, ...]:
        """What a phase still lacks."""
        return next(s.missing for s in progress(self.record(visit_id)) if s.phase is phase)

    def lock_down(self, visit_id: int, bench: DemoEngineModel, name: str) -> None:
        """Tighten, read once more, sign off."""
        self.check(visit_id, LOCK_DOWN)
        for _ in range(3):
            self.read_round(visit_id, LOCK_DOWN, bench)
            if not self.missing(visit_id, LOCK_DOWN):
                break
        else:
            why = "Read three times; the last round stands as it is."
            checks.waive(self.shop, visit_id, self.key(), LOCK_DOWN.slug, why, self.by, self.at())
        visits.sign_off(self.shop, visit_id, self.key(), name, self.at(300))
