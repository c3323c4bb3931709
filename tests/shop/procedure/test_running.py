"""What was true of the engine counts while it is: a pause, a stop, a clock put back and what a tablet held."""

from datetime import datetime, timedelta

import pytest

from app.shop.assessment.assessment import assess
from app.shop.assessment.gates import gate_of
from app.shop.assessment.progress import progress
from app.shop.commands import checks, moves, readings, running, visits
from app.shop.commands.moves import NewMove
from app.shop.commands.readings import NewReading
from app.shop.errors import ConflictError, RejectedError
from app.shop.procedure.heat import lacks_of
from app.shop.procedure.phases import FIRST_FIRE, HEAT_SOAKED, LOCK_DOWN
from app.shop.procedure.read_order import next_reading
from app.shop.procedure.requirements import RanOut, Requirement, Waiting
from app.shop.procedure.running import counts, holds_until, may_run, round_ran_out, run_out, state_of
from app.shop.queries.assessed import assessed
from app.shop.reasons import because
from app.shop.record.rounds import seconds
from app.shop.record.visit_record import VisitRecord
from app.shop.rejections import Rejection
from app.shop.store.database import Database
from app.sync.engine.units import THOU
from tests.shop.rejections import codes_of, rejects
from tests.shop.yard import (
    AT,
    FOUR,
    START_LIST,
    after,
    before,
    check_all,
    engine,
    heat_soaked,
    key,
    read,
    read_round,
    start_again,
    visit,
    visit_record,
)

DAY = 24 * 60


def as_of(shop: Database, visit_id: int, minutes: float) -> VisitRecord:
    """The visit as the shop computer sees it so many minutes after AT."""
    return visit_record(shop, visit_id).judged_at(seconds(after(minutes)))


def gauges(shop: Database, visit_id: int, minutes: float, coolant: float = 84, ago: float = 0) -> None:
    values = {"coolant": coolant, "oil": 84.0}
    read_at = after(minutes - ago) if ago else ""
    checks.record(shop, visit_id, key(), HEAT_SOAKED.slug, dict(values), "KM", after(minutes), read_at)


def half_a_round(shop: Database) -> int:
    """A visit with two of four bores read, hot."""
    visit_id = heat_soaked(shop, FOUR)
    for minutes in (1, 2):
        read(shop, visit_id, HEAT_SOAKED, at=after(minutes))
    return visit_id


def test_a_round_read_on_two_days_is_never_closed(shop: Database) -> None:
    """The rest of the bores two days later: the round is void, and safety list, start and heat are asked for first."""
    visit_id, later = half_a_round(shop), 2 * DAY
    with rejects(Waiting.ENGINE_STANDS):
        read(shop, visit_id, HEAT_SOAKED, at=after(later))
    seen = as_of(shop, visit_id, later)
    assert state_of(seen).stands == because(RanOut.PAUSED, time=timedelta(minutes=later - 2))
    assert {item.slug for item in run_out(seen, FIRST_FIRE)} == START_LIST
    due = next_reading(seen, HEAT_SOAKED)
    assert (due.bore, due.current, due.round_number) == (1, None, 3)
    start_again(shop, visit_id, after(later))
    with rejects(Waiting.HEAT_RAN_OUT):
        read(shop, visit_id, HEAT_SOAKED, at=after(later + 1))
    for minutes in (2, 8, 18):
        gauges(shop, visit_id, later + minutes)
    read(shop, visit_id, HEAT_SOAKED, at=after(later + 19))
    rounds = [one for one in visit_record(shop, visit_id).rounds if one.row.phase == HEAT_SOAKED.slug]
    assert [(len(one.entered), one.closed) for one in rounds] == [(2, False), (1, False)]


