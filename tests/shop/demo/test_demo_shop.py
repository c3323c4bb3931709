"""The demonstration shop with three engines in it: whose it is, when what was done, and what its meters were told."""

from datetime import UTC, date, datetime, timedelta
from statistics import fmean

import pytest

from app.shop.commands import engines
from app.shop.demo import demo_shop
from app.shop.demo.demo_engines import Piece
from app.shop.record import loader, meter_studies, stored_settings
from app.shop.store.database import Database
from app.sync.engine.units import CUBIC_INCH, LITER

TODAY = datetime(2026, 11, 25, 12, tzinfo=UTC)
VISIT = ("test cell", "0990", "First sync", 30)


@pytest.fixture
def filled(shop: Database, monkeypatch: pytest.MonkeyPatch) -> Database:
    """Three engines that were hardly begun, one of them in cubic inches, one worked at now."""
    once = ((VISIT,),)
    monkeypatch.setattr(
        demo_shop,
        "PIECES",
        (
            Piece("31-0400", "Four in line", 2.0, "C-200", "Gray tourer", ((1, 2, 3, 4),), *once, until="cold"),
            Piece(
                "31-0401", "Six", 3.0, "C-201", "Van", ((1, 3, 5), (2, 4, 6)), *once, until="fire",
                springless=frozenset({4}), inches=True,
            ),
            Piece(
                "31-0402", "Five in line", 2.5, "C-202", "Coach", ((1, 2, 3, 4, 5),),
                (("vehicle", "0991", "Idle wanders", 0),), until="cold", now=True,
            ),
        ),
    )  # fmt: skip
    demo_shop.fill(shop, TODAY)
    return shop


def test_engines_are_registered_and_opened_on_their_days(filled: Database) -> None:
    with filled.reading() as session:
        four, six = (engines.find(session, serial)[0] for serial in ("31-0400", "31-0401"))
        records = [loader.of_engine(session, one.ident)[0] for one in (four, six)]
    assert four.displacement == pytest.approx(2.0 * LITER)
    assert six.displacement == pytest.approx(183 * CUBIC_INCH)  # 3 liters are 183.07 cubic inches
    for record in records:
        assert (record.visit.place, record.visit.job) == ("test cell", "0990")
        ago = TODAY - datetime.fromisoformat(record.visit.opened_at)
        assert timedelta(days=30) < ago < timedelta(days=30, hours=5)
    assert records[0].layout.springless == frozenset()
    assert records[1].layout.springless == frozenset({4})
    assert [len(record.layout.banks) for record in records] == [1, 2]
    assert records[1].layout.sensor == 6
    assert records[0].all_checks == ()
    assert {row.phase for row in records[1].all_checks} == {"cold-preset"}


def test_what_is_worked_at_now_was_opened_within_these_three_quarters_of_an_hour(filled: Database) -> None:
    with filled.reading() as session:
        five = loader.of_engine(session, engines.find(session, "31-0402")[0].ident)[0]
    assert timedelta(minutes=40) < TODAY - datetime.fromisoformat(five.visit.opened_at) < timedelta(minutes=45)


def test_the_shop_has_a_name_and_its_meters_were_looked_at(filled: Database) -> None:
    with filled.reading() as session:
        _, held = stored_settings.now(session)
        known = {one.row.name: one for one in meter_studies.all_of(session)}
    assert (held.shop_name, held.people) == ("Engine yard, Third Lock", (("KM", "Keeper of the meters"),))
    bench, road = known["Bench meter"], known["Road meter"]
    studied = TODAY - timedelta(days=9)
    for meter in (bench, road):
        assert meter.due is not None
        assert date.fromisoformat(meter.due.due) == (studied + timedelta(days=365)).date()
    alone = [next(study for study in one.studies if study.other is None) for one in (bench, road)]
    shown = [[reading.value for reading in study.readings] for study in alone]
    assert fmean(shown[0]) == pytest.approx(9.25, abs=0.15)  # ten and more readings that scatter by 1.2 %
    assert fmean(shown[1]) == pytest.approx(0.94 * 9.25, abs=0.15)
    assert all(value % 0.25 == 0 for values in shown for value in values)
    (both,) = [study for study in bench.studies if study.other is not None]
    pairs = [reading.value for reading in both.readings]
    assert pairs[0::2] == pytest.approx([5.5, 6.75, 8.0, 9.25, 10.5][: len(pairs) // 2], abs=0.5)
    assert fmean(pairs[1::2]) == pytest.approx(0.94 * fmean(pairs[0::2]), rel=0.03)


def test_a_training_engine_is_the_newest(filled: Database) -> None:
    with filled.reading() as session:
        newest = loader.in_the_shop(session)[0]
    assert newest.engine.serial == "Training 1"
    assert abs(datetime.fromisoformat(newest.visit.opened_at) - TODAY) < timedelta(days=1)
