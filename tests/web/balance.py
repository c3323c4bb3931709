"""The reading page of the bank balance, with its readings taken."""

import pytest

from app.shop.assessment.assessment import assess
from app.shop.commands import checks, readings
from app.shop.commands.readings import NewReading
from app.shop.procedure.phases import BANK_BALANCE, HEAT_SOAKED
from app.shop.procedure.read_order import next_reading
from app.shop.store.database import Database
from app.sync.engine.units import THOU
from app.web.presenters.reading.keypad import Wanted
from app.web.presenters.reading.reading_page import ReadingPage
from tests.shop.yard import AT, heat_soaked, key, read_round, visit_record

FELT = ("free-play", "joints-tight")


def balance(shop: Database, apart: tuple[float, float], ticks: tuple[str, ...] = FELT, most: int = 99) -> ReadingPage:
    """The page after idle was read even and both openings with bank B higher by so much."""
    visit_id = heat_soaked(shop)
    read_round(shop, visit_id, HEAT_SOAKED)
    values: dict[str, float | None] = dict.fromkeys((*ticks, "lever-held"))
    checks.record(shop, visit_id, key(), BANK_BALANCE.slug, values | {"rev-limit": 3000.0}, "KM", AT)
    for _ in range(most):
        now = next_reading(visit_record(shop, visit_id), BANK_BALANCE)
        if now.bore is None:
            break
        first = now.opening == pytest.approx(10 * THOU)
        value = (9.0 if first else 13.5) + (apart[not first] if now.bore > 4 else 0.0)
        new = NewReading(BANK_BALANCE.slug, now.round_number, now.bore, now.kind, value, "KM")
        readings.add(shop, visit_id, key(), new, AT)
    return ReadingPage(assess(visit_record(shop, visit_id)), BANK_BALANCE, Wanted(), {}, {})
