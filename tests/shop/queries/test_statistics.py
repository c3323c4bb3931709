"""What the engines of a shop say together, on engines whose past the test wrote."""

from threading import Event
from typing import Any

import pytest

from app.shop.assessment.visit_summary import VisitSummary, build_history
from app.shop.queries import history_cache, statistics
from app.shop.queries.statistics import Label, Slug, Table, _place, interval, standing_out
from app.shop.reasons import Reason
from app.shop.record.visit_record import VisitRecord
from app.shop.store.database import Database
from app.sync.engine.layout import Bank, Bypass, Coupler, Layout, Link, OtherScrew, StopScrew
from app.sync.slips.slip_hypotheses import Bore
from tests.shop.past import Past
from tests.shop.yard import FOUR, engine

EVEN = [6.5] * 8
SLIPPED = [6.5, 6.5, 7.75, 7.75, 6.5, 6.5, 6.5, 6.5]


def made(shop: Database) -> dict[str, Table]:
    with shop.reading() as session:
        return {table.slug: table for table in statistics.tables(statistics.gather(session))}


def labeled(table: Table) -> dict[tuple[Any, ...], tuple[Any, ...]]:
    """Rows by the code and the figures of their label."""
    found = {}
    for label, *cells in table.rows:
        assert isinstance(label, Reason)
        found[label.code, *label.values.values()] = tuple(cells)
    return found


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
    rows = labeled(with_engines(shop)["adjusters"])
    assert rows[Label.COUPLER, 2][:3] == (3, 1, 0.333)
    assert rows[Label.STOP_SCREW,][:3] == (3, 0, 0.0)
    assert rows[Label.COUPLER, 1][1] == 0
    size = rows[Label.COUPLER, 2][3]
    assert isinstance(size, float)
    assert 10 < size < 20  # 6.5 to 7.75 is 17.6 % in ln, shrunk by the prior


def test_layouts_and_sizes_count_returns(shop: Database) -> None:
    found = with_engines(shop)
    assert found["layouts"].rows == (("4", 1, 0, 0.0), ("4 + 4", 2, 1, 0.5))
    sizes = labeled(found["hardware"])
    assert {label for label, _ in sizes} == {Label.SIZE_ESTIMATED}
    assert sum(counts[0] for counts in sizes.values()) == 3


def test_how_long_it_lasts_is_told_by_the_time_between(shop: Database) -> None:
    """Visits are 182 days, so 5.98 months, apart."""
    rows = labeled(with_engines(shop)["lasts"])
    assert rows[Label.MONTHS, 3, 6] == (3, 2, 2, 0.667)
    assert rows[Label.MONTHS, 6, 12] == (0, 0, 0, 0.0)
    spans = [(Label.MONTHS, low, high) for low, high in ((0, 3), (3, 6), (6, 12), (12, 24))]
    assert list(rows) == [*spans, (Label.MORE_MONTHS, 24)]  # each begins where the one before it ends


def test_moves_are_told_by_visit_and_meter(shop: Database) -> None:
    found = with_engines(shop)
    assert found["moves"].rows == ((0, 0, 0.0), (1, 5, 1.0))
    assert [row[1] for row in found["meters"].rows] == [5]


def test_every_share_is_the_part_that_its_row_counts(shop: Database) -> None:
    """The column that is drawn says what the two counts beside it, or the sum of all, say."""
    found = with_engines(shop)
    assert {slug for slug, table in found.items() if not table.share} == {"meters"}
    for table in (one for one in found.values() if one.share):
        assert table.rows, table.slug
        for row in table.rows:
            some, of = table.counts(row)
            assert row[table.bar] == pytest.approx(some / of if of else 0.0, abs=6e-4), table.slug


def test_a_share_without_a_whole_beside_it_is_of_all_rows_together() -> None:
    """Three visits without a move and one with a single one: three of four, and one of four."""
    rows = ((0, 3, 0.75), (1, 1, 0.25))
    table = Table(Slug.MOVES, rows, bar=2, share=True, some=1)
    assert [table.counts(row) for row in rows] == [(3, 4), (1, 4)]


def test_what_is_counted_is_worked_out_before_it_is_asked_for(shop: Database, monkeypatch: pytest.MonkeyPatch) -> None:
    past = Past(shop)
    for _ in range(3):
        past.visit(EVEN, EVEN)
    worked_out: list[int] = []

    def noted(record: VisitRecord) -> VisitSummary:
        worked_out.append(record.visit.ident)
        return build_history(record)

    monkeypatch.setattr(history_cache, "_kept", history_cache._Kept())
    monkeypatch.setattr(history_cache, "build_history", noted)
    stopped = Event()
    stopped.set()
    statistics.remember(shop, stopped)
    assert worked_out == [1]
    statistics.remember(shop, Event())
    assert worked_out == [1, 2, 3]
    made(shop)
    assert worked_out == [1, 2, 3]


def test_an_empty_shop_has_empty_tables(shop: Database) -> None:
    found = made(shop)
    assert found["meters"].rows == ()
    assert found["layouts"].rows == ()


@pytest.mark.parametrize(
    ("some", "of", "low", "high"),
    [(81, 263, 0.2553, 0.3662), (15, 148, 0.0624, 0.1605), (0, 20, 0.0, 0.1611), (1, 29, 0.0061, 0.1718)],
)
def test_intervals_of_shares_are_those_of_the_handbook(some: int, of: int, low: float, high: float) -> None:
    """R. G. Newcombe, Statistics in Medicine 17, 1998, table I, score method without correction; from memory."""
    found = interval(some, of)
    assert found is not None
    assert found.low == pytest.approx(low, abs=6e-5)
    assert found.high == pytest.approx(high, abs=6e-5)


def test_few_say_nothing_and_overlapping_shares_have_no_order() -> None:
    assert interval(4, 4) is None

    def table(*counts: tuple[int, int]) -> Table:
        rows = tuple((f"{at}", of, some, some / of) for at, (some, of) in enumerate(counts))
        return Table(Slug.LAYOUTS, rows, bar=3, share=True, of=1, some=2)

    apart = standing_out(table((40, 50), (2, 50)))
    assert apart is not None
    assert apart[0] == "0"
    assert standing_out(table((30, 50), (25, 50))) is None
    assert standing_out(table((4, 4), (2, 50))) is None  # one line alone stands out from nothing


@pytest.mark.parametrize(
    ("adjuster", "place"),
    [
        (Coupler(4, 5), (Label.COUPLER, 1)),
        (Coupler(4, 3), (Label.COUPLER, 1)),
        (Coupler(3, 2), (Label.COUPLER, 2)),
        (StopScrew("A"), (Label.STOP_SCREW, 0)),
        (Bypass(2), (Label.BYPASS_SCREW, 0)),
        (OtherScrew("trim", 2), (Label.OTHER_SCREW, 0)),
        (Bore(2), (Label.BORE, 0)),
        (Link("A"), (Label.LINK_ROD, 0)),
    ],
)
def test_what_slipped_is_counted_by_its_kind_and_couplers_by_their_distance_from_the_stop(
    adjuster: object, place: tuple[Label, int]
) -> None:
    """By hand, of six in line whose stop screw is at the fourth."""
    assert _place(Layout((Bank("A", (1, 2, 3, 4, 5, 6), 4, 1),)), adjuster) == place
