"""The curve of the heat soak: what is drawn of a visit that was interrupted."""

from itertools import pairwise

import pytest

from app.shop.assessment.progress import status_of
from app.shop.commands import checks
from app.shop.procedure.parts import Metal
from app.shop.procedure.phases import HEAT_SOAKED
from app.shop.store.database import Database
from app.web.presenters.heat_curve import HOTTEST, HOTTEST_HEAD, TICKS, HeatView, heat_view
from tests.shop.yard import FOUR, after, heat_soaked, key, start_again, visit_record

TWO_DAYS = 2 * 24 * 60


def curve(shop: Database, visit_id: int) -> HeatView:
    record = visit_record(shop, visit_id)
    heat = status_of(record, HEAT_SOAKED).heat
    assert heat is not None
    return heat_view(record, heat)


def test_after_two_days_only_the_new_run_is_drawn_once_it_is_read(shop: Database) -> None:
    visit_id = heat_soaked(shop, FOUR)
    before = curve(shop, visit_id)
    assert [minute for _, minute in before.minutes] == [0, 5, 10, 15, 20]
    start_again(shop, visit_id, after(TWO_DAYS))
    assert curve(shop, visit_id).minutes == before.minutes
    for minutes in (2, 9):
        checks.record(shop, visit_id, key(), HEAT_SOAKED.slug, {"coolant": 60.0}, "KM", after(TWO_DAYS + minutes))
    after_it = curve(shop, visit_id)
    assert [minute for _, minute in after_it.minutes] == [0, 5, 10, 15, 20]
    assert [len(line.points) for line in after_it.lines] == [2]


@pytest.mark.parametrize(("metal", "hottest"), [("coolant", HOTTEST), ("head", HOTTEST_HEAD)])
def test_marks_of_either_unit_stand_as_far_apart_as_figures_take(metal: Metal, hottest: float) -> None:
    """More than a quarter of the height, as on a tablet held upright a figure does (1.8 °F to 1 °C, by definition)."""
    for unit, marks in TICKS[metal].items():
        apart = min(later - earlier for earlier, later in pairwise(marks)) / (1.8 if unit == "°F" else 1.0)
        assert apart >= hottest / 3.6, (unit, marks)
