"""Moves taken back or changed while the visit is open, and readings corrected after a move: all that follows is as if
it had been recorded so from the start."""

from dataclasses import replace

import pytest

from app.shop.assessment.snap import blips_of
from app.shop.assessment.visit_summary import build_history
from app.shop.commands import checks, moves, readings
from app.shop.commands.corrections import NewCorrection
from app.shop.commands.corrections import correct as correct_after_sign_off
from app.shop.commands.moves import NewMove
from app.shop.commands.readings import NewReading
from app.shop.errors import ConflictError, NotFoundError
from app.shop.procedure.doubtful_values import doubtful
from app.shop.procedure.phases import BANK_BALANCE, HEAT_SOAKED
from app.shop.procedure.read_order import next_reading
from app.shop.procedure.requirements import Waiting
from app.shop.record import loader
from app.shop.record.visit_record import VisitRecord
from app.shop.rejections import Rejection
from app.shop.store import row_hashes
from app.shop.store.database import Database, raw_connection
from app.sync.engine.events import Event, IdleSpeed, Reading, StopTurn
from app.sync.engine.units import KG_PER_HOUR
from tests.shop.past import Past
from tests.shop.rejections import rejects
from tests.shop.yard import AT, heat_soaked, idles, key, read, read_round, visit_record

LATER = "2026-11-25T10:30:00.000+00:00"


def stop(turns: float, bank: str = "A") -> NewMove:
    return NewMove(HEAT_SOAKED.slug, "stop", bank, None, None, turns, (), True, "KM")


def made(shop: Database, visit_id: int, turns: float, bank: str = "A") -> int:
    return moves.make(shop, visit_id, key(), stop(turns, bank), AT)


def from_the_file(shop: Database, visit_id: int) -> VisitRecord:
    """The record as it is read from the file, and not as it was put together while it was stored."""
    with shop.reading() as session:
        return loader.records(session, [visit_id])[0]


def said(events: list[Event]) -> list[str]:
    """Events without what only says when they were."""
    return [str(replace(one, at=0.0)) for one in events]


@pytest.fixture
def read_once(shop: Database) -> int:
    """A visit with the first bore of the fine round read."""
    visit_id = heat_soaked(shop)
    read(shop, visit_id, HEAT_SOAKED)
    return visit_id


def test_a_move_taken_back_was_never_made(shop: Database) -> None:
    visit_id = heat_soaked(shop)
    read_round(shop, visit_id, HEAT_SOAKED)
    before = visit_record(shop, visit_id)
    move = made(shop, visit_id, 0.125)
    assert visit_record(shop, visit_id).moved_since(before.rounds[-1])
    moves.take_back(shop, visit_id, key(), HEAT_SOAKED.slug, move, "KM", AT)
    for record in (visit_record(shop, visit_id), from_the_file(shop, visit_id)):
        assert record.moves == ()
        assert (record.last_move, record.last_idle_move) == (0, 0)
        assert not record.moved_since(record.rounds[-1])
        assert record.as_left() == record.as_found() == record.rounds[-1]
        assert record.events() == before.events()
        assert next_reading(record, HEAT_SOAKED) == next_reading(before, HEAT_SOAKED)
        assert build_history(record).moves == ()


def test_what_was_recorded_of_it_stays(shop: Database, read_once: int) -> None:
    move = made(shop, read_once, 0.125)
    row = moves.take_back(shop, read_once, key(), HEAT_SOAKED.slug, move, "EJ", LATER)
    told, back = visit_record(shop, read_once).all_moves
    assert (told.ident, told.amount, told.taken_back) == (move, 0.125, None)
    assert (back.ident, back.supersedes_id, back.taken_back, back.by, back.at) == (row, move, 1, "EJ", LATER)
    with shop.reading() as session:
        assert row_hashes.check(raw_connection(session)).broken == ()


def test_a_changed_move_keeps_its_place_among_readings_and_moves(shop: Database, read_once: int) -> None:
    first, second = made(shop, read_once, 0.25), made(shop, read_once, 0.125, "B")
    read_round(shop, read_once, HEAT_SOAKED)
    third = made(shop, read_once, -0.25, "B")
    changed = moves.change(shop, read_once, key(), first, stop(-0.5), LATER)
    for record in (visit_record(shop, read_once), from_the_file(shop, read_once)):
        assert [(m.ident, m.amount) for m in record.moves] == [(changed, -0.5), (second, 0.125), (third, -0.25)]
        kinds = [
            e.turns if isinstance(e, StopTurn) else "read" for e in record.events() if not isinstance(e, IdleSpeed)
        ]
        assert kinds == ["read", -0.5, 0.125, *["read"] * 9, -0.25]
        assert record.last_move == third


