"""The order of a start, and what is held and put back: the tables of the phases, and as used."""

import pytest

from app.shop.assessment.assessment import assess
from app.shop.assessment.gates import why_waiting
from app.shop.assessment.progress import items_of, progress
from app.shop.commands import checks, visits
from app.shop.commands.moves import NewMove, make
from app.shop.commands.visits import NewVisit, asks_whether_it_runs
from app.shop.errors import RejectedError
from app.shop.procedure.held import BACK
from app.shop.procedure.items import PLACES, Item, Phase, Place
from app.shop.procedure.phases import COLD_PRESET, FIRST_FIRE, HEAT_SOAKED, LOCK_DOWN, PHASES
from app.shop.procedure.requirements import NotNeeded, Requirement, Runs, Waiting
from app.shop.reasons import because
from app.shop.rejections import Rejection
from app.shop.store.database import Database
from app.shop.store.tables import ReadingRow, RoundRow
from tests.shop.past import Past
from tests.shop.rejections import codes_of, rejects
from tests.shop.yard import AT, FOUR, V8, check_all, engine, heat_soaked, key, read, read_round, visit, visit_record


def fresh_visit(shop: Database, place: str = "test cell", runs: str = Runs.FRESH) -> int:
    return visits.open_visit(shop, engine(shop), key(), NewVisit(place, "", "", "KM", 1, runs=runs), AT)


def record(shop: Database, visit_id: int, phase: Phase, *items: str, **numbers: float) -> None:
    values: dict[str, float | None] = dict.fromkeys(items)
    values |= {name.replace("_", "-"): number for name, number in numbers.items()}
    checks.record(shop, visit_id, key(), phase.slug, values, "KM", AT)


def named(slug: str, phase: Phase) -> Item:
    return next(item for item in phase.items if item.slug == slug)


@pytest.mark.parametrize("place", PLACES)
def test_oil_is_looked_at_right_after_the_start_and_before_anything_is_read(place: Place) -> None:
    at_start = [item for item in FIRST_FIRE.items if item.at_start and place in item.where and place in item.needed]
    assert at_start
    assert at_start[0].slug in ("oil-pressure", "oil-lamp")
    for item in at_start:
        assert item.ahead
        assert not item.before_running  # it cannot be seen before the key is turned
    run_in = named("run-in", FIRST_FIRE)
    assert set(run_in.after) == {"oil-pressure", "oil-lamp"}


def test_what_is_held_is_asked_back_in_a_later_phase_and_in_one_place_alone() -> None:
    order = {item.slug: n for n, phase in enumerate(PHASES) for item in phase.items if not item.puts_back}
    back = [(n, item) for n, phase in enumerate(PHASES) for item in phase.items if item.puts_back]
    assert {item.puts_back for _, item in back} == BACK.keys()
    assert len(back) == len(BACK)
    assert BACK.keys() == {"battery-off", "idle-control", "loads-steady", "intake-off", "hoses-off"}
    for n, item in back:
        assert order[item.puts_back] < n, item.slug


def test_ticks_of_danger_are_made_one_by_one() -> None:
    by_itself = {item.slug for phase in PHASES for item in phase.items if item.apart}
    assert {"battery-off", "kill-switch", "exhaust-drawn", "fuel-dry", "throttle-returns", "oil-lamp"} <= by_itself
    assert {"wheels-chocked", "mixture-safe"} <= by_itself
    for phase in PHASES:
        for item in phase.items:
            if item.apart or item.at_start or item.kind == "number" or not item.before_running:
                assert not item.in_a_row, item.slug


def test_the_list_comes_before_the_key_and_oil_before_the_readings(shop: Database) -> None:
    visit_id = visit(shop, engine(shop))
    check_all(shop, visit_id, COLD_PRESET)
    with pytest.raises(RejectedError, match="item=kill-switch"):
        record(shop, visit_id, FIRST_FIRE, oil_pressure=310)
    ahead = [item.slug for item in items_of(visit_record(shop, visit_id), FIRST_FIRE) if item.before_running]
    record(shop, visit_id, FIRST_FIRE, *ahead)
    with pytest.raises(RejectedError, match="item=oil-pressure"):
        read(shop, visit_id, FIRST_FIRE)
    record(shop, visit_id, FIRST_FIRE, oil_pressure=310)
    read(shop, visit_id, FIRST_FIRE)


