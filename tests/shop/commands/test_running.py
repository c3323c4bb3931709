"""Starts and stops: what a stop asks for, what it bars while it stands, and what is kept of it."""

import pytest

from app.shop.assessment.progress import progress
from app.shop.commands import checks, moves, readings, running, visits
from app.shop.commands.moves import NewMove
from app.shop.commands.readings import NewReading
from app.shop.errors import RejectedError
from app.shop.procedure.limits import ended_stops, open_stops
from app.shop.procedure.phases import FIRST_FIRE, HEAT_SOAKED, LOCK_DOWN
from app.shop.procedure.requirements import Requirement, Waiting
from app.shop.procedure.running import may_run, run_out, state_of
from app.shop.rejections import Rejection
from app.shop.store.database import Database
from app.sync.engine.units import THOU
from tests.shop.rejections import codes_of, rejects
from tests.shop.yard import AT, FOUR, after, heat_soaked, key, read, read_round, start_again, visit_record

REMEDY = "Oil filled up to the upper mark, leak at the filter closed"


def record(shop: Database, visit_id: int, slug: str, at: str = AT, **values: float | None) -> None:
    named = {name.replace("_", "-"): value for name, value in values.items()}
    checks.record(shop, visit_id, key(), slug, named, "KM", at)


def end(shop: Database, visit_id: int, cause: str = "low-level", text: str = "", at: str = AT) -> int:
    return running.end_stop(shop, visit_id, key(), cause, text, REMEDY, "KM", at)


def stopped(shop: Database) -> int:
    """A hot engine whose oil pressure fell to 30 kPa after a round."""
    visit_id = heat_soaked(shop, FOUR)
    read_round(shop, visit_id, HEAT_SOAKED)
    record(shop, visit_id, HEAT_SOAKED.slug, oil_pressure_hot=30)
    return visit_id


def test_a_stop_is_not_cleared_by_typing_a_better_figure(shop: Database) -> None:
    visit_id = stopped(shop)
    with rejects(Waiting.STOPPED):
        record(shop, visit_id, HEAT_SOAKED.slug, oil_pressure_hot=300)
    with rejects(Waiting.STOPPED):
        checks.take_back(shop, visit_id, key(), HEAT_SOAKED.slug, "oil-pressure-hot", "KM", AT)
    (stop,) = open_stops(visit_record(shop, visit_id))
    assert (stop.check.number, stop.reason.code) == (30, Requirement.OIL_PRESSURE_LOW)


def test_nothing_goes_on_while_it_stands(shop: Database) -> None:
    visit_id = stopped(shop)
    with rejects(Waiting.STOPPED):
        read(shop, visit_id, HEAT_SOAKED, bore=1)
    with rejects(Waiting.STOPPED):
        readings.begin_round(shop, visit_id, key(), HEAT_SOAKED.slug, AT)
    with rejects(Waiting.STOPPED):
        new = NewMove(HEAT_SOAKED.slug, "blade", "", 1, 2, 0.0, (8 * THOU,), False, "KM")
        moves.make(shop, visit_id, key(), new, AT)
    with rejects(Waiting.STOPPED):
        record(shop, visit_id, LOCK_DOWN.slug, tools_counted=None)
    with rejects(Waiting.STOPPED):
        checks.waive(shop, visit_id, key(), HEAT_SOAKED.slug, "It will do", "KM", AT)
    with rejects(Waiting.STOPPED):
        running.start(shop, visit_id, key(), (), "KM", AT)
    with rejects(Waiting.STOPPED):
        visits.sign_off(shop, visit_id, key(), "Foreman of the yard", AT)


def test_it_records_that_the_engine_was_stopped(shop: Database) -> None:
    seen = visit_record(shop, stopped(shop))
    assert [(event.what, event.after_check) for event in seen.engine_events] == [("stopped", seen.all_checks[-1].ident)]


def test_a_reading_held_from_before_it_is_refused_too(shop: Database) -> None:
    visit_id = stopped(shop)
    with rejects(Waiting.STOPPED):
        new = NewReading(HEAT_SOAKED.slug, 2, 1, "again", 6.5, "KM")
        readings.add(shop, visit_id, key(), new, after(-1))