def test_a_changed_move_gives_what_the_right_one_would_have_given(shop: Database, read_once: int) -> None:
    wrong = made(shop, read_once, 0.25)
    read_round(shop, read_once, HEAT_SOAKED)
    before = visit_record(shop, read_once).events()
    moves.change(shop, read_once, key(), wrong, stop(-0.125, "B"), LATER)
    right = [replace(e, bank="B", turns=-0.125) if isinstance(e, StopTurn) else e for e in before]
    assert said(visit_record(shop, read_once).events()) == said(right)


def test_what_was_changed_may_be_changed_again_or_taken_back(shop: Database, read_once: int) -> None:
    first = made(shop, read_once, 0.25)
    second = moves.change(shop, read_once, key(), first, stop(0.5), AT)
    third = moves.change(shop, read_once, key(), second, stop(0.75), AT)
    assert [m.amount for m in visit_record(shop, read_once).moves] == [0.75]
    with rejects(Rejection.CHANGED_BY_ANOTHER_TABLET, kind=ConflictError):
        moves.take_back(shop, read_once, key(), HEAT_SOAKED.slug, second, "KM", AT)
    moves.take_back(shop, read_once, key(), HEAT_SOAKED.slug, third, "KM", AT)
    assert visit_record(shop, read_once).moves == ()


def test_two_tablets_that_take_the_same_move_back_agree(shop: Database, read_once: int) -> None:
    move, sent = made(shop, read_once, 0.25), key()
    row = moves.take_back(shop, read_once, sent, HEAT_SOAKED.slug, move, "KM", AT)
    assert moves.take_back(shop, read_once, sent, HEAT_SOAKED.slug, move, "KM", AT) == row
    assert moves.take_back(shop, read_once, key(), HEAT_SOAKED.slug, move, "EJ", LATER) == row
    assert len(visit_record(shop, read_once).all_moves) == 2
    with rejects(Rejection.MOVE_TAKEN_BACK, kind=ConflictError):
        moves.change(shop, read_once, key(), move, stop(0.5), LATER)


def test_only_a_move_of_the_visit_and_phase_is_corrected(shop: Database, read_once: int) -> None:
    move = made(shop, read_once, 0.25)
    back = moves.take_back(shop, read_once, key(), HEAT_SOAKED.slug, move, "KM", AT)
    for named in (0, 4711, back):
        with rejects(Rejection.NO_SUCH_MOVE, kind=NotFoundError):
            moves.take_back(shop, read_once, key(), HEAT_SOAKED.slug, named, "KM", AT)
    elsewhere = NewMove(BANK_BALANCE.slug, "stop", "A", None, None, 0.25, (), True, "KM")
    with rejects(Rejection.NO_SUCH_MOVE, kind=NotFoundError):
        moves.change(shop, read_once, key(), move, elsewhere, AT)


def test_a_change_has_to_be_a_move_that_can_have_been_made(shop: Database, read_once: int) -> None:
    move = made(shop, read_once, 0.25)
    with rejects(Rejection.TURNS_OUT_OF_RANGE):
        moves.change(shop, read_once, key(), move, stop(40), AT)
    with rejects(Rejection.MOVE_NOT_IN_PHASE):
        moves.change(shop, read_once, key(), move, replace(stop(1.0), kind="link"), AT)
    assert len(visit_record(shop, read_once).all_moves) == 1


def test_after_the_sign_off_no_move_is_corrected(shop: Database) -> None:
    visit_id = Past(shop).visit([6.5] * 8, [6.5] * 8)
    (move,) = visit_record(shop, visit_id).moves
    with rejects(Waiting.SIGNED_OFF):
        moves.take_back(shop, visit_id, key(), HEAT_SOAKED.slug, move.ident, "KM", AT)
    with rejects(Waiting.SIGNED_OFF):
        moves.change(shop, visit_id, key(), move.ident, stop(0.5), AT)
    assert visit_record(shop, visit_id).moves == (move,)


def test_a_correction_after_the_sign_off_leaves_the_as_found_round_as_found(shop: Database) -> None:
    visit_id = Past(shop).visit([6.5, 9.0, *[6.5] * 6], [6.5] * 8)
    found = visit_record(shop, visit_id).as_found()
    assert found is not None
    correct_after_sign_off(shop, visit_id, key(), NewCorrection("Misread", "KM", {found.latest[2].ident: 6.75}), AT)
    now = visit_record(shop, visit_id).as_found()
    assert now is not None
    assert (now.row.ident, now.latest[2].value) == (found.row.ident, 6.75)


