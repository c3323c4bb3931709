"""When a page of a visit is out of date."""

from datetime import datetime

import pytest

from app.shop.procedure.phases import HEAT_SOAKED
from app.shop.queries.assessed import news_of, phase_seen
from app.shop.store.database import Database
from tests.shop.yard import AT, FOUR, heat_soaked, read


@pytest.mark.parametrize(("after", "out_of_date"), [(-1.0, False), (0.0, False), (0.001, True), (60.0, True)])
def test_a_page_is_out_of_date_once_something_of_it_has_run_out(
    shop: Database, after: float, out_of_date: bool
) -> None:
    shop.clock = datetime.fromisoformat(AT).timestamp
    told, _, until = phase_seen(shop, heat_soaked(shop, FOUR), HEAT_SOAKED.slug).version.partition("@")
    shop.clock = lambda: float(until) + after
    with shop.reading() as session:
        assert news_of(session, 1, f"{told}@{until}") == (told if out_of_date else "")
        assert news_of(session, 1, told) == ""


def test_a_page_is_out_of_date_once_anything_was_written_or_its_version_is_none(shop: Database) -> None:
    shop.clock = datetime.fromisoformat(AT).timestamp
    before = phase_seen(shop, heat_soaked(shop, FOUR), HEAT_SOAKED.slug).version.partition("@")[0]
    read(shop, 1, HEAT_SOAKED)
    with shop.reading() as session:
        now = news_of(session, 1, before)
        assert now not in ("", before)
        assert news_of(session, 1, f"{now}@soon") == now
