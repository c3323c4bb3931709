"""Visits at the part-throttle bank balance, read as far as a test wants them."""

from app.shop.commands import checks, meters, readings
from app.shop.commands.meters import NewMeter
from app.shop.commands.readings import NewReading
from app.shop.procedure.items import Phase
from app.shop.procedure.phases import BANK_BALANCE, COLD_PRESET, FIRST_FIRE, HEAT_SOAKED
from app.shop.procedure.read_order import next_reading
from app.shop.store.database import Database
from tests.shop.yard import (
    AT,
    V8,
    blip,
    check_all,
    engine,
    heat_soaked,
    idles,
    key,
    read,
    read_round,
    run,
    visit,
    visit_record,
)


def at_the_banks(shop: Database) -> int:
    """A visit that is even at idle and has every item of the bank balance recorded."""
    visit_id = heat_soaked(shop, V8)
    read_round(shop, visit_id, HEAT_SOAKED)
    check_all(shop, visit_id, BANK_BALANCE)
    return visit_id


def read_with_one_bank_early(shop: Database, visit_id: int) -> None:
    """Read both openings, bank B 2 kg/h above bank A at each."""
    for opening in (8.0, 15.0):
        for bore in (*V8.bores, 1):
            read(shop, visit_id, BANK_BALANCE, opening + (2.0 if bore > 4 else 0.0), bore)


def loose(shop: Database) -> int:
    """A visit whose joints nobody felt, both openings read with bank B ahead."""
    visit_id = at_the_banks(shop)
    checks.take_back(shop, visit_id, key(), BANK_BALANCE.slug, "joints-tight", "KM", AT)
    read_with_one_bank_early(shop, visit_id)
    return visit_id


def late(shop: Database) -> int:
    """A visit whose joints nobody felt, both openings read with bank B on its stop still."""
    visit_id = at_the_banks(shop)
    for first, second in ((9.5, 6.5), (16.0, 6.75)):
        for bore in (*V8.bores, 1):
            read(shop, visit_id, BANK_BALANCE, second if bore > 4 else first, bore)
    checks.take_back(shop, visit_id, key(), BANK_BALANCE.slug, "joints-tight", "KM", AT)
    return visit_id


AT_IDLE = 33.0
"""What the columns of a visit by columns show at idle [kPa]."""


def read_alike(shop: Database, visit_id: int, phase: Phase, first: float, second: float) -> None:
    """Read the round that is due, every column of a bank alike [kPa]."""
    run(shop, visit_id, phase)
    number = next_reading(visit_record(shop, visit_id), phase).round_number
    for kind, bore in (*(("turn", bore) for bore in V8.bores), ("closing", 1)):
        value = second if bore > 4 else first
        readings.add(shop, visit_id, key(), NewReading(phase.slug, number, bore, kind, value, "KM"), AT)


def at_the_banks_by_columns(shop: Database) -> int:
    """A visit with columns in quarters of a kilopascal, even at idle."""
    meter = meters.register(shop, key(), NewMeter("Columns", "kPa", 0.25, 0, 80))
    visit_id = visit(shop, engine(shop), meter=meter)
    for phase in (COLD_PRESET, FIRST_FIRE, HEAT_SOAKED, BANK_BALANCE):
        check_all(shop, visit_id, phase)
        if phase in (FIRST_FIRE, HEAT_SOAKED):
            read_alike(shop, visit_id, phase, AT_IDLE, AT_IDLE)
        if phase is HEAT_SOAKED:
            blip(shop, visit_id, AT_IDLE)
            idles(shop, visit_id, phase)
    return visit_id
