"""The demonstration shop is made through the store's verbs and is the same each time."""

import tomllib
from datetime import UTC, datetime

import pytest

from app.shop.commands import engines
from app.shop.demo import demo_shop
from app.shop.demo.demo_engines import PIECES
from app.shop.demo.instrument import channel_file
from app.shop.record import loader, meter_studies
from app.shop.store.database import Database


@pytest.mark.slow
def test_the_demonstration_has_six_engines_and_more_with_several_visits(shop: Database) -> None:
    demo_shop.fill(shop, datetime(2026, 11, 25, 12, tzinfo=UTC))
    with shop.reading() as session:
        records = [loader.of_engine(session, e.ident) for e in engines.find(session, "-")]
        waiting = loader.in_the_shop(session)
        known = {one.row.name: one for one in meter_studies.all_of(session)}
        shown = tomllib.loads(channel_file(session))["source"]["bench"]["flows"]
    several = [told for told in records if len(told) > 1]
    assert len(several) >= 6
    assert {told[0].visit.place for told in records} >= {"test cell", "vehicle"}
    assert all(one.sign_off for told in several for one in told[1:])
    assert all(one.as_left() is not None for told in several for one in told[1:])
    assert len(waiting) >= 5
    bench, road = known["Bench meter"], known["Road meter"]
    assert bench.found is not None
    assert road.found is not None
    compared = next(study for study in bench.studies if study.other is not None)
    assert compared.agreement is not None
    assert bench.due is not None
    assert waiting[0].engine.serial == "Training 1"  # how the board opens
    first = next(told[0] for told in records if told[0].engine.serial == PIECES[0].serial)
    read = {f"b{bore}": one.value for bore, one in first.rounds[-1].latest.items()}
    assert len({*read.values()}) > 2  # as it came, not evened
    assert {bore: shown[bore] for bore in read} == pytest.approx(read)