def test_the_rest_of_an_open_round_is_refused_even_by_its_number(shop: Database) -> None:
    visit_id = half_a_round(shop)
    start_at = after(40)
    start_again(shop, visit_id, start_at)
    for minutes in (41, 47, 57):
        gauges(shop, visit_id, minutes)
    new = NewReading(HEAT_SOAKED.slug, 2, 3, "turn", 6.5, "KM")
    with rejects(Rejection.ROUND_RAN_OUT, kind=ConflictError):
        readings.add(shop, visit_id, key(), new, after(58))


@pytest.mark.parametrize(("minutes", "runs"), [(20, True), (21, False)])
def test_a_pause_counts_from_the_limit_on(shop: Database, minutes: float, runs: bool) -> None:
    seen = as_of(shop, half_a_round(shop), 2 + minutes)
    assert (state_of(seen).stands is None) is runs
    assert (next_reading(seen, HEAT_SOAKED).bore == 3) is runs


def test_the_limit_is_a_setting(shop: Database) -> None:
    from dataclasses import replace

    seen = as_of(shop, half_a_round(shop), 30)
    longer = replace(seen, settings=replace(seen.settings, pause=3600.0))
    assert state_of(seen).stands is not None
    assert state_of(longer).stands is None


def test_readings_of_a_void_round_move_no_plate_and_are_in_no_verdict(shop: Database) -> None:
    visit_id = half_a_round(shop)
    seen = assess(as_of(shop, visit_id, DAY)).of(HEAT_SOAKED)
    assert seen.round is None
    assert [(one.round_number, one.bore) for one in seen.to_read][:1] == [(3, 1)]


def test_a_stop_that_was_recorded_ends_the_round_and_asks_the_list_and_one_look_at_the_gauges(shop: Database) -> None:
    visit_id = half_a_round(shop)
    running.stop(shop, visit_id, key(), "KM", after(3))
    with rejects(Waiting.ENGINE_STANDS):
        read(shop, visit_id, HEAT_SOAKED, at=after(4))
    with pytest.raises(RejectedError) as refusal:
        running.start(shop, visit_id, key(), ["kill-switch"], "KM", after(5))
    assert codes_of(refusal) == dict.fromkeys(START_LIST - {"kill-switch"}, Rejection.CHECK_BEFORE_START)
    start_again(shop, visit_id, after(5))
    seen = visit_record(shop, visit_id)
    assert lacks_of(seen) == (because(Requirement.HEAT_SINCE_START, what="coolant"),)
    gauges(shop, visit_id, 6)
    assert lacks_of(visit_record(shop, visit_id)) == ()
    assert next_reading(visit_record(shop, visit_id), HEAT_SOAKED).current is None


def test_a_long_stop_asks_for_the_heat_from_the_beginning(shop: Database) -> None:
    visit_id = half_a_round(shop)
    running.stop(shop, visit_id, key(), "KM", after(3))
    start_again(shop, visit_id, after(50))
    gauges(shop, visit_id, 51)
    gauges(shop, visit_id, 57)
    assert {lack.code for lack in lacks_of(visit_record(shop, visit_id))} == {Requirement.HEAT_TIME}
    gauges(shop, visit_id, 66)
    assert lacks_of(visit_record(shop, visit_id)) == ()


@pytest.mark.parametrize(("minutes", "hot"), [(0, True), (20, True), (21, False)])
def test_an_engine_that_stands_is_hot_until_a_pause_is_over(shop: Database, minutes: float, hot: bool) -> None:
    visit_id = half_a_round(shop)
    running.stop(shop, visit_id, key(), "KM", after(3))
    cold = because(Requirement.HEAT_UNREAD, what="coolant")
    assert (cold not in lacks_of(as_of(shop, visit_id, 3 + minutes))) is hot


def test_no_figure_is_claimed_to_be_from_before_the_start(shop: Database) -> None:
    """“Read twenty minutes ago” does not make an engine hot that was started five minutes ago."""
    visit_id = half_a_round(shop)
    start_again(shop, visit_id, after(100))
    for ago in (20, 10):
        gauges(shop, visit_id, 105, ago=ago)
    gauges(shop, visit_id, 105)
    assert {lack.code for lack in lacks_of(visit_record(shop, visit_id))} >= {Requirement.HEAT_TIME}


