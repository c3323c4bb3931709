"""What the engines of a shop say together, on engines whose past the test wrote."""

from app.shop.queries import statistics
from app.shop.queries.statistics import Table
from app.shop.store.database import Database
from tests.shop.past import Past
from tests.shop.yard import FOUR, engine

EVEN = [6.5] * 8
SLIPPED = [6.5, 6.5, 7.75, 7.75, 6.5, 6.5, 6.5, 6.5]


def made(shop: Database) -> dict[str, Table]:
    with shop.reading() as session:
        return {table.slug: table for table in statistics.tables(statistics.gather(session))}


def with_engines(shop: Database) -> dict[str, Table]:
    """An eight whose coupler 2–3 slipped at one of two returns, and a four that came back once, even."""
    eight = Past(shop)
    for found in (EVEN, SLIPPED, EVEN):
        eight.visit(found, EVEN)
    four = Past(shop, FOUR, "22-0098")
    for _ in range(2):
        four.visit([6.5] * 4, [6.5] * 4, by="JT")
    engine(shop, FOUR, "never here")
    return made(shop)


def test_couplers_are_counted_by_their_place(shop: Database) -> None:
    rows = {row[0]: row[1:] for row in with_engines(shop)["adjusters"].rows}
    assert rows["coupler 2 from the stop screw"][:3] == (3, 1, 0.333)
    assert rows["stop screw"][:3] == (3, 0, 0.0)
    assert rows["coupler 1 from the stop screw"][1] == 0
    assert 10 < float(rows["coupler 2 from the stop screw"][3]) < 20  # 6.5 to 7.75 is 17.6 % in ln, shrunk by the prior


def test_layouts_and_sizes_count_returns(shop: Database) -> None:
    found = with_engines(shop)
    assert found["layouts"].rows == (("4", 1, 0, 0.0), ("4 + 4", 2, 1, 0.5))
    assert sum(int(row[1]) for row in found["hardware"].rows) == 3


def test_how_long_it_lasts_is_told_by_the_time_between(shop: Database) -> None:
    """Visits are 182 days, so 5.98 months, apart."""
    rows = {row[0]: row[1:] for row in with_engines(shop)["lasts"].rows}
    assert rows["3 to 6 months"] == (3, 2, 2, 0.667)
    assert rows["6 to 12 months"] == (0, 0, 0, 0.0)


def test_moves_are_told_by_visit_meter_and_person(shop: Database) -> None:
    found = with_engines(shop)
    assert found["moves"].rows == ((0, 0, 0.0), (1, 5, 1.0))
    assert [row[:4] for row in found["people"].rows] == [("JT", 2, 1.0, 2.0), ("KM", 3, 1.0, 2.0)]
    assert [row[1] for row in found["meters"].rows] == [5]


def test_an_empty_shop_has_empty_tables(shop: Database) -> None:
    found = made(shop)
    assert found["people"].rows == ()
    assert found["layouts"].rows == ()
