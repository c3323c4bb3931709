"""What is asked of a file whose meter, or whose numbers, are in the other shop already."""

import json

from app.shop.commands import engines
from app.shop.errors import ConflictError
from app.shop.exchange.codes import FileChoice, FileQuestion
from app.shop.exchange.imports import bring_in, plan, read
from app.shop.exchange.versions.v6 import EngineFile
from app.shop.record.fittings import hardware_from_json
from app.shop.store.database import Database
from tests.shop.exchange.files import one_first_meter, out
from tests.shop.rejections import rejects
from tests.shop.yard import AT, FOUR, engine, key, visit


def asked_of_meters(shop: Database, file: EngineFile) -> list[tuple[FileChoice, ...]]:
    """What may be answered about each meter that is asked about."""
    with shop.reading() as session:
        return [one.options for one in plan(session, file, {}).conflicts if one.name.startswith("meter-")]


def test_a_meter_that_both_began_with_is_asked_about_once_it_was_used_or_where_it_shows_otherwise(
    shop: Database, other: Database
) -> None:
    """One that was never used, and says the same, may be theirs; one of another step is not."""
    visit(shop, engine(shop, FOUR))
    one_first_meter(shop, other)
    same = out(shop)
    finer = json.loads(same)
    finer["meters"][0]["step"] /= 2
    finer["seals"] = []
    assert asked_of_meters(other, read(same)) == []
    assert asked_of_meters(other, read(json.dumps(finer))) == [(FileChoice.APART,)]
    visit(other, engine(other, FOUR, "31-0300"))
    assert asked_of_meters(other, read(same)) == [(FileChoice.APART, FileChoice.SAME_METER)]


def test_fittings_that_both_counted_on_their_own_are_asked_about_and_put_behind(
    shop: Database, other: Database
) -> None:
    """Each shop fitted something else after the first fitting, and called it the second."""
    engine_id = engine(shop, FOUR)
    bring_in(other, read(out(shop)), {})
    for one in (shop, other):
        with one.reading() as session:
            hardware = hardware_from_json(engines.fitting_now(session, engine_id).hardware)
        engines.fit(one, engine_id, key(), FOUR, hardware, "Plates measured", AT)
    file = read(out(shop))
    with rejects(FileQuestion.NUMBERS, kind=ConflictError):
        bring_in(other, file, {})
    bring_in(other, file, {"numbers": "append"})
    assert sorted(fitting.number for fitting in read(out(other)).fittings) == [1, 2, 3]
