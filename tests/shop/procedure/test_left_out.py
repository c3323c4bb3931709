"""A hot round leaves out the bores that the last adjustment does not act on."""

import pytest

from app.shop.assessment.assessment import assess
from app.shop.commands import checks, moves, readings, running
from app.shop.commands.moves import NewMove
from app.shop.errors import RejectedError
from app.shop.procedure.left_out import values_of
from app.shop.procedure.phases import HEAT_SOAKED, LOCK_DOWN
from app.shop.procedure.read_order import NextReading, next_reading
from app.shop.procedure.running import ended_by_stop
from app.shop.record.rounds import seconds
from app.shop.rejections import Rejection
from app.shop.store.database import Database
from app.sync.engine.units import THOU
from app.web.presenters.paper.left_code import left_code
from tests.shop.rejections import codes_of
from tests.shop.yard import FOUR, after, check_all, heat_soaked, key, read, start_again, visit_record


def after_a_reset(shop: Database) -> int:
    """A visit whose whole round was followed by a reset of the last coupler, which moves bore 4 alone."""
    visit_id = heat_soaked(shop, FOUR)
    for minutes, bore in enumerate((1, 2, 3, 4, 1)):
        read(shop, visit_id, HEAT_SOAKED, 6.5 if bore < 4 else 7.5, bore, at=after(1 + minutes / 3))
    reset = NewMove(HEAT_SOAKED.slug, "blade", "", 3, 4, 0.0, (6 * THOU,), False, "KM")
    moves.make(shop, visit_id, key(), reset, after(4))
    return visit_id


def due(shop: Database, visit_id: int) -> NextReading:
    return next_reading(visit_record(shop, visit_id), HEAT_SOAKED)


def test_the_round_after_a_reset_is_its_bore_and_one_that_ties_it_to_the_others(shop: Database) -> None:
    visit_id = after_a_reset(shop)
    first = due(shop, visit_id)
    assert (first.bore, first.follow, first.kind, first.last) == (4, (), "turn", 1)
    read(shop, visit_id, HEAT_SOAKED, at=after(6))
    last = due(shop, visit_id)
    assert (last.bore, last.kind) == (1, "closing")
    read(shop, visit_id, HEAT_SOAKED, at=after(6.5))
    assert due(shop, visit_id).bore is None
    judged = assess(visit_record(shop, visit_id)).of(HEAT_SOAKED).round
    assert judged is not None
    assert judged.verdict == "even"
    assert [one.bore for one in judged.standings] == [1, 2, 3, 4]


def test_a_round_in_which_nothing_was_read_yet_is_judged_by_none_before_it(shop: Database) -> None:
    visit_id = after_a_reset(shop)
    for minutes in (6, 6.5):
        read(shop, visit_id, HEAT_SOAKED, at=after(minutes))
    readings.begin_round(shop, visit_id, key(), HEAT_SOAKED.slug, after(7))
    judged = assess(visit_record(shop, visit_id)).of(HEAT_SOAKED)
    assert judged.left_out
    assert judged.round is None


def test_a_bore_left_out_may_be_read_all_the_same_and_the_round_then_ends_with_another(shop: Database) -> None:
    visit_id = after_a_reset(shop)
    read(shop, visit_id, HEAT_SOAKED, bore=1, at=after(6))
    assert (due(shop, visit_id).bore, due(shop, visit_id).last) == (4, 2)


def test_the_drift_check_is_of_no_other_bore(shop: Database) -> None:
    visit_id = after_a_reset(shop)
    read(shop, visit_id, HEAT_SOAKED, at=after(6))
    with pytest.raises(RejectedError) as refused:
        read(shop, visit_id, HEAT_SOAKED, bore=4, at=after(6.5))
    assert codes_of(refused) == {"bore": Rejection.DRIFT_CHECK_BORE}


