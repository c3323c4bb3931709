"""Starts and stops of an engine, and what ended a stop, go out in its file and come in again."""

import json

import pytest

from app.shop.exchange.imports import bring_in, read
from app.shop.exchange.versions import v6
from app.shop.procedure.limits import ended_stops
from app.shop.rejections import Rejection
from app.shop.store import tables
from app.shop.store.database import Database
from tests.shop.exchange.files import out, stopped_and_started
from tests.shop.rejections import rejects
from tests.shop.yard import key, visit_record


def test_starts_and_stops_are_the_same_in_the_other_shop(shop: Database, other: Database) -> None:
    visit_id = stopped_and_started(shop)
    engine_id = bring_in(other, read(out(shop)), {})
    assert out(other, engine_id) == out(shop)
    here, there = visit_record(shop, visit_id), visit_record(other, 1)
    assert [event.what for event in there.engine_events] == ["stopped", "started"]
    for ours, theirs in zip(ended_stops(here), ended_stops(there), strict=True):
        assert (ours[0].cause, ours[0].remedy) == (theirs[0].cause, theirs[0].remedy)
        assert [stop.check.number for stop in ours[1]] == [stop.check.number for stop in theirs[1]] == [30]


@pytest.mark.parametrize(("part", "name"), [("stop_ends", "after_check"), ("engine_events", "after_reading")])
def test_an_event_after_a_row_that_is_not_there_is_refused(shop: Database, part: str, name: str) -> None:
    stopped_and_started(shop)
    file = json.loads(out(shop))
    file["visits"][0][part][0][name] = key()
    with rejects(Rejection.FILE_CONTRADICTS_ITSELF):
        read(json.dumps(file))


@pytest.mark.parametrize(("table", "part"), [(tables.EngineEvent, v6.EngineEvent), (tables.StopEnd, v6.StopEnd)])
def test_no_column_is_forgotten(table: type[tables.Row], part: type[v6.Part]) -> None:
    assert set(table.model_fields) - {"id", "seal", "visit_id"} == set(part.model_fields)
