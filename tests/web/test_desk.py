"""The reading page as plain facts, where no browser is needed to see them."""

import pytest

from app.shop.database import Database
from app.shop.phases import HEAT_SOAKED
from app.sync.layout import Bank, Layout
from app.web.desk import Desk
from app.web.keypad import Wanted
from tests.shop.yard import engine, story, visit
from tests.web.pieces import piece


def desk(shop: Database, *banks: int) -> Desk:
    """The page of a new visit to an engine with banks of so many bores."""
    first, made = 1, []
    for name, count in zip("AB", banks, strict=False):
        made.append(Bank(name, tuple(range(first, first + count)), first, first))
        first += count
    return Desk(story(shop, visit(shop, engine(shop, Layout(tuple(made))))), HEAT_SOAKED, Wanted(), {}, {})


@pytest.mark.parametrize(
    ("banks", "rows"),
    [((6,), [6]), ((7,), [4, 3]), ((8,), [4, 4]), ((12,), [6, 6]), ((6, 6), [6, 6])],
)
def test_a_long_bank_alone_is_folded_in_two(shop: Database, banks: tuple[int, ...], rows: list[int]) -> None:
    view = desk(shop, *banks).engine
    assert [len(row.tiles) for row in view.rows] == rows
    assert sum(len(row.couplers) for row in view.rows) == sum(banks) - len(banks)
    drawn = piece("engine", "engine(view)", view=view)
    assert drawn.count('class="coupler"') == sum(banks) - len(banks)
    assert drawn.count("M-44 -9") == len(banks)  # one stop screw a bank