def test_the_sheet_shows_every_bore_as_it_was_read_last(shop: Database) -> None:
    visit_id = after_a_reset(shop)
    for _ in range(2):
        read(shop, visit_id, HEAT_SOAKED, 6.75, at=after(6))
    record = visit_record(shop, visit_id)
    left = record.as_left()
    assert left is not None
    assert {bore: row.value for bore, row in values_of(record, left).items()} == {1: 6.5, 2: 6.5, 3: 6.5, 4: 6.75}
    assert "6.50 6.50 6.50 6.75" in left_code(assess(record))


@pytest.mark.parametrize("pause", [30, 24 * 60])
def test_after_a_pause_or_a_cold_start_every_bore_is_read(shop: Database, pause: float) -> None:
    visit_id = after_a_reset(shop)
    later = visit_record(shop, visit_id).judged_at(seconds(after(4 + pause)))
    assert next_reading(later, HEAT_SOAKED).bore == 1
    start_again(shop, visit_id, after(4 + pause))
    assert due(shop, visit_id).bore == 1


def test_a_round_keeps_what_it_left_out_when_the_engine_cools_later(shop: Database) -> None:
    visit_id = after_a_reset(shop)
    for _ in range(2):
        read(shop, visit_id, HEAT_SOAKED, at=after(6))
    start_again(shop, visit_id, after(24 * 60))
    left = assess(visit_record(shop, visit_id)).as_left
    assert left is not None
    assert [one.bore for one in left.standings] == [1, 2, 3, 4]


def test_a_round_left_for_an_adjustment_tells_of_its_bores_after_the_engine_was_stopped_for_it(shop: Database) -> None:
    visit_id = after_a_reset(shop)
    read(shop, visit_id, HEAT_SOAKED, 6.75, bore=1, at=after(5))
    reset = NewMove(HEAT_SOAKED.slug, "blade", "", 3, 4, 0.0, (5 * THOU,), False, "KM")
    moves.make(shop, visit_id, key(), reset, after(6))
    running.stop(shop, visit_id, key(), "KM", after(6.5))
    start_again(shop, visit_id, after(7))
    checks.record(shop, visit_id, key(), HEAT_SOAKED.slug, {"coolant": 84.0, "oil": 84.0}, "KM", after(7.5))
    for _ in range(2):
        read(shop, visit_id, HEAT_SOAKED, at=after(8))
    judged = assess(visit_record(shop, visit_id)).as_left
    assert judged is not None
    assert [one.bore for one in judged.standings] == [1, 2, 3, 4]
    assert judged.counted == 4 + 1 + 2


def test_a_round_that_a_stop_cut_short_tells_nothing_after_an_adjustment_of_a_later_round(shop: Database) -> None:
    visit_id = heat_soaked(shop, FOUR)
    for _ in range(2):
        read(shop, visit_id, HEAT_SOAKED, at=after(1))
    running.stop(shop, visit_id, key(), "KM", after(2))
    start_again(shop, visit_id, after(3))
    checks.record(shop, visit_id, key(), HEAT_SOAKED.slug, {"coolant": 84.0, "oil": 84.0}, "KM", after(3.5))
    for _ in range(5):
        read(shop, visit_id, HEAT_SOAKED, at=after(4))
    reset = NewMove(HEAT_SOAKED.slug, "blade", "", 3, 4, 0.0, (6 * THOU,), False, "KM")
    moves.make(shop, visit_id, key(), reset, after(5))
    record = visit_record(shop, visit_id)
    assert [ended_by_stop(record, one) for one in record.rounds if one.row.phase == HEAT_SOAKED.slug] == [True, False]


def test_lock_down_reads_every_bore(shop: Database) -> None:
    """The engine was tightened since."""
    visit_id = after_a_reset(shop)
    for _ in range(2):
        read(shop, visit_id, HEAT_SOAKED, at=after(6))
    checks.waive(shop, visit_id, key(), HEAT_SOAKED.slug, "It goes on as it is", "KM", after(7))
    check_all(shop, visit_id, LOCK_DOWN, at=after(8))
    now = next_reading(visit_record(shop, visit_id), LOCK_DOWN)
    assert (now.bore, now.follow) == (1, (2, 3, 4))