def test_heat_runs_out_by_the_clock_and_asks_one_look(shop: Database) -> None:
    visit_id = half_a_round(shop)
    for minutes in (15, 29):
        checks.record(
            shop, visit_id, key(), HEAT_SOAKED.slug, {"oil-pressure-hot": 200.0 + minutes}, "KM", after(minutes)
        )
    assert lacks_of(as_of(shop, visit_id, 30)) == ()
    assert lacks_of(as_of(shop, visit_id, 31)) == (because(Requirement.HEAT_OLD, what="coolant", count=31),)
    gauges(shop, visit_id, 32)
    assert lacks_of(as_of(shop, visit_id, 33)) == ()


def test_a_clock_put_back_asks_again_and_the_work_goes_on_by_it(shop: Database) -> None:
    visit_id = half_a_round(shop)
    seen = as_of(shop, visit_id, -180)
    assert state_of(seen).stands == because(RanOut.CLOCK_BACK)
    assert {item.slug for item in run_out(seen, FIRST_FIRE)} == START_LIST
    assert next_reading(seen, HEAT_SOAKED).current is None
    shop.clock = lambda: seconds(after(-180))
    with rejects(Waiting.ENGINE_STANDS):
        read(shop, visit_id, HEAT_SOAKED, at=after(-180))
    start_again(shop, visit_id, after(-180))
    for minutes in (-179, -170, -163):
        shop.clock = lambda minutes=minutes: seconds(after(minutes))
        gauges(shop, visit_id, minutes)
    read(shop, visit_id, HEAT_SOAKED, at=after(-163))


def test_a_small_correction_of_the_clock_asks_nothing(shop: Database) -> None:
    assert state_of(as_of(shop, half_a_round(shop), 1)).stands is None


def test_readings_that_a_tablet_held_are_of_when_they_were_taken(shop: Database) -> None:
    """They come in an hour later and go into their round; that they came does not keep the round open."""
    visit_id = half_a_round(shop)
    shop.clock = lambda: seconds(after(62))
    for bore, minutes in ((3, 3), (4, 4)):
        new = NewReading(HEAT_SOAKED.slug, 2, bore, "turn", 6.5, "KM")
        readings.add(shop, visit_id, key(), new, after(minutes))
    seen = visit_record(shop, visit_id)
    assert [len(one.entered) for one in seen.rounds if one.row.phase == HEAT_SOAKED.slug] == [4]
    assert next_reading(seen, HEAT_SOAKED).current is None
    with rejects(Waiting.ENGINE_STANDS):
        readings.add(shop, visit_id, key(), NewReading(HEAT_SOAKED.slug, 2, 1, "closing", 6.5, "KM"), after(62))


def test_no_claimed_age_reaches_back_past_a_stop(shop: Database) -> None:
    visit_id = half_a_round(shop)
    running.stop(shop, visit_id, key(), "KM", after(10))
    with rejects(Waiting.ENGINE_STANDS):
        readings.add(shop, visit_id, key(), NewReading(HEAT_SOAKED.slug, 2, 3, "turn", 6.5, "KM"), after(3))


def test_what_is_sent_late_without_an_age_is_of_now(shop: Database) -> None:
    """A tablet that slept for two hours and sends what was just typed."""
    visit_id = half_a_round(shop)
    shop.clock = lambda: seconds(after(122))
    with rejects(Waiting.ENGINE_STANDS):
        read(shop, visit_id, HEAT_SOAKED, at=after(122))