def test_by_telephone_the_lamp_comes_before_the_first_reading(shop: Database) -> None:
    visit_id = visit(shop, engine(shop), "telephone")
    check_all(shop, visit_id, COLD_PRESET)
    check_all(shop, visit_id, FIRST_FIRE)
    checks.take_back(shop, visit_id, key(), FIRST_FIRE.slug, "oil-lamp", "KM", AT)
    waits = why_waiting(visit_record(shop, visit_id), FIRST_FIRE)
    assert waits is not None
    assert (waits.code, waits.values["item"].values["item"]) == (Waiting.CHECK_FIRST, "oil-lamp")


def test_a_gauge_that_is_not_there_is_waived_and_a_lamp_is_not(shop: Database) -> None:
    visit_id = visit(shop, engine(shop))
    check_all(shop, visit_id, COLD_PRESET)
    ahead = [item.slug for item in items_of(visit_record(shop, visit_id), FIRST_FIRE) if item.before_running]
    record(shop, visit_id, FIRST_FIRE, *ahead)
    checks.waive(shop, visit_id, key(), FIRST_FIRE.slug, "The gauge is away for calibration", "KM", AT)
    assert why_waiting(visit_record(shop, visit_id), FIRST_FIRE) is None


def test_a_fresh_engine_is_asked_for_oil_timing_run_in_and_mixture(shop: Database) -> None:
    visit_id = fresh_visit(shop)
    asked = {item.slug for phase in PHASES for item in items_of(visit_record(shop, visit_id), phase)}
    assert {"oil-primed", "base-timing", "run-in", "mixture-safe"} <= asked
    check_all(shop, visit_id, COLD_PRESET)
    check_all(shop, visit_id, FIRST_FIRE)
    checks.take_back(shop, visit_id, key(), FIRST_FIRE.slug, "run-in", "KM", AT)
    with pytest.raises(RejectedError, match="item=run-in"):
        read(shop, visit_id, FIRST_FIRE)
    record(shop, visit_id, FIRST_FIRE, "run-in")
    read_round(shop, visit_id, FIRST_FIRE)
    with pytest.raises(RejectedError, match="item=mixture-safe"):
        record(shop, visit_id, HEAT_SOAKED, pulls=3)
    record(shop, visit_id, HEAT_SOAKED, "mixture-safe", pulls=3)


@pytest.mark.parametrize("runs", ["", Runs.RUNS, Runs.NEW_THROTTLES])
def test_an_engine_that_ran_before_is_not(shop: Database, runs: str) -> None:
    visit_id = fresh_visit(shop, runs=runs)
    asked = {item.slug for phase in PHASES for item in items_of(visit_record(shop, visit_id), phase)}
    assert not asked & {"oil-primed", "base-timing", "run-in", "mixture-safe"}


def test_a_running_engine_begins_with_the_start_the_heat_and_the_as_found(shop: Database) -> None:
    visit_id = fresh_visit(shop, runs=Runs.RUNS)
    found = assess(visit_record(shop, visit_id))
    assert found.current is FIRST_FIRE
    assert found.status(COLD_PRESET).not_needed_because == because(NotNeeded.ENGINE_RUNS)
    with rejects(Waiting.PRESET_DESTROYS):
        record(shop, visit_id, COLD_PRESET, "battery-off")
    check_all(shop, visit_id, FIRST_FIRE)
    assert assess(visit_record(shop, visit_id)).current is HEAT_SOAKED  # no quick round: that is read cold
    check_all(shop, visit_id, HEAT_SOAKED)
    turn = NewMove(HEAT_SOAKED.slug, "stop", "A", None, None, 0.125, (), True, "KM")
    with rejects(Rejection.AS_FOUND_FIRST):
        make(shop, visit_id, key(), turn, AT)
    read_round(shop, visit_id, HEAT_SOAKED, 6.5)
    make(shop, visit_id, key(), turn, AT)


