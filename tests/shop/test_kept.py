"""Stories that are kept in mind: handed out again while nothing was added, and never when something was."""

from collections.abc import Callable

import pytest
from sqlmodel import Session

from app.shop import checks, engines, moves, readings, visits
from app.shop.database import Database
from app.shop.kept import Memory
from app.shop.moves import NewMove
from app.shop.news import marks, marks_of
from app.shop.phases import BANK_BALANCE, HEAT_SOAKED, LOCK_DOWN
from app.shop.progress import progress
from app.shop.story import Story
from app.shop.walk import due
from app.sync.units import THOU
from tests.shop.yard import AT, FACTS, blip, check_all, heat_soaked, key, read, read_round


def load(shop: Database, visit_id: int) -> Story:
    with shop.reading() as session:
        story = visits.load(session, visit_id)
        assert marks_of(story) == marks(session, visit_id)
    return story


def add_reading(shop: Database, visit_id: int) -> None:
    read(shop, visit_id, HEAT_SOAKED)


def begin_round(shop: Database, visit_id: int) -> None:
    read_round(shop, visit_id, HEAT_SOAKED)
    readings.begin_round(shop, visit_id, key(), HEAT_SOAKED.slug, AT)


def make_move(shop: Database, visit_id: int) -> None:
    read_round(shop, visit_id, HEAT_SOAKED)
    new = NewMove(HEAT_SOAKED.slug, "blade", "", 2, 3, 0.0, (3 * THOU,), False, "KM")
    moves.make(shop, visit_id, key(), new, AT)


def record_check(shop: Database, visit_id: int) -> None:
    checks.record(shop, visit_id, key(), HEAT_SOAKED.slug, {"idle-speed": 900}, "KM", AT)


def change_engine(shop: Database, visit_id: int) -> None:
    engines.change(shop, 1, 1, FACTS)


@pytest.mark.parametrize("write", [add_reading, begin_round, make_move, record_check, change_engine])
def test_a_story_is_read_again_when_something_was_added(shop: Database, write: Callable[[Database, int], None]) -> None:
    visit_id = heat_soaked(shop)
    before = load(shop, visit_id)
    assert load(shop, visit_id) is before
    write(shop, visit_id)
    after = load(shop, visit_id)
    assert after is not before
    assert marks_of(after) != marks_of(before)
    assert load(shop, visit_id) is after


def test_what_is_kept_is_what_another_look_would_find(shop: Database) -> None:
    """Readings are added to the story in mind; a shop opened afresh reads them from the file."""
    visit_id = heat_soaked(shop)
    read_round(shop, visit_id, HEAT_SOAKED)
    kept = load(shop, visit_id)
    shop._memory = Memory()
    found = load(shop, visit_id)
    assert found is not kept
    assert [one.row.model_dump() for one in found.rounds] == [one.row.model_dump() for one in kept.rounds]
    assert [one.entered for one in found.rounds] == [one.entered for one in kept.rounds]


def test_how_far_the_phases_are_is_what_another_look_would_find(shop: Database) -> None:
    """What was worked out before is carried on from reading to reading, as long as that cannot have changed."""
    visit_id = heat_soaked(shop)
    done: list[list[bool]] = []
    for phase in (HEAT_SOAKED, BANK_BALANCE, HEAT_SOAKED, BANK_BALANCE, LOCK_DOWN):
        if phase is not HEAT_SOAKED:
            check_all(shop, visit_id, phase)
        elif done:
            make_move(shop, visit_id)
        while due(load(shop, visit_id), phase).bore is not None:
            read(shop, visit_id, phase)
            kept, memory = progress(load(shop, visit_id)), shop._memory
            shop._memory = Memory()
            assert progress(load(shop, visit_id)) == kept
            shop._memory = memory
        if phase is HEAT_SOAKED:
            blip(shop, visit_id, 6.5)
        done.append([standing.done for standing in progress(load(shop, visit_id))])
    assert [sum(phases) for phases in done] == [3, 4, 3, 4, 5]


def test_a_write_that_failed_is_not_kept_in_mind(shop: Database, monkeypatch: pytest.MonkeyPatch) -> None:
    """The id of a row that was rolled back is given to the next one: a story kept too early would pass for current."""
    visit_id = heat_soaked(shop)
    load(shop, visit_id)

    def fails(_: Session) -> None:
        raise RuntimeError("the commit did not happen")

    with monkeypatch.context() as patch:
        patch.setattr(Session, "commit", fails)
        with pytest.raises(RuntimeError, match="did not happen"):
            read(shop, visit_id, HEAT_SOAKED, 7.75)
    read(shop, visit_id, HEAT_SOAKED, 6.25)
    assert [row.value for row in load(shop, visit_id).rounds[-1].entered] == [6.25]


def test_the_least_lately_used_is_forgotten() -> None:
    memory = Memory(2)
    memory.put("a", 1)
    memory.put("b", 2)
    assert memory.get("a") == 1
    memory.put("c", 3)
    assert (memory.get("a"), memory.get("b"), memory.get("c")) == (1, None, 3)