def test_lock_down_is_read_hot_too(shop: Database) -> None:
    visit_id = heat_soaked(shop, FOUR)
    read_round(shop, visit_id, HEAT_SOAKED)
    check_all(shop, visit_id, LOCK_DOWN)
    assert gate_of(visit_record(shop, visit_id), LOCK_DOWN.slug).waits is None
    late = gate_of(as_of(shop, visit_id, DAY), LOCK_DOWN.slug)
    assert late.closed is None
    assert late.waits == because(Waiting.ENGINE_STANDS, why=because(RanOut.PAUSED, time=timedelta(minutes=DAY)))
    start_again(shop, visit_id, after(DAY))
    waits = gate_of(visit_record(shop, visit_id), LOCK_DOWN.slug).waits
    assert waits is not None
    assert waits.code is Waiting.HEAT_RAN_OUT


def test_a_visit_that_is_done_is_signed_off_the_day_after(shop: Database) -> None:
    """Nothing is asked of an engine that nobody starts any more, and nothing of the visit once it is signed off."""
    visit_id = heat_soaked(shop, FOUR)
    read_round(shop, visit_id, HEAT_SOAKED)
    check_all(shop, visit_id, LOCK_DOWN)
    read_round(shop, visit_id, LOCK_DOWN)
    shop.clock = lambda: seconds(after(DAY))
    assert [one.phase.slug for one in progress(visit_record(shop, visit_id)) if not one.done] == []
    visits.sign_off(shop, visit_id, key(), "Foreman of the yard", after(DAY))
    left = as_of(shop, visit_id, 400 * DAY)
    assert state_of(left).stands is None
    assert all(counts(left, check) for check in left.checks.values())
    assert left.as_left() is not None


def test_a_waiver_of_heat_is_for_the_engine_as_it_runs(shop: Database) -> None:
    visit_id = heat_soaked(shop, FOUR)
    gauges(shop, visit_id, 1, coolant=40)
    checks.waive(shop, visit_id, key(), HEAT_SOAKED.slug, "The cell is needed", "KM", after(1), "heat")
    read(shop, visit_id, HEAT_SOAKED, at=after(2))
    start_again(shop, visit_id, after(60))
    assert lacks_of(visit_record(shop, visit_id)) != ()


def test_what_is_kept_in_mind_is_judged_again_when_it_runs_out(shop: Database) -> None:
    visit_id = half_a_round(shop)

    def seen(minutes: float) -> tuple[object, object]:
        shop.clock = lambda: seconds(after(minutes))
        with shop.reading() as session:
            found = assessed(session, visit_id)
        return found, found.of(HEAT_SOAKED).waits

    first, waits = seen(5)
    assert waits is None
    assert seen(15)[0] is first
    assert seen(23)[1] == because(Waiting.ENGINE_STANDS, why=because(RanOut.PAUSED, time=timedelta(minutes=21)))
    assert holds_until(as_of(shop, visit_id, 5)) == seconds(after(22))


def test_a_training_engine_waits_for_its_trainee(shop: Database) -> None:
    from dataclasses import replace

    seen = as_of(shop, half_a_round(shop), DAY)
    trained = replace(seen, simulated=True)
    assert state_of(trained).stands is None
    assert next_reading(trained, HEAT_SOAKED).bore == 3
    assert lacks_of(trained) == ()


def test_times_are_those_of_the_yard() -> None:
    assert datetime.fromisoformat(after(0)) == datetime.fromisoformat(AT) == datetime.fromisoformat(before(0))