@pytest.mark.parametrize(
    ("cause", "text", "remedy", "by", "wrong"),
    [
        ("", "", REMEDY, "KM", {"cause": Rejection.CAUSE_MISSING}),
        ("bad luck", "", REMEDY, "KM", {"cause": Rejection.NOT_ONE_OF}),
        ("other", " ", REMEDY, "KM", {"cause_text": Rejection.CAUSE_MISSING}),
        ("pump", "", " ", "KM", {"remedy": Rejection.REMEDY_MISSING}),
        ("pump", "", "x" * 501, "KM", {"remedy": Rejection.TOO_LONG}),
        ("pump", "", REMEDY, " ", {"by": Rejection.INITIALS_MISSING}),
        ("", "", "", "", {"cause": Rejection.CAUSE_MISSING, "remedy": Rejection.REMEDY_MISSING,
                          "by": Rejection.INITIALS_MISSING}),
    ],
)  # fmt: skip
def test_it_ends_only_with_cause_remedy_and_initials(
    shop: Database, cause: str, text: str, remedy: str, by: str, wrong: dict[str, Rejection]
) -> None:
    visit_id = stopped(shop)
    with pytest.raises(RejectedError) as refusal:
        running.end_stop(shop, visit_id, key(), cause, text, remedy, by, AT)
    assert codes_of(refusal) == wrong
    assert len(open_stops(visit_record(shop, visit_id))) == 1


def test_ended_it_stays_on_record_and_the_figure_is_asked_for_again(shop: Database) -> None:
    visit_id = stopped(shop)
    sent = key()
    first, again = (
        running.end_stop(shop, visit_id, sent, "low-level", "Half a liter down", REMEDY, "KM", AT) for _ in range(2)
    )
    assert first == again
    seen = visit_record(shop, visit_id)
    assert open_stops(seen) == ()
    ((ended, (stop,)),) = ended_stops(seen)
    assert (ended.cause, ended.cause_text, ended.remedy, ended.by) == ("low-level", "Half a liter down", REMEDY, "KM")
    assert stop.check.number == 30
    hot = next(one for one in progress(seen) if one.phase is HEAT_SOAKED)
    assert [(lack.slug, lack.must) for lack in hot.missing if lack.slug == "oil-pressure-hot"] == [
        ("oil-pressure-hot", True)
    ]
    with rejects(Waiting.ENGINE_STANDS):
        read(shop, visit_id, FIRST_FIRE, bore=1)
    start_again(shop, visit_id)
    record(shop, visit_id, HEAT_SOAKED.slug, oil_pressure_hot=300)
    assert "oil-pressure-hot" not in {m.slug for one in progress(visit_record(shop, visit_id)) for m in one.missing}
    assert len(ended_stops(visit_record(shop, visit_id))) == 1


def test_the_same_low_figure_after_the_remedy_stops_once_more(shop: Database) -> None:
    visit_id = stopped(shop)
    end(shop, visit_id)
    start_again(shop, visit_id)
    record(shop, visit_id, HEAT_SOAKED.slug, oil_pressure_hot=30)
    assert len(open_stops(visit_record(shop, visit_id))) == 1
    end(shop, visit_id, "pump")
    assert [(one.cause, len(stops)) for one, stops in ended_stops(visit_record(shop, visit_id))] == [
        ("low-level", 1),
        ("pump", 1),
    ]


def test_a_mistyped_figure_ends_its_stop_with_the_right_one_and_no_remedy(shop: Database) -> None:
    """The figure within the limit stands; what is no figure, or still beyond it, ends nothing."""
    visit_id = stopped(shop)
    (wrong,) = open_stops(visit_record(shop, visit_id))
    for figures, code in (
        ({}, Rejection.OUT_OF_RANGE),
        ({wrong.check.ident: 40.0}, Requirement.OIL_PRESSURE_LOW),
    ):
        with pytest.raises(RejectedError) as refused:
            checks.correct_stop(shop, visit_id, key(), figures, "KM", AT)
        assert refused.value.problems[f"check-{wrong.check.ident}"].code is code
    sent = key()
    once, again = (checks.correct_stop(shop, visit_id, sent, {wrong.check.ident: 300.0}, "KM", AT) for _ in range(2))
    assert once == again
    seen = visit_record(shop, visit_id)
    assert (open_stops(seen), seen.checks[HEAT_SOAKED.slug, "oil-pressure-hot"].number) == ((), 300)
    ((ended, (stop,)),) = ended_stops(seen)
    assert (ended.cause, ended.remedy, stop.check.number) == ("mistyped", "", 30)
    assert seen.engine_events[-1].what == "stopped"
    with pytest.raises(RejectedError):
        checks.correct_stop(shop, visit_id, key(), {}, "KM", AT)


