"""The curve of the heat soak: what is drawn of a visit that was interrupted."""

from app.shop.assessment.progress import status_of
from app.shop.commands import checks
from app.shop.procedure.phases import HEAT_SOAKED
from app.shop.store.database import Database
from app.web.presenters.heat_curve import HeatView, heat_view
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
