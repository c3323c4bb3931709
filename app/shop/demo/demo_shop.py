"""A demonstration shop: a yard by an invented estuary, its engines and meters, and what was done to them.

Every row is made through the store's own verbs, as the pages make them, seeded, so that the shop is the same each time.
"""

import random
import uuid
from dataclasses import replace
from datetime import UTC, datetime, timedelta

from app.shop.commands import engines, meters, settings_versions
from app.shop.commands.engines import EngineFacts
from app.shop.commands.meters import NewMeter
from app.shop.demo.demo_engines import PIECES, Piece
from app.shop.demo.engine_model import NOISE, DemoEngineModel
from app.shop.demo.technician import DemoTechnician
from app.shop.procedure.phases import BANK_BALANCE, COLD_PRESET, FIRST_FIRE, HEAT_SOAKED, LOCK_DOWN
from app.shop.record import meter_studies, stored_settings
from app.shop.store.database import Database
from app.shop.training import training_start
from app.shop.training.training_start import NewPractice, Texts
from app.sync.engine.hardware import likely_hardware
from app.sync.engine.layout import Bank, Coupler, Layout
from app.sync.engine.units import CUBIC_INCH, LITER, REV_PER_MIN

YARD, WHERE = "Engine yard, Third Lock", "At the sluice, Lower Estuary\nBench line 0-17"
LONG_AGO = 900
"""Days before today that the shop opened."""

STUDIED, DUE_AFTER = 9, 365
"""Days before today that the meters were studied, and days after that when they are due again."""

TRAINING = Texts(
    serial="Training {}".format,
    description="Training engine, simulated",
    customer="Training",
    vehicle="No real data",
    visit_why="Training",
    waived_why="Training: the engine was already warm. The first look is left to the readings.",
)


AT_WORK = timedelta(minutes=45)
"""How long work has gone on at the engine that is being read: it is hot, and its gauges were just looked at."""

DRAWN_FROM = 200
"""Seed of the first engine. By the next ones every engine comes even; by others the meter cannot tell of some."""


def fill(shop: Database, today: datetime | None = None) -> None:
    """Fill an empty shop, with a training engine at the top.

    ``today`` is the day the open visits happen on; the real one when left out.
    """
    end = today or datetime.now(UTC)
    _head(shop, end - timedelta(days=LONG_AGO))
    for number, piece in enumerate(PIECES, DRAWN_FROM):
        _live(shop, piece, random.Random(number), end)
    _study(shop, random.Random(len(PIECES) + 1), end - timedelta(days=STUDIED))
    key = str(uuid.UUID(int=random.Random(len(PIECES)).getrandbits(128), version=4))
    now = end.isoformat(timespec="milliseconds")
    training_start.start(shop, key, NewPractice("4", "slipped", "hot", "you"), TRAINING, now)


def _head(shop: Database, when: datetime) -> None:
    """Whose sheets they are: a person who looks at one finds it as a customer gets it."""
    hands = DemoTechnician(shop, random.Random(len(PIECES) + 2), when)
    with shop.reading() as session:
        version, held = stored_settings.now(session)
    new = replace(held, shop_name=YARD, shop_address=WHERE, people=(("KM", "Keeper of the meters"),))
    settings_versions.change(shop, hands.key(), version, new, "First day", hands.by, hands.at())


def _study(shop: Database, rng: random.Random, when: datetime) -> None:
    """How far the bench meter can be trusted, a second one to take along, and the two of them compared."""
    hands = DemoTechnician(shop, rng, when)

    def read(study_id: int, scale: float, step: float, flow: float) -> None:
        shown = step * round(flow * scale * rng.gauss(1, NOISE) / step)
        meters.read(shop, study_id, hands.key(), shown, hands.by, hands.at(25))

    road = meters.register(shop, hands.key(), NewMeter("Road meter", "kg/h", 0.25, 0, 30))
    for meter_id, scale, why in ((1, 1.0, "Every second winter"), (road, 0.94, "After every season on the road")):
        study = meters.begin_study(shop, meter_id, hands.key(), None, "22-0098, bore 2", hands.by, hands.at())
        for _ in range(meter_studies.READINGS):
            read(study, scale, 0.25, 9.25)
        due = (when + timedelta(days=DUE_AFTER)).date().isoformat()
        meters.set_due(shop, meter_id, hands.key(), due, why, hands.by, hands.at())
    both = meters.begin_study(shop, 1, hands.key(), road, "22-0098 and 22-0311 on the stand", hands.by, hands.at())
    for flow in (5.5, 6.75, 8.0, 9.25, 10.5)[: meter_studies.PAIRS]:
        for scale in (1.0, 0.94):
            read(both, scale, 0.25, flow)


def _live(shop: Database, piece: Piece, rng: random.Random, end: datetime) -> None:
    layout = Layout(
        tuple(Bank(name, bores, bores[0], bores[0]) for name, bores in zip("AB", piece.banks, strict=False)),
        sensor=piece.banks[-1][-1],
        springless=piece.springless,
    )
    displacement = round(piece.liters * LITER / CUBIC_INCH) * CUBIC_INCH if piece.inches else piece.liters * LITER
    facts = EngineFacts(
        piece.serial,
        piece.description,
        displacement,
        "cu in" if piece.inches else "L",
        piece.customer,
        piece.vehicle,
        850 * REV_PER_MIN,
    )
    hands = DemoTechnician(shop, rng, end - timedelta(days=piece.visits[0][3], hours=5))
    hardware = likely_hardware(facts.displacement, len(layout.bores))
    engine_id = engines.register(shop, hands.key(), facts, layout, hardware, hands.at())
    bench = DemoEngineModel(layout, rng)
    for place, job, why, days in piece.visits:
        last = (place, job, why, days) == piece.visits[-1]
        before = AT_WORK if last and piece.now else timedelta(days=days, hours=4)
        hands.now = max(hands.now, end - before)
        visit_id = hands.open(engine_id, place, job, why)
        _visit(hands, visit_id, bench, piece, piece.until if last else "")
        if piece.slips:
            bench.slip(Coupler(*piece.slips), 1.2)


def _visit(hands: DemoTechnician, visit_id: int, bench: DemoEngineModel, piece: Piece, until: str) -> None:
    first = hands.record(visit_id).visit.number == 1
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
