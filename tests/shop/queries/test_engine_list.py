"""All engines of a shop by their newest visit, a page at a time."""

from app.shop.queries.engine_list import EngineOrder, engines_in_order
from app.shop.store.database import Database, raw_connection
from tests.shop.past import Past
from tests.shop.yard import FOUR, engine, visit

EVEN = [6.5] * 4


def test_engines_are_in_the_order_of_their_newest_visits_and_those_without_one_last(shop: Database) -> None:
    never = engine(shop, FOUR, "40-0")
    returned = Past(shop, FOUR, "40-1")
    returned.visit(EVEN)
    once = Past(shop, FOUR, "40-2")
    once.visit(EVEN)
    returned.visit(EVEN)
    alike = [engine(shop, FOUR, f"41-{number}") for number in range(3)]
    for one in alike:  # opened at one moment
        visit(shop, one)
    also_never = engine(shop, FOUR, "40-3")
    with shop.reading() as session:
        rows = raw_connection(session).execute(
            "SELECT e.id, coalesce((SELECT max(opened_at) FROM visit WHERE engine_id = e.id), '') FROM engine e"
        )
        newest = {int(ident): str(opened) for ident, opened in rows}
        expected = sorted(newest, key=lambda ident: (newest[ident], ident), reverse=True)
        for most in (1, 2, 3, 5, 20):
            pages = [
                [one.ident for one in engines_in_order(session, EngineOrder.VISITED, after, most)]
                for after in range(0, len(expected) + most, most)
            ]
            assert [ident for page in pages for ident in page] == expected
            assert all(len(page) == most for page in pages[: len(expected) // most])
    assert expected[-2:] == [also_never, never]
    assert [one for one in expected if one in alike] == alike[::-1]
