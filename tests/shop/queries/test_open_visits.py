"""Which visits are open, and who touched them last, however many were signed off before."""

import pytest

from app.shop.commands import visits
from app.shop.procedure.phases import COLD_PRESET, FIRST_FIRE
from app.shop.queries import open_visits
from app.shop.record import loader
from app.shop.store.database import Database, raw_connection
from tests.shop.yard import AT, FOUR, check_all, engine, key, read, ready_to_sign, visit


def told(shop: Database) -> list[int]:
    """What is told, of one moment with what the records say: the newest first."""
    with shop.reading() as session:
        rows = raw_connection(session).execute(
            "SELECT id FROM visit WHERE id NOT IN (SELECT visit_id FROM sign_off) ORDER BY id DESC"
        )
        found = loader.open_ids(session)
        assert found == [one for (one,) in rows]
    return found


def test_what_was_opened_and_signed_off_since_is_told(shop: Database) -> None:
    assert told(shop) == []
    signed = ready_to_sign(shop)
    assert told(shop) == [signed]
    others = [visit(shop, engine(shop, FOUR, f"40-{number}")) for number in range(2)]
    assert told(shop) == [*reversed(others), signed]
    visits.sign_off(shop, signed, key(), "K. Moor", AT)
    assert told(shop) == told(shop) == [*reversed(others)]
    with shop.writing() as session:  # in the session that stores it, too
        assert loader.open_ids(session) == [*reversed(others)]


def test_a_session_of_an_earlier_moment_tells_what_was_open_then(shop: Database) -> None:
    """Another request may have kept in mind what was stored after this one began to read."""
    signed = ready_to_sign(shop)
    with shop.reading() as session:
        assert raw_connection(session).execute("SELECT count(*) FROM visit").fetchone() == (1,)  # its moment is now
        later = visit(shop, engine(shop, FOUR, "40-1"))
        visits.sign_off(shop, signed, key(), "K. Moor", AT)
        assert told(shop) == [later]
        assert loader.open_ids(session) == [signed]
    assert told(shop) == [later]


def test_nothing_but_the_rows_of_open_visits_is_gone_through(shop: Database) -> None:
    """The board is looked at all day: it must not take longer with each reading that was ever stored."""
    if shop.shared:
        pytest.skip("the plan of a server depends on how many rows there are")
    query = open_visits.QUERY.format(these="1, 2")
    with shop.reading() as session:
        plan = [line[-1].split() for line in raw_connection(session).execute(f"EXPLAIN QUERY PLAN {query}")]
    tables = {"r", "o", "move", "check", "engine_event", "v", "e"}
    assert {words[1] for words in plan if words[0] == "SEARCH"} == tables
    assert tables.isdisjoint(words[1] for words in plan if words[0] == "SCAN")


def test_who_touched_a_visit_last_and_in_which_phase(shop: Database) -> None:
    one, other = (visit(shop, engine(shop, FOUR, f"40-{number}")) for number in range(2))
    check_all(shop, one, COLD_PRESET)
    check_all(shop, one, FIRST_FIRE)
    read(shop, one, FIRST_FIRE)
    with shop.reading() as session:
        found = {each.visit_id: each for each in open_visits.open_visits(session)}
    assert {number: (each.phase, set(each.people)) for number, each in found.items()} == {
        one: (FIRST_FIRE.slug, {"km"}),
        other: ("", {"km"}),
    }