def test_whether_it_runs_is_asked_only_where_nothing_tells(shop: Database) -> None:
    past = Past(shop)
    with shop.reading() as session:
        assert asks_whether_it_runs(session, past.engine_id)
    past.visit([6.5] * 8, [6.5] * 8)
    with shop.reading() as session:
        assert not asks_whether_it_runs(session, past.engine_id)
    unknown = NewVisit("vehicle", "", "", "KM", 1, runs="perhaps")
    with pytest.raises(RejectedError) as refusal:
        visits.open_visit(shop, engine(shop, serial="31-0305"), key(), unknown, AT)
    assert codes_of(refusal) == {"runs": Rejection.NOT_ONE_OF}


@pytest.mark.parametrize(("held", "back"), [(held, item.slug) for held, item in BACK.items() if held != "battery-off"])
def test_only_what_was_held_is_asked_back(shop: Database, held: str, back: str) -> None:
    def asked() -> set[str]:
        return {item.slug for item in items_of(visit_record(shop, visit_id), LOCK_DOWN)}

    visit_id = heat_soaked(shop, FOUR)
    if (HEAT_SOAKED.slug, held) not in visit_record(shop, visit_id).checks:
        assert back not in asked()
        record(shop, visit_id, HEAT_SOAKED, held)
    assert back in asked()
    checks.take_back(shop, visit_id, key(), HEAT_SOAKED.slug, held, "KM", AT)
    assert back not in asked()


def test_the_battery_is_asked_back_before_the_key(shop: Database) -> None:
    visit_id = visit(shop, engine(shop))
    check_all(shop, visit_id, COLD_PRESET)
    asked = items_of(visit_record(shop, visit_id), FIRST_FIRE)
    back = next(item for item in asked if item.slug == "battery-back")
    assert back.before_running
    assert back.required


def test_nobody_signs_for_an_idle_control_that_was_not_seen_to_work(shop: Database) -> None:
    visit_id = heat_soaked(shop, FOUR)
    read_round(shop, visit_id, HEAT_SOAKED)
    check_all(shop, visit_id, LOCK_DOWN)
    read_round(shop, visit_id, LOCK_DOWN)
    checks.take_back(shop, visit_id, key(), LOCK_DOWN.slug, "idle-control-back", "KM", AT)
    with rejects(Rejection.PHASES_INCOMPLETE):
        visits.sign_off(shop, visit_id, key(), "Foreman of the yard", AT)
    with rejects(Waiting.REQUIRED):
        checks.waive(shop, visit_id, key(), LOCK_DOWN.slug, "It is somewhere in the harness", "KM", AT)
    record(shop, visit_id, LOCK_DOWN, "idle-control-back")
    visits.sign_off(shop, visit_id, key(), "Foreman of the yard", AT)


def test_leaks_are_looked_for_before_the_first_fine_round_and_no_later_reading_waits_for_it(shop: Database) -> None:
    visit_id = heat_soaked(shop, FOUR)
    checks.take_back(shop, visit_id, key(), HEAT_SOAKED.slug, "leak-checked", "KM", AT)
    with pytest.raises(RejectedError, match="item=leak-checked"):
        read(shop, visit_id, HEAT_SOAKED)
    record(shop, visit_id, HEAT_SOAKED, "leak-checked")
    read(shop, visit_id, HEAT_SOAKED)
    checks.take_back(shop, visit_id, key(), HEAT_SOAKED.slug, "leak-checked", "KM", AT)
    read(shop, visit_id, HEAT_SOAKED)  # a round under way in a visit from before it was asked for goes on
    lacks = next(s for s in progress(visit_record(shop, visit_id)) if s.phase is HEAT_SOAKED).missing
    assert because(Requirement.ITEM, phase=HEAT_SOAKED.slug, item="leak-checked") in [m.reason for m in lacks]


