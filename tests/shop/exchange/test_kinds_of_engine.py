"""What cools an engine and opens its plates, from one shop to another."""

import json

import pytest

from app.shop.commands import engines, meters, visits
from app.shop.commands.meters import NewMeter
from app.shop.commands.visits import NewVisit
from app.shop.exchange.imports import bring_in, read
from app.shop.record.fittings import layout_from_json
from app.shop.store.database import Database
from app.sync.engine.layout import Layout
from tests.shop.exchange.files import out
from tests.shop.yard import AIR_COOLED, AT, ONE_MOTOR_A_BANK, ONE_MOTOR_A_BORE, engine, key


@pytest.mark.parametrize("layout", [AIR_COOLED, ONE_MOTOR_A_BANK, ONE_MOTOR_A_BORE])
def test_what_cools_an_engine_and_opens_its_plates_travels_and_is_left_out_where_it_is_as_usual(
    shop: Database, other: Database, layout: Layout
) -> None:
    engine_id = engine(shop, layout)
    file = out(shop, engine_id)
    said = json.loads(file)["fittings"][0]["layout"]
    assert {name: said[name] for name in ("cooling", "actuation") if name in said} == {
        name: value
        for name, value, usual in (
            ("cooling", layout.cooling, "liquid"),
            ("actuation", layout.actuation, "linkage"),
        )
        if value != usual
    }
    there = bring_in(other, read(file), {})
    with other.reading() as session:
        assert layout_from_json(engines.fitting_now(session, there).layout) == layout
    assert out(other, there) == file


def test_an_engine_read_in_cubic_feet_goes_out_and_comes_in(shop: Database, other: Database) -> None:
    meter_id = meters.register(shop, key(), NewMeter("Bell", "cfm", 0.1, 0, 40))
    visits.open_visit(shop, engine(shop), key(), NewVisit("test cell", "", "", "KM", meter_id), AT)
    bring_in(other, read(out(shop)), {})
    assert out(other) == out(shop)
