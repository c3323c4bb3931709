"""Corrected times of a job go out in an engine's file and come in again; one without them names none."""

import json

from app.shop.commands import hours
from app.shop.commands.hours import NewTime
from app.shop.exchange.imports import bring_in, read
from app.shop.exchange.versions import v6
from app.shop.queries.hours import by_visit
from app.shop.rejections import Rejection
from app.shop.store.database import Database
from app.shop.store.tables import HoursCorrection
from app.sync.engine.units import MINUTE
from tests.shop.exchange.files import out
from tests.shop.past import Past
from tests.shop.rejections import rejects
from tests.shop.yard import AT, FOUR, key

SLOWER = NewTime("cold-preset", 75, "Plates were set at the bench", "KM")


def spent(shop: Database) -> dict[str, float]:
    """The minutes of each phase of the first visit."""
    with shop.reading() as session:
        return {one.phase: one.spent / MINUTE for one in by_visit(session, {1: 30 * MINUTE})[1]}


def test_corrected_times_are_the_same_in_the_other_shop(shop: Database, other: Database) -> None:
    Past(shop, FOUR).visit([6.5] * 4)
    assert "hours_corrections" not in json.loads(out(shop))["visits"][0]
    bring_in(other, read(out(shop)), {})
    hours.correct(shop, 1, key(), SLOWER, AT)
    engine_id = bring_in(other, read(out(shop)), {})  # what was corrected since is added to what is there
    assert out(other, engine_id) == out(shop)
    assert spent(other) == spent(shop)
    assert spent(other)["cold-preset"] == 75


def test_a_corrected_time_that_says_something_else_is_refused(shop: Database, other: Database) -> None:
    Past(shop, FOUR).visit([6.5] * 4)
    hours.correct(shop, 1, key(), SLOWER, AT)
    bring_in(other, read(out(shop)), {})
    file = json.loads(out(shop))
    file["visits"][0]["hours_corrections"][0]["seconds"] = 60
    file["seals"] = []
    with rejects(Rejection.FILE_ENTRY_DIFFERS):
        bring_in(other, read(json.dumps(file)), {})


def test_no_column_is_forgotten() -> None:
    assert set(HoursCorrection.model_fields) - {"id", "seal", "visit_id"} == set(v6.HoursCorrection.model_fields)
