"""Stories that are kept in mind: handed out again while nothing was added, and never when something was."""

from collections.abc import Callable

import pytest
from fastapi.testclient import TestClient
from sqlmodel import Session

from app.shop.assessment.progress import progress
from app.shop.commands import checks, engines, moves, readings
from app.shop.commands.moves import NewMove
from app.shop.commands.readings import NewReading
from app.shop.procedure.phases import BANK_BALANCE, HEAT_SOAKED, LOCK_DOWN
from app.shop.procedure.read_order import next_reading
from app.shop.record import loader
from app.shop.record.revision import revision_of, revision_when_read
from app.shop.record.rounds import Round
from app.shop.record.visit_record import VisitRecord
from app.shop.store.database import Database
from app.shop.store.lru import LruCache
from app.sync.engine.units import THOU
from app.web.application import create_app
from tests.shop.past import Past
from tests.shop.yard import AT, FACTS, FOUR, blip, check_all, heat_soaked, idles, key, off_idle, read, read_round


def load(shop: Database, visit_id: int) -> VisitRecord:
    with shop.reading() as session:
        record = loader.load(session, visit_id)
        assert revision_when_read(record) == revision_of(session, visit_id)
    return record


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
    assert revision_when_read(after) != revision_when_read(before)
    assert load(shop, visit_id) is after


def test_what_is_kept_is_what_another_look_would_find(shop: Database) -> None:
    """Readings are added to the story in mind; a shop opened afresh reads them, and works out the rest, from the file:
    after a bore's turn, a skip, a correction, a further reading, the closing one, and one in question."""
    visit_id = heat_soaked(shop, FOUR)
    sent = [(1, "turn", 6.5), (2, "turn", 6.0), (3, "skip", None), (4, "turn", 7.0), (2, "again", 6.25)]
    sent += [(1, "closing", 6.75), (4, "turn", 7.25)]
    newest, number = 0, next_reading(load(shop, visit_id), HEAT_SOAKED).round_number
    for bore, kind, value in [*sent, (4, "again", 6.75)]:
        why, corrects = ("No adapter" if value is None else ""), (newest if kind == "again" else None)
        new = NewReading(HEAT_SOAKED.slug, number, bore, kind, value, "KM", why, corrects if bore == 4 else None)
        newest = readings.add(shop, visit_id, key(), new, AT)
        kept, memory = load(shop, visit_id), shop._memory
        shop._memory = LruCache()
        found = load(shop, visit_id)
        shop._memory = memory
        assert found is not kept
        assert [told(one) for one in found.rounds] == [told(one) for one in kept.rounds]
    assert [r.value for r in kept.rounds[-1].readings] == [6.5, 6.0, 7.0, 6.25, 6.75, 6.75]


def told(one: Round) -> tuple[object, ...]:
    """Everything that is asked of a round."""
    worked_out = (one.readings, list(one.latest.items()), one.closing, one.newest, one.in_question, one.skipped)
    return one.row, one.entered, *worked_out


def test_several_visits_are_read_as_each_would_be(shop: Database) -> None:
    """Those with visits before them, more than are looked back on, those without, and in any order."""
    long, short = Past(shop), Past(shop, serial="31-0218")
    returns = [long.visit((6.5,) * 8) for _ in range(loader.LOOKED_BACK + 2)]
    long.visit((6.25,) * 8, signed=False)
    asked = [returns[1], short.visit((6.75,) * 8, signed=False), long.visits[-1]]
    with shop.reading() as session:
        together = loader.load_all(session, asked)
    shop._memory = LruCache()
    alone = [load(shop, visit_id) for visit_id in asked]
    assert [[s.visit.ident for s in one.back()] for one in together] == [
        [returns[1], returns[0]],
        [asked[1]],
        [long.visits[-1], *reversed(returns[-loader.LOOKED_BACK :])],
    ]
    assert [[shown(s) for s in one.back()] for one in together] == [[shown(s) for s in one.back()] for one in alone]


def shown(one: VisitRecord) -> list[object]:
    entries = (one.engine, one.fitting, one.visit, one.meter, one.rounds, one.all_moves, one.all_checks, one.overrides)
    return [*entries, one.corrections, one.sign_off, one.settings, one.units]


def test_a_server_that_starts_has_the_visits_under_way_in_mind(shop: Database) -> None:
    """All tablets may be waiting to send what they hold."""
    visit_id = heat_soaked(shop)
    shop._memory = LruCache()
    with TestClient(create_app(shop)):
        assert shop._memory.get(visit_id) is not None


def test_how_far_the_phases_are_is_what_another_look_would_find(shop: Database) -> None:
    """What was worked out before is carried on from reading to reading, as long as that cannot have changed."""
    visit_id = heat_soaked(shop)
    done: list[list[bool]] = []
    for phase in (HEAT_SOAKED, BANK_BALANCE, HEAT_SOAKED, BANK_BALANCE, LOCK_DOWN):
        if phase is not HEAT_SOAKED:
            check_all(shop, visit_id, phase)
        elif done:
            make_move(shop, visit_id)
        while (now := next_reading(load(shop, visit_id), phase)).bore is not None:
            read(shop, visit_id, phase, off_idle(6.5, now.opening))
            kept, memory = progress(load(shop, visit_id)), shop._memory
            shop._memory = LruCache()
            assert progress(load(shop, visit_id)) == kept
            shop._memory = memory
        if phase is HEAT_SOAKED:
            blip(shop, visit_id, 6.5)
            idles(shop, visit_id, phase)
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
    memory = LruCache(2)
    memory.put("a", 1)
    memory.put("b", 2)
    assert memory.get("a") == 1
    memory.put("c", 3)
    assert (memory.get("a"), memory.get("b"), memory.get("c")) == (1, None, 3)
