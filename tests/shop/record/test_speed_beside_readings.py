"""The engine speed that a channel told beside a reading: stored with it, and used where nothing holds the idle."""

import pytest

from app.shop.commands import checks, readings
from app.shop.commands.readings import NewLook, NewReading
from app.shop.procedure.phases import HEAT_SOAKED
from app.shop.record.rounds import Round
from app.shop.store.database import Database
from app.sync.engine.events import Reading
from tests.shop.yard import AT, heat_soaked, key, visit_record

SPEEDS = (14.0, 14.3)


def read_two(shop: Database, visit_id: int) -> None:
    for bore, speed in enumerate(SPEEDS, 1):
        new = NewReading(HEAT_SOAKED.slug, 2, bore, "turn", 6.5, "KM")
        readings.add(shop, visit_id, key(), new, AT, speed=speed)


def newest(shop: Database, visit_id: int) -> Round:
    return visit_record(shop, visit_id).rounds[-1]


def test_a_reading_keeps_the_speed_beside_it(shop: Database) -> None:
    visit_id = heat_soaked(shop)
    read_two(shop, visit_id)
    assert [one.speed for one in newest(shop, visit_id).readings] == list(SPEEDS)
    skipped = NewReading(HEAT_SOAKED.slug, 2, 3, "skip", None, "KM", why="Hot")
    readings.add(shop, visit_id, key(), skipped, AT, speed=14.0)
    assert newest(shop, visit_id).skipped[3].speed is None


def test_the_estimate_takes_readings_at_one_speed(shop: Database) -> None:
    visit_id = heat_soaked(shop)
    read_two(shop, visit_id)
    slow, fast = (one.value for one in newest(shop, visit_id).in_base_units)
    assert slow / fast == pytest.approx((14.3 / 14.0) ** 1.2, rel=0.001)
    told = [one.value for one in visit_record(shop, visit_id).events() if isinstance(one, Reading)]
    assert told == [slow, fast]


def test_an_idle_that_a_controller_holds_is_left_alone(shop: Database) -> None:
    visit_id = heat_soaked(shop)
    read_two(shop, visit_id)
    checks.take_back(shop, visit_id, key(), HEAT_SOAKED.slug, "idle-control", "KM", AT)
    slow, fast = (one.value for one in newest(shop, visit_id).in_base_units)
    assert slow == fast


def test_all_bores_of_one_moment_have_one_speed(shop: Database) -> None:
    visit_id = heat_soaked(shop)
    look = NewLook(HEAT_SOAKED.slug, 2, dict.fromkeys(range(1, 9), (6.5, 0.006)), "KM")
    readings.add_look(shop, visit_id, key(), look, AT, speed=14.1)
    assert {one.speed for one in newest(shop, visit_id).readings} == {14.1}