def test_an_idle_speed_stays_with_the_last_move_that_stands(shop: Database) -> None:
    """Typed before a move and after it: once that is taken back both tell of one state, and the last one counts."""
    visit_id = heat_soaked(shop)
    read_round(shop, visit_id, HEAT_SOAKED)
    move = made(shop, visit_id, 0.125)
    checks.record(shop, visit_id, key(), HEAT_SOAKED.slug, {"idle-speed": 905.0}, "KM", AT)

    def speeds() -> list[float]:
        events = visit_record(shop, visit_id).events()
        return [round(e.speed * 60) for e in events if isinstance(e, IdleSpeed)]

    assert speeds()[-2:] == [850, 905]
    moves.take_back(shop, visit_id, key(), HEAT_SOAKED.slug, move, "KM", AT)
    assert speeds()[-1:] == [905]
    assert len(speeds()) == 1


def test_a_fresh_item_is_stale_after_moves_that_stand_only(shop: Database) -> None:
    visit_id = heat_soaked(shop)
    read_round(shop, visit_id, HEAT_SOAKED)
    idles(shop, visit_id, HEAT_SOAKED)
    kept = visit_record(shop, visit_id).checks[HEAT_SOAKED.slug, "idle-speed"]
    move = made(shop, visit_id, 0.125)
    assert kept.after_move < visit_record(shop, visit_id).last_idle_move
    changed = moves.change(shop, visit_id, key(), move, stop(0.25), AT)
    idles(shop, visit_id, HEAT_SOAKED)
    record = visit_record(shop, visit_id)
    assert record.checks[HEAT_SOAKED.slug, "idle-speed"].after_move >= record.last_idle_move
    moves.take_back(shop, visit_id, key(), HEAT_SOAKED.slug, changed, "KM", AT)
    assert kept.after_move >= visit_record(shop, visit_id).last_idle_move


def correct(shop: Database, visit_id: int, reading: int, value: float, at: str = LATER, *, sure: bool = True) -> int:
    """Correct a reading, named by its id, in the round it was taken in."""
    one = next(r for r in visit_record(shop, visit_id).rounds if reading in r.first_rows)
    old = next(r for r in one.entered if r.ident == reading)
    new = NewReading(one.row.phase, one.row.number, old.bore, old.kind, value, "KM", supersedes=reading)
    return readings.add(shop, visit_id, key(), new, at, sure=sure)


def test_a_reading_is_corrected_after_a_move_and_keeps_its_place(shop: Database) -> None:
    visit_id = heat_soaked(shop)
    mistyped = read(shop, visit_id, HEAT_SOAKED, 9.5)
    read_round(shop, visit_id, HEAT_SOAKED)
    move = made(shop, visit_id, 0.125)
    correct(shop, visit_id, mistyped, 6.5)
    record = visit_record(shop, visit_id)
    first = record.rounds[-1]
    assert record.moved_since(first)
    assert record.as_found() == first
    assert [r.value for r in first.readings] == [6.5] * 9
    events = [e for e in record.events() if not isinstance(e, IdleSpeed)]
    assert isinstance(events[0], Reading)
    assert events[0].value == pytest.approx(6.5 * KG_PER_HOUR)
    assert isinstance(events[-1], StopTurn)
    assert next_reading(record, HEAT_SOAKED).current is None
    assert record.moves[0].ident == move


def test_a_corrected_reading_is_of_the_time_it_was_taken(shop: Database, read_once: int) -> None:
    mistyped = read(shop, read_once, HEAT_SOAKED, 26.5)
    was = visit_record(shop, read_once).rounds[-1].in_base_units
    correct(shop, read_once, mistyped, 6.5, LATER)
    now = visit_record(shop, read_once).rounds[-1].in_base_units
    assert [r.at for r in now] == [r.at for r in was]


def test_a_value_of_a_round_before_a_move_is_asked_about_by_that_round(shop: Database) -> None:
    visit_id = heat_soaked(shop)
    first = read(shop, visit_id, HEAT_SOAKED, 6.5)
    read_round(shop, visit_id, HEAT_SOAKED, 6.5)
    made(shop, visit_id, 0.5)
    read_round(shop, visit_id, HEAT_SOAKED, 16.0)
    before_move = visit_record(shop, visit_id).rounds[-2]
    assert not doubtful(visit_record(shop, visit_id), before_move, 1, 6.75, first)
    assert doubtful(visit_record(shop, visit_id), before_move, 1, 16.0, first)
    with rejects(Rejection.FAR_OFF):
        correct(shop, visit_id, first, 16.0, sure=False)


