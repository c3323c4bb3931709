"""The activity log, page by page, without going through all that was ever done."""

import pytest

from app.shop.commands import visits
from app.shop.queries import activity
from app.shop.store.database import Database, raw_connection
from tests.shop.yard import AT, FOUR, engine, key, ready_to_sign, visit

MANY = {"engine", "visit", "round", "reading", "move", "check", "engine_event", "sign_off"}
"""The tables of which a shop has many rows."""


@pytest.mark.parametrize("of", [{}, {"visit": 1}, {"site": 1}])
def test_its_pages_are_the_whole_of_it_in_parts(shop: Database, of: dict[str, int]) -> None:
    signed = ready_to_sign(shop)
    visits.sign_off(shop, signed, key(), "K. Moor", AT)
    visit(shop, engine(shop, FOUR, "40-1"))
    with shop.reading() as session:
        whole = activity.lines(session, 1000, **of)
        paged = [line for skip in range(0, len(whole) + 7, 7) for line in activity.lines(session, 7, skip, **of)]
        rows = raw_connection(session).execute("SELECT count(*) FROM reading").fetchone()
    assert paged == whole
    assert [line.at for line in whole] == sorted((line.at for line in whole), reverse=True)
    told = [line.what.code for line in whole]
    assert told.count(activity.Activity.READING) == (0 if "site" in of else rows[0])
    assert told.count(activity.Activity.SIGN_OFF) == (0 if "site" in of else 1)
    assert told.count(activity.Activity.VISIT) == {"": 2, "visit": 1, "site": 0}[next(iter(of), "")]
    assert {line.visit for line in whole} <= ({1} if of else {0, 1, 2})


def test_a_page_is_found_by_when_it_was_done(shop: Database) -> None:
    """The log must not take longer with each reading that was ever stored."""
    if shop.shared:
        pytest.skip("the plan of a server depends on how many rows there are")
    for part in activity.PARTS:
        if part.table not in MANY:
            continue
        values = {"reach": 100, "undone": "", "mistaken": ""}
        with shop.reading() as session:
            rows = raw_connection(session).execute(f"EXPLAIN QUERY PLAN {part.newest(activity.ANY)}", values)
            plan = [row[-1] for row in rows]
        assert f"SCAN t USING INDEX ix_{part.table}_{part.at.removeprefix('t.')}" in plan
        assert not any("TEMP B-TREE" in line for line in plan)
    assert {part.table for part in activity.PARTS} > MANY
