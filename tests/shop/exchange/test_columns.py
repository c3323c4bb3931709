"""What a pressure meter counts from, from one shop to another, and in the files from before it was asked for."""

from pathlib import Path

from app.shop.exchange.imports import bring_in, read
from app.shop.record import loader, meter_studies
from app.shop.store.database import Database
from tests.shop.exchange.files import by_pressure, out

FIXTURES = Path(__file__).parent


def test_what_a_column_counts_from_comes_through(shop: Database, other: Database) -> None:
    held = out(shop, by_pressure(shop))
    engine_id = bring_in(other, read(held), {})
    with other.reading() as session:
        *_, newest = sorted(loader.of_engine(session, engine_id), key=lambda record: record.visit.number)
    assert (newest.meter.unit, newest.meter.absolute) == ("cmHg", True)
    assert newest.meter_as_read().absolute
    assert out(other, engine_id) == held


def test_a_column_of_an_older_file_counts_from_the_days_air(shop: Database) -> None:
    bring_in(shop, read((FIXTURES / "engine-4.json").read_text()), {})
    with shop.reading() as session:
        columns = [one.row for one in meter_studies.all_of(session) if one.row.quantity == "vacuum"]
    assert [column.absolute for column in columns] == [False]