def test_a_correction_keeps_the_kind_of_what_it_corrects(shop: Database, read_once: int) -> None:
    one = visit_record(shop, read_once).rounds[-1]
    new = NewReading(HEAT_SOAKED.slug, one.row.number, 1, "closing", 6.0, "KM", supersedes=one.entered[0].ident)
    readings.add(shop, read_once, key(), new, AT)
    (corrected,) = (e for e in visit_record(shop, read_once).rounds[-1].readings if e.bore == 1 and e.value == 6.0)
    assert corrected.kind == "turn"


def reading(number: int, bore: int, kind: str) -> NewReading:
    return NewReading(HEAT_SOAKED.slug, number, bore, kind, 6.5, "KM")


def test_a_round_begins_with_a_bore_in_its_turn(shop: Database) -> None:
    visit_id = heat_soaked(shop)
    number = next_reading(visit_record(shop, visit_id), HEAT_SOAKED).round_number
    with rejects(Rejection.DRIFT_CHECK_LAST):
        readings.add(shop, visit_id, key(), reading(number, 1, "closing"), AT)
    with rejects(Rejection.EXTRA_BEFORE_FIRST):
        readings.add(shop, visit_id, key(), reading(number, 1, "again"), AT)
    assert visit_record(shop, visit_id).rounds[-1].row.phase != HEAT_SOAKED.slug


def test_the_drift_check_is_of_the_first_bore_once_all_are_read(shop: Database, read_once: int) -> None:
    number = visit_record(shop, read_once).rounds[-1].row.number
    with rejects(Rejection.EXTRA_BEFORE_FIRST):
        readings.add(shop, read_once, key(), reading(number, 5, "again"), AT)
    for _ in range(7):
        with rejects(Rejection.DRIFT_CHECK_LAST):
            readings.add(shop, read_once, key(), reading(number, 1, "closing"), AT)
        read(shop, read_once, HEAT_SOAKED)
    with rejects(Rejection.DRIFT_CHECK_BORE):
        readings.add(shop, read_once, key(), reading(number, 2, "closing"), AT)
    readings.add(shop, read_once, key(), reading(number, 1, "closing"), AT)
    assert visit_record(shop, read_once).rounds[-1].closed


def test_a_value_in_the_place_of_a_skipped_bore_is_held_to_its_turn_too(shop: Database, read_once: int) -> None:
    number = visit_record(shop, read_once).rounds[-1].row.number
    skip = NewReading(HEAT_SOAKED.slug, number, 5, "skip", None, "KM", "Port blocked")
    skipped = readings.add(shop, read_once, key(), skip, AT)
    for kind, refusal in (("closing", Rejection.DRIFT_CHECK_LAST), ("again", Rejection.EXTRA_BEFORE_FIRST)):
        with rejects(refusal):
            readings.add(shop, read_once, key(), replace(reading(number, 5, kind), supersedes=skipped), AT)
    with rejects(Rejection.NOT_ONE_OF):
        readings.add(shop, read_once, key(), reading(number, 6, "skip"), AT)
    readings.add(shop, read_once, key(), replace(reading(number, 5, "skip"), supersedes=skipped), AT)
    one = visit_record(shop, read_once).rounds[-1]
    assert (one.closed, one.latest[5].kind) == (False, "turn")


def test_nothing_is_moved_before_the_hot_engine_was_read(shop: Database) -> None:
    visit_id = heat_soaked(shop)
    with rejects(Rejection.ADJUSTED_BEFORE_READING):
        made(shop, visit_id, 0.125)
    read(shop, visit_id, HEAT_SOAKED)
    made(shop, visit_id, 0.125)
    assert len(visit_record(shop, visit_id).moves) == 1


def test_blips_count_from_the_last_move_that_stands(shop: Database) -> None:
    visit_id = heat_soaked(shop)
    read_round(shop, visit_id, HEAT_SOAKED)
    bore = 8
    assert len(blips_of(visit_record(shop, visit_id), bore)) == 3
    move = made(shop, visit_id, 0.125)
    assert blips_of(visit_record(shop, visit_id), bore) == []
    moves.take_back(shop, visit_id, key(), HEAT_SOAKED.slug, move, "KM", AT)
    assert len(blips_of(visit_record(shop, visit_id), bore)) == 3