def test_signed_off_it_is_judged_as_before(shop: Database) -> None:
    """The void round stays void, and what was read before the engine cooled stays apart."""
    visit_id = half_a_round(shop)
    start_again(shop, visit_id, after(DAY))
    for minutes in (1, 7, 17):
        gauges(shop, visit_id, DAY + minutes)
    for minutes, bore in enumerate((1, 2, 3, 4, 1)):
        read(shop, visit_id, HEAT_SOAKED, 6.5 + bore / 2, at=after(DAY + 18 + minutes))
    checks.waive(shop, visit_id, key(), HEAT_SOAKED.slug, "It goes back as it came", "KM", after(DAY + 25))
    check_all(shop, visit_id, LOCK_DOWN, at=after(DAY + 25))
    checks.waive(shop, visit_id, key(), LOCK_DOWN.slug, "It goes back as it came", "KM", after(DAY + 25))
    before_it = assess(visit_record(shop, visit_id)).as_left
    visits.sign_off(shop, visit_id, key(), "Foreman of the yard", after(DAY + 26))
    assert before_it is not None
    assert assess(visit_record(shop, visit_id)).as_left == before_it
    assert before_it.counted == 5


def test_after_a_void_round_nothing_is_turned_before_a_new_one(shop: Database) -> None:
    """However uneven the rounds before it were."""
    visit_id = heat_soaked(shop, FOUR)
    for minutes, (bore, value) in enumerate(((1, 6.5), (2, 9.0), (3, 9.0), (4, 9.0), (1, 6.5))):
        read(shop, visit_id, HEAT_SOAKED, value, bore=bore, at=after(1 + minutes / 3))
    new = NewMove(HEAT_SOAKED.slug, "blade", "", 1, 2, 0.0, (2 * THOU,), False, "KM")
    moves.make(shop, visit_id, key(), new, after(4))
    read(shop, visit_id, HEAT_SOAKED, at=after(6))
    step = assess(as_of(shop, visit_id, DAY)).of(HEAT_SOAKED).step
    assert (step.kind, step.bores[0]) == ("measure", 1)


def test_a_round_left_for_a_move_keeps_its_word_however_long_ago(shop: Database) -> None:
    """What was read in it is evidence as long as the next round was begun in time; left for too long it is none."""
    visit_id = heat_soaked(shop, FOUR)
    for minutes, bore in enumerate((1, 2, 3, 4, 1)):
        read(shop, visit_id, HEAT_SOAKED, bore=bore, at=after(1 + minutes / 3))
    read(shop, visit_id, HEAT_SOAKED, bore=1, at=after(4))
    new = NewMove(HEAT_SOAKED.slug, "blade", "", 2, 3, 0.0, (2 * THOU,), False, "KM")
    readings.begin_round(shop, visit_id, key(), HEAT_SOAKED.slug, after(5))
    read(shop, visit_id, HEAT_SOAKED, bore=1, at=after(6))
    moves.make(shop, visit_id, key(), new, after(7))
    read(shop, visit_id, HEAT_SOAKED, at=after(9))
    left = next(
        one for one in visit_record(shop, visit_id).rounds if one.row.phase == HEAT_SOAKED.slug and not one.closed
    )
    assert not round_ran_out(as_of(shop, visit_id, 10), left)
    assert not round_ran_out(as_of(shop, visit_id, 10 + DAY), left)


def test_a_round_that_was_begun_before_a_look_at_the_gauges_runs_out_by_its_own_readings(shop: Database) -> None:
    """Twenty minutes after the reading at two minutes, though the gauges at five are good for longer."""
    visit_id = half_a_round(shop)
    gauges(shop, visit_id, 5)
    assert holds_until(as_of(shop, visit_id, 6)) == seconds(after(22))


def test_an_engine_may_run_once_it_ran_until_it_stands(shop: Database) -> None:
    assert not may_run(visit_record(shop, visit(shop, engine(shop, serial="another"))))
    visit_id = half_a_round(shop)
    assert may_run(as_of(shop, visit_id, 5))
    assert not may_run(as_of(shop, visit_id, 23))  # twenty minutes after the last reading


def test_no_lever_is_held_from_above_before_a_round_is_begun(shop: Database) -> None:
    beginning = next_reading(visit_record(shop, heat_soaked(shop, FOUR)), HEAT_SOAKED)
    assert (beginning.current, beginning.from_above) == (None, False)
