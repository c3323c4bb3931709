"""The tables across engines, in words."""

import pytest

from app.shop.queries import statistics
from app.shop.queries.statistics import Label, Slug, Table
from app.shop.reasons import because
from app.shop.store.database import Database
from app.wording.office import statistics as words
from tests.shop.past import Past

EVEN = [6.5] * 8
SLIPPED = [6.5, 6.5, 7.75, 7.75, 6.5, 6.5, 6.5, 6.5]


@pytest.fixture
def tables(shop: Database) -> dict[Slug, Table]:
    past = Past(shop)
    for found in (EVEN, SLIPPED, EVEN):
        past.visit(found, EVEN)
    with shop.reading() as session:
        return {one.slug: one for one in statistics.tables(statistics.gather(session))}


def test_every_table_has_a_title_and_a_head_for_each_column(tables: dict[Slug, Table]) -> None:
    assert set(tables) == set(Slug) == set(words.TITLES) == set(words.COLUMNS)
    for table in tables.values():
        assert {len(row) for row in table.rows} == {len(words.columns(table))}, table.slug


def test_a_share_is_shown_in_per_cent_and_kept_as_a_part_in_the_file(tables: dict[Slug, Table]) -> None:
    (row,) = tables[Slug.LAYOUTS].rows
    assert words.shown(tables[Slug.LAYOUTS], row) == ("4 + 4", "2", "1", "50\u00a0%")
    assert [words.plain(cell) for cell in row] == ["4 + 4", 2, 1, 0.5]


@pytest.mark.parametrize(
    ("label", "says"),
    [
        (because(Label.COUPLER, away=2), "coupler 2 from the stop screw"),
        (because(Label.SIZE_ESTIMATED, mm=45), "45 (estimate)"),
        (because(Label.MORE_MONTHS, low=24), "over 24 months"),
        (None, ""),
    ],
)
def test_a_label_is_said_by_its_code(label: statistics.Cell, says: str) -> None:
    assert words.plain(label) == says


def test_a_bar_says_how_many_it_is_a_share_of(tables: dict[Slug, Table]) -> None:
    lasts, moves, by_meter = tables[Slug.LASTS], tables[Slug.MOVES], tables[Slug.METERS]
    few = ["0 of 0, too few to say", "1 of 2, too few to say"]
    assert [words.bar_words(lasts, row) for row in lasts.rows][:2] == few
    assert words.bar_words(moves, moves.rows[1]) == "3 of 3, too few to say"
    assert words.bar_words(by_meter, by_meter.rows[0]) == "1"


def test_questions_are_answered_in_a_few_words(tables: dict[Slug, Table]) -> None:
    assert {words.answer(table)[0] for table in tables.values()} == {"Too few to say"}
    shares = Table(Slug.LAYOUTS, (("4", 50, 40, 0.8), ("4 + 4", 50, 2, 0.04)), bar=3, share=True, of=1, some=2)
    assert words.answer(shares) == ("Most often: 4", "40 of 50.")
    alike = Table(Slug.LAYOUTS, (("4", 50, 30, 0.6), ("4 + 4", 50, 25, 0.5)), bar=3, share=True, of=1, some=2)
    assert words.answer(alike)[0] == "No clear difference"
    taken = Table(Slug.MOVES, ((0, 1, 0.1), (2, 5, 0.5), (7, 4, 0.4)), bar=2, share=True, some=1)
    assert words.answer(taken)[0] == "2 adjustments"
    lasting = (
        (because(Label.MONTHS, low=0, high=3), 9, 7, 7, 0.778),
        (because(Label.MORE_MONTHS, low=24), 2, 2, 2, 1.0),
    )
    assert words.answer(Table(Slug.LASTS, lasting, bar=4, share=True, of=1, some=2))[0].startswith("7 of 9")
    metered = (("one", 9, 2.5, 3.0, 4.0), ("other", 6, 4.0, 3.0, 4.0), ("seldom", 1, 9.0, 3.0, 4.0))
    assert words.answer(Table(Slug.METERS, metered, bar=2, share=False))[0] == "2.5 to 4 adjustments on average"
    assert words.answer(Table(Slug.METERS, metered[:1], bar=2, share=False)) == ("2.5 adjustments on average", "")


def test_every_label_fits_beside_its_bar() -> None:
    examples = {"away": 11, "mm": 100, "low": 12, "high": 24}
    for message in words.LABELS.values():
        assert len(message.text.format(**examples)) <= message.limit