def test_an_engine_that_ran_on_while_a_figure_was_corrected_was_never_stopped(shop: Database) -> None:
    """What was checked for its start, and its heat, still count; the mistyped figure and its stop stay on record."""
    visit_id = heat_soaked(shop, FOUR)
    before = visit_record(shop, visit_id)
    record(shop, visit_id, HEAT_SOAKED.slug, oil_pressure_hot=30)
    (wrong,) = open_stops(visit_record(shop, visit_id))
    checks.correct_stop(shop, visit_id, key(), {wrong.check.ident: 300.0}, "KM", AT, ran_on=True)
    seen = visit_record(shop, visit_id)
    assert state_of(seen) == state_of(before)
    assert may_run(seen)
    assert run_out(seen, FIRST_FIRE) == ()
    assert [event.what for event in seen.engine_events] == ["stopped"]
    assert seen.stop_ends[-1].cause == "mistyped-ran-on"
    running.stop(shop, visit_id, key(), "KM", AT)
    assert not may_run(visit_record(shop, visit_id))


def test_a_mistyped_temperature_is_no_part_of_the_heat(shop: Database) -> None:
    visit_id = heat_soaked(shop, FOUR)
    before = visit_record(shop, visit_id).series(HEAT_SOAKED.slug, "coolant")
    record(shop, visit_id, HEAT_SOAKED.slug, coolant=148, at=after(1))
    (wrong,) = open_stops(visit_record(shop, visit_id))
    checks.correct_stop(shop, visit_id, key(), {wrong.check.ident: 84.0}, "KM", after(2), ran_on=True)
    now = visit_record(shop, visit_id).series(HEAT_SOAKED.slug, "coolant")
    assert now[:-1] == before
    assert now[-1][1] == 84.0


def test_a_stop_before_a_mistyped_figure_stays_one(shop: Database) -> None:
    visit_id = heat_soaked(shop, FOUR)
    running.stop(shop, visit_id, key(), "KM", AT)
    record(shop, visit_id, HEAT_SOAKED.slug, oil_pressure_hot=30)
    (wrong,) = open_stops(visit_record(shop, visit_id))
    checks.correct_stop(shop, visit_id, key(), {wrong.check.ident: 300.0}, "KM", AT, ran_on=True)
    assert not may_run(visit_record(shop, visit_id))


def test_a_stop_that_is_told_to_be_mistyped_needs_no_remedy_either(shop: Database) -> None:
    """The figure is then asked for again, as after any stop."""
    visit_id = stopped(shop)
    running.end_stop(shop, visit_id, key(), "mistyped", "", "", "KM", AT)
    seen = visit_record(shop, visit_id)
    assert (open_stops(seen), seen.stop_ends[-1].remedy) == ((), "")
    assert "oil-pressure-hot" in {one.slug for one in progress(seen)[2].missing}


def test_two_figures_of_one_form_are_one_stop(shop: Database) -> None:
    visit_id = heat_soaked(shop, FOUR)
    record(shop, visit_id, HEAT_SOAKED.slug, coolant=118, oil=140)
    assert len(open_stops(visit_record(shop, visit_id))) == 2
    end(shop, visit_id, "fan-or-air")
    assert [len(stops) for _, stops in ended_stops(visit_record(shop, visit_id))] == [2]
    with rejects(Rejection.NOT_STOPPED):
        end(shop, visit_id)


def test_a_start_is_refused_while_it_runs_and_a_stop_while_it_stands(shop: Database) -> None:
    visit_id = heat_soaked(shop, FOUR)
    with rejects(Rejection.ENGINE_RUNS):
        running.start(shop, visit_id, key(), (), "KM", AT)
    with rejects(Rejection.INITIALS_MISSING):
        running.stop(shop, visit_id, key(), " ", AT)
    sent = key()
    assert running.stop(shop, visit_id, sent, "KM", AT) == running.stop(shop, visit_id, sent, "KM", AT)
    with rejects(Rejection.ENGINE_STANDS):
        running.stop(shop, visit_id, key(), "KM", AT)
    with pytest.raises(RejectedError) as refusal:
        running.start(shop, visit_id, key(), ["tools-counted"], "KM", AT)
    assert codes_of(refusal)["tools-counted"] is Rejection.NOT_ASKED_FOR
    started = start_again(shop, visit_id)
    told = visit_record(shop, visit_id).engine_events
    assert [(event.what, event.ident) for event in told] == [("stopped", told[0].ident), ("started", started)]


def test_a_pause_is_on_record_as_the_stop_that_it_is_taken_for(shop: Database) -> None:
    visit_id = heat_soaked(shop, FOUR)
    start_again(shop, visit_id, after(90))
    seen = visit_record(shop, visit_id)
    assert [(event.what, event.at) for event in seen.engine_events] == [("stopped", AT), ("started", after(90))]
