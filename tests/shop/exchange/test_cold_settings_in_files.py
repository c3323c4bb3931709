"""Plates set cold go from shop to shop in an engine's file of version 5, and the estimate there takes them in."""

from app.shop.commands import checks, cold_settings
from app.shop.commands.cold_settings import NewSetting
from app.shop.exchange.imports import bring_in, read
from app.shop.procedure.phases import COLD_PRESET
from app.shop.record import loader
from app.shop.store.database import Database
from app.sync.engine.units import THOU
from tests.shop.exchange.files import out
from tests.shop.yard import AT, FOUR, check_all, engine, key, visit, visit_record


def test_plates_set_cold_read_the_same_in_another_shop(shop: Database, other: Database) -> None:
    visit_id = visit(shop, engine(shop, FOUR))
    check_all(shop, visit_id, COLD_PRESET)
    said = {"cold-and-off": None, "hand-gauged": None}
    checks.record(shop, visit_id, key(), COLD_PRESET.slug, said, "KM", AT)
    rows = [
        cold_settings.set_plate(shop, visit_id, key(), NewSetting(bore, (3 * THOU, 1.5 * THOU), "KM"), AT)
        for bore in FOUR.bores
    ]
    fixed = NewSetting(2, (4 * THOU,), "KM", supersedes=rows[1])
    cold_settings.set_plate(shop, visit_id, key(), fixed, AT)
    sent = out(shop)
    engine_id = bring_in(other, read(sent), {})
    with other.reading() as session:
        there = loader.of_engine(session, engine_id)[0]
    assert out(other, engine_id) == sent
    here = visit_record(shop, visit_id)
    assert there.set_cold == here.set_cold
    assert [made.bore for made in there.set_cold] == [1, 2, 3, 4]
    assert there.moves == ()
