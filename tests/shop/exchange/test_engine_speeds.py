"""The engine speed of an opening, from one shop to another."""

import json
from pathlib import Path

from app.shop.commands import opening_speeds
from app.shop.commands.opening_speeds import NewSpeed
from app.shop.exchange.imports import bring_in, read
from app.shop.procedure.phases import BANK_BALANCE
from app.shop.rejections import Rejection
from app.shop.store.database import Database
from app.shop.store.upgrade import open_shop
from tests.shop.bank_balance import at_the_banks
from tests.shop.exchange.files import out
from tests.shop.rejections import rejects
from tests.shop.yard import AT, key, run


def test_an_engine_speed_goes_with_its_round_and_is_left_out_where_there_is_none(
    shop: Database, tmp_path: Path
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
    other = open_shop(tmp_path / "other")
    engine_id = bring_in(other, read(held), {})
    assert out(other, engine_id) == held
    bring_in(other, read(held), {})
    assert out(other, engine_id) == held
    other.close()
    at_idle = json.loads(held)
    at_idle["visits"][0]["speeds"][0]["round"] = at_idle["visits"][0]["rounds"][0]["key"]
    with rejects(Rejection.FILE_CONTRADICTS_ITSELF):
        read(json.dumps(at_idle))
