"""Openings of the bank balance from one shop to another: how they were reached, and at what engine speed."""

import json

from app.shop.assessment.verdicts import balance_of
from app.shop.commands import opening_speeds, readings
from app.shop.commands.opening_speeds import NewSpeed
from app.shop.exchange.imports import bring_in, read
from app.shop.procedure.phases import BANK_BALANCE
from app.shop.record import loader
from app.shop.rejections import Rejection
from app.shop.store.database import Database
from app.shop.store.row_hashes import check
from app.sync.engine.units import THOU
from tests.shop.bank_balance import at_the_banks, read_with_one_bank_early
from tests.shop.exchange.files import out
from tests.shop.rejections import rejects
from tests.shop.yard import AT, V8, key, run, visit_record
from tests.shop.yard import read as read_bore


def from_above(shop: Database) -> int:
    """A visit whose second opening was read, and then the first once more from above."""
    visit_id = at_the_banks(shop)
    read_with_one_bank_early(shop, visit_id)
    readings.begin_round(shop, visit_id, key(), BANK_BALANCE.slug, AT, 10 * THOU, from_above=True)
    for bore in (*V8.bores, 1):
        read_bore(shop, visit_id, BANK_BALANCE, 8.0, bore)
    return visit_id


def test_an_engine_speed_goes_with_its_round_and_is_left_out_where_there_is_none(
    shop: Database, other: Database
) -> None:
    visit_id = at_the_banks(shop)
    assert "speeds" not in json.loads(out(shop))["visits"][0]
    run(shop, visit_id, BANK_BALANCE, 1100.0)
    new = NewSpeed(BANK_BALANCE.slug, 3, 1010.0, "KM")
    opening_speeds.record(shop, visit_id, key(), new, AT)
    held = out(shop)
    first, second = json.loads(held)["visits"][0]["speeds"]
    assert (first["supersedes"], second["supersedes"], second["after_move"]) == (None, first["key"], None)
    assert round(60 * second["speed"]) == 1010
    engine_id = bring_in(other, read(held), {})
    assert out(other, engine_id) == held
    bring_in(other, read(held), {})
    assert out(other, engine_id) == held
    at_idle = json.loads(held)
    at_idle["visits"][0]["speeds"][0]["round"] = at_idle["visits"][0]["rounds"][0]["key"]
    with rejects(Rejection.FILE_CONTRADICTS_ITSELF):
        read(json.dumps(at_idle))


def test_what_was_reached_from_above_is_so_in_the_other_shop(shop: Database, other: Database) -> None:
    visit_id = from_above(shop)
    engine_id = bring_in(other, read(out(shop)), {})
    with other.reading() as session:
        (there,) = loader.of_engine(session, engine_id)
        driver = session.connection().connection.driver_connection
        assert driver is not None
        assert check(driver).broken == ()
    assert [bool(one.row.from_above) for one in there.rounds][-2:] == [False, True]
    assert balance_of(there) == balance_of(visit_record(shop, visit_id))
    assert out(other) == out(shop)
