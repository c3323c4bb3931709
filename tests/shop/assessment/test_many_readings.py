"""A visit that is read very often: what is done for the page after a reading does not grow with those before it."""

import sys
import uuid
from collections import Counter
from types import FrameType

import pytest

from app.shop.commands import readings
from app.shop.procedure.phases import COLD_PRESET, FIRST_FIRE, HEAT_SOAKED
from app.shop.queries.assessed import phase_seen
from app.shop.store.database import Database
from app.sync.readings.rounds import MOST_OF_A_BORE
from tests.shop import yard
from tests.shop.yard import FOUR, check_all, engine, read_round, visit

MORE = 4 * MOST_OF_A_BORE


@pytest.mark.slow
def test_no_more_is_done_after_many_readings_than_after_some(shop: Database) -> None:
    visit_id = visit(shop, engine(shop, FOUR))
    check_all(shop, visit_id, COLD_PRESET)
    check_all(shop, visit_id, FIRST_FIRE)
    read_round(shop, visit_id, FIRST_FIRE)
    check_all(shop, visit_id, HEAT_SOAKED)
    read_round(shop, visit_id, HEAT_SOAKED)
    _read(shop, visit_id, MORE)
    some = _calls(shop, visit_id)
    _read(shop, visit_id, 2 * MORE)
    many = _calls(shop, visit_id)
    assert some.total() > 1_000, "nothing was counted"
    assert many.total() <= 1.02 * some.total(), (many - some).most_common(5)


def _read(shop: Database, visit_id: int, times: int) -> None:
    for number in range(times):
        value = (6.5, 6.5, 6.75)[number // 4 % 3]
        new = readings.NewReading(HEAT_SOAKED.slug, 2, 1 + number % 4, "again", value, "KM")
        readings.add(shop, visit_id, str(uuid.uuid4()), new, yard.AT)


def _calls(shop: Database, visit_id: int) -> Counter[str]:
    """The calls, of C too, for one more reading and what is judged after it."""
    seen: Counter[str] = Counter()

    def count(frame: FrameType, event: str, _: object) -> None:
        if event in ("call", "c_call"):
            seen[f"{frame.f_code.co_filename}:{frame.f_code.co_name}"] += 1

    sys.setprofile(count)
    try:
        _read(shop, visit_id, 1)
        phase_seen(shop, visit_id, HEAT_SOAKED.slug)
    finally:
        sys.setprofile(None)
    return seen