def test_a_visit_signed_off_before_something_was_asked_for_lacks_nothing(shop: Database) -> None:
    past = Past(shop)
    visit_id = past.visit([6.5] * 8, [6.5] * 8)
    items = {item.slug for phase in PHASES for item in phase.items}
    for status in progress(visit_record(shop, visit_id)):
        assert not [m.slug for m in status.missing if m.slug in items], status.phase.slug


def test_the_linkage_is_handed_over_hot_and_after_the_last_adjustment() -> None:
    """Slack at rest, return springs, pedal stop before plate stop, no over-center, full opening: hot, engine off."""
    for slug in ("linkage-rest", "linkage-full"):
        item = named(slug, LOCK_DOWN)
        assert item.required
        assert item.fresh
        assert item.before_running


def test_a_throttle_sensor_is_read_at_rest_and_wide_open_and_taught_to_the_engine_computer(shop: Database) -> None:
    """Zero and span, as left and after the plates were set; only of an engine that has a sensor."""
    with_one, without = (
        visit_record(shop, visit(shop, engine(shop, layout, serial))) for layout, serial in ((V8, "S-8"), (FOUR, "S-4"))
    )
    assert with_one.layout.sensor
    assert not without.layout.sensor
    asked = {item.slug: item for item in items_of(with_one, LOCK_DOWN)}
    assert {"sensor-closed", "sensor-open", "sensor-learned"} <= set(asked)
    assert asked["sensor-learned"].fresh
    assert "sensor-closed" in {item.slug for item in items_of(with_one, COLD_PRESET)}  # as it came, to compare with
    for phase in PHASES:
        assert not [item.slug for item in items_of(without, phase) if item.slug.startswith("sensor-")]


def test_a_visit_that_passed_a_phase_before_something_was_asked_there_goes_on(shop: Database) -> None:
    """Its rows were written before those items were known: first fire passed, the fine round half read."""
    visit_id = visit(shop, engine(shop, FOUR), "vehicle")
    check_all(shop, visit_id, COLD_PRESET)
    known = [item for item in items_of(visit_record(shop, visit_id), FIRST_FIRE) if item.slug != "fire-ready"]
    record(shop, visit_id, FIRST_FIRE, *(item.slug for item in known if item.before_running))
    assert "fire-ready" in {m.slug for m in progress(visit_record(shop, visit_id))[1].missing}
    with shop.writing() as session:
        one = RoundRow(
            key=key(), payload="", visit_id=visit_id, phase=HEAT_SOAKED.slug, number=1, opening=0.0, begun_at=AT
        )
        session.add(one)
        session.flush()
        session.add(
            ReadingRow(
                key=key(),
                payload="",
                round_id=one.ident,
                bore=1,
                kind="turn",
                value=6.5,
                unit="kg/h",
                why="",
                by="KM",
                at=AT,
            )
        )
    assert "fire-ready" not in {m.slug for m in progress(visit_record(shop, visit_id))[1].missing}
    record(shop, visit_id, FIRST_FIRE, "fire-ready")
    checks.take_back(shop, visit_id, key(), FIRST_FIRE.slug, "fire-ready", "KM", AT)
    assert "fire-ready" in {m.slug for m in progress(visit_record(shop, visit_id))[1].missing}  # it is known now


def test_what_guards_people_cannot_be_passed_over() -> None:
    """Typed from what is to hold, phase by phase: before power is there, before the key, before the lever is held open,
    and before the engine goes out (our judgement)."""
    required = {phase.slug: {item.slug for item in phase.items if item.required} for phase in PHASES}
    assert {"battery-off", "throttle-power-off"} <= required["cold-preset"]
    assert {
        *("kill-switch", "exhaust-drawn", "fuel-dry", "throttle-returns", "plates-follow", "fire-ready", "not-alone"),
        *("guarded", "protected", "wheels-chocked", "fan-clear", "oil-lamp"),
    } <= required["first-fire"]
    assert {"rev-limit", "lever-held", "wheels-chocked"} <= required["part-throttle-bank-balance"]
    assert {"tools-counted", "throttle-returns", "plates-follow", "hoses-back"} <= required["lock-down"]
