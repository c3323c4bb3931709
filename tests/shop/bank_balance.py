"""Visits at the part-throttle bank balance, read as far as a test wants them."""

from app.shop.commands import checks
from app.shop.procedure.phases import BANK_BALANCE, HEAT_SOAKED
from app.shop.store.database import Database
from tests.shop.yard import AT, V8, check_all, heat_soaked, key, read, read_round


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
