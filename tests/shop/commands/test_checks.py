"""What a phase asks for: ticks that can be taken back, and figures outside the shop's limits that stop it."""

import pytest

from app.shop.assessment.assessment import assess
from app.shop.assessment.progress import progress
from app.shop.commands import checks, moves, running
from app.shop.commands.moves import NewMove
from app.shop.errors import RejectedError
from app.shop.procedure.limits import stop_for
from app.shop.procedure.phases import COLD_PRESET, FIRST_FIRE, HEAT_SOAKED, LOCK_DOWN, PHASES
from app.shop.procedure.requirements import Waiting
from app.shop.record.settings import Limits
from app.shop.rejections import Rejection
from app.shop.store.database import Database
from app.sync.engine.events import BypassTurn, IdleSpeed
from app.sync.engine.units import REV_PER_MIN, THOU
from app.wording.reasons import in_words
from tests.shop.rejections import rejects
from tests.shop.yard import (
    AT,
    FOUR,
    TWINS,
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


def record(shop: Database, visit_id: int, slug: str, **values: float | None) -> None:
    named = {name.replace("_", "-"): value for name, value in values.items()}
    checks.record(shop, visit_id, key(), slug, named, "KM", AT)


def test_a_tick_taken_back_is_missing_again_and_stays_in_the_history(shop: Database) -> None:
    visit_id = visit(shop, engine(shop))
    record(shop, visit_id, COLD_PRESET.slug, wide_open=None)
    sent = key()
    for _ in range(2):  # sent twice, it is taken back once
        checks.take_back(shop, visit_id, sent, COLD_PRESET.slug, "wide-open", "KM", AT)
    told = visit_record(shop, visit_id)
    assert (COLD_PRESET.slug, "wide-open") not in told.checks
    assert [row.text for row in told.all_checks] == ["", "taken back"]
    assert "wide-open" in {m.slug for m in progress(told)[0].missing}
    record(shop, visit_id, COLD_PRESET.slug, wide_open=None)
    assert (COLD_PRESET.slug, "wide-open") in visit_record(shop, visit_id).checks
    assert len(visit_record(shop, visit_id).all_checks) == 3


def test_nothing_recorded_cannot_be_taken_back(shop: Database) -> None:
    visit_id = visit(shop, engine(shop))
    with rejects(Rejection.NOTHING_TO_UNDO):
        checks.take_back(shop, visit_id, key(), COLD_PRESET.slug, "wide-open", "KM", AT)
    record(shop, visit_id, COLD_PRESET.slug, wide_open=None)
    with rejects(Rejection.INITIALS_MISSING):
        checks.take_back(shop, visit_id, key(), COLD_PRESET.slug, "wide-open", " ", AT)
    assert len(visit_record(shop, visit_id).all_checks) == 1


def test_an_idle_speed_taken_back_tells_the_brain_nothing(shop: Database) -> None:
    visit_id = heat_soaked(shop, FOUR)
    before = len(visit_record(shop, visit_id).events())
    checks.take_back(shop, visit_id, key(), HEAT_SOAKED.slug, "idle-speed", "KM", AT)
    assert len(visit_record(shop, visit_id).events()) == before - 1


def test_of_the_idle_speeds_between_two_moves_the_last_counts(shop: Database) -> None:
    def speeds() -> list[int]:
        found = visit_record(shop, visit_id).events()
        return [round(one.speed / REV_PER_MIN) for one in found if isinstance(one, IdleSpeed)]

    visit_id = heat_soaked(shop, FOUR)
    for mistyped, meant in ((1850.0, 850.0), (800.0, 870.0)):
        read_round(shop, visit_id, HEAT_SOAKED)
        for typed in (mistyped, meant):
            checks.record(shop, visit_id, key(), HEAT_SOAKED.slug, {"idle-speed": typed}, "KM", AT)
        new = NewMove(HEAT_SOAKED.slug, "blade", "", 1, 2, 0.0, (8 * THOU,), False, "KM")
        moves.make(shop, visit_id, key(), new, AT)
    assert speeds() == [850, 870]
    checks.record(shop, visit_id, key(), HEAT_SOAKED.slug, {"idle-speed": 890.0}, "KM", AT)
    assert speeds() == [850, 870, 890]
    checks.take_back(shop, visit_id, key(), HEAT_SOAKED.slug, "idle-speed", "KM", AT)
    assert speeds() == [850, 870]


def test_where_bypass_screws_were_preset_otherwise_the_brain_is_told(shop: Database) -> None:
    visit_id = visit(shop, engine(shop, TWINS))
    for out, told in ((1.5, []), (0.75, [(1, -0.75), (4, -0.75)])):  # 1.5 is what is taken for granted
        checks.record(shop, visit_id, key(), COLD_PRESET.slug, {"bypass-turns": out}, "KM", AT)
        found = visit_record(shop, visit_id).events()
        assert [(one.bore, one.turns) for one in found if isinstance(one, BypassTurn)] == told


@pytest.mark.parametrize(
    ("slug", "item", "number", "stops"),
    [
        (FIRST_FIRE.slug, "oil-pressure", 0, True),
        (FIRST_FIRE.slug, "oil-pressure", 99, True),
        (FIRST_FIRE.slug, "oil-pressure", 100, False),
        (HEAT_SOAKED.slug, "oil-pressure-hot", 69, True),
        (HEAT_SOAKED.slug, "oil-pressure-hot", 70, False),
        (HEAT_SOAKED.slug, "coolant", 111, True),
        (HEAT_SOAKED.slug, "coolant", 110, False),
        (HEAT_SOAKED.slug, "oil", 136, True),
        (HEAT_SOAKED.slug, "idle-speed", 3000, False),
    ],
)
def test_a_figure_outside_the_limits_stops_the_engine(slug: str, item: str, number: float, stops: bool) -> None:
    named = {(phase.slug, i.slug): i for phase in PHASES for i in phase.items}
    found = stop_for(named[slug, item], number, Limits())
    assert (found is not None) is stops
    assert found is None or in_words(found).startswith("Stop the engine now")


def test_no_oil_pressure_stops_the_phase_until_a_good_figure_is_recorded(shop: Database) -> None:
    visit_id = visit(shop, engine(shop))
    check_all(shop, visit_id, COLD_PRESET)
    check_all(shop, visit_id, FIRST_FIRE)
    record(shop, visit_id, FIRST_FIRE.slug, oil_pressure=20)
    with pytest.raises(RejectedError, match="oil-pressure-low"):
        read(shop, visit_id, FIRST_FIRE)
    with rejects(Waiting.STOPPED):
        checks.waive(shop, visit_id, key(), FIRST_FIRE.slug, "The gauge is wrong", "KM", AT)
    assert assess(visit_record(shop, visit_id)).current is FIRST_FIRE
    running.end_stop(shop, visit_id, key(), "pump", "", "Pump drive key replaced", "KM", AT)
    start_again(shop, visit_id)
    with rejects(Waiting.REQUIRED):
        checks.waive(shop, visit_id, key(), FIRST_FIRE.slug, "It will be well", "KM", AT)
    record(shop, visit_id, FIRST_FIRE.slug, oil_pressure=310)
    read_round(shop, visit_id, FIRST_FIRE)
    assert assess(visit_record(shop, visit_id)).current is HEAT_SOAKED


def test_coolant_over_the_limit_stops_what_comes_later_too(shop: Database) -> None:
    visit_id = heat_soaked(shop, FOUR)
    read_round(shop, visit_id, HEAT_SOAKED)
    assert assess(visit_record(shop, visit_id)).current is LOCK_DOWN
    record(shop, visit_id, HEAT_SOAKED.slug, coolant=118)
    assert assess(visit_record(shop, visit_id)).current is HEAT_SOAKED
    with pytest.raises(RejectedError, match="coolant-hot"):
        check_all(shop, visit_id, LOCK_DOWN)


@pytest.mark.parametrize("phase", [p for p in PHASES if p.rounds in ("coarse", "last")], ids=lambda p: p.slug)
def test_nothing_is_read_before_what_must_be_safe_is_ticked(shop: Database, phase: object) -> None:
    visit_id = heat_soaked(shop, FOUR)
    read_round(shop, visit_id, HEAT_SOAKED)
    check_all(shop, visit_id, LOCK_DOWN)
    slug = FIRST_FIRE.slug if phase is FIRST_FIRE else LOCK_DOWN.slug
    checks.take_back(shop, visit_id, key(), slug, "throttle-returns", "KM", AT)
    with pytest.raises(RejectedError, match="item=throttle-returns"):
        read(shop, visit_id, FIRST_FIRE if phase is FIRST_FIRE else LOCK_DOWN, bore=1)


def test_items_are_counted_once_however_often_they_are_sent(shop: Database) -> None:
    visit_id, sent = visit(shop, engine(shop)), key()
    ticks: dict[str, float | None] = {"wide-open": None, "closed-contact": None}
    told = [checks.record(shop, visit_id, sent, COLD_PRESET.slug, ticks, "KM", AT) for _ in range(2)]
    assert told == [2, 0]
    assert checks.record(shop, visit_id, key(), COLD_PRESET.slug, ticks, "KM", AT) == 0  # they stand already
    assert checks.record(shop, visit_id, sent, COLD_PRESET.slug, {}, "KM", AT) == 0
    assert len(visit_record(shop, visit_id).all_checks) == 2


def test_a_reason_may_be_five_hundred_letters_long(shop: Database) -> None:
    visit_id = heat_soaked(shop, FOUR)
    with rejects(Rejection.TOO_LONG):
        checks.waive(shop, visit_id, key(), HEAT_SOAKED.slug, "x" * 501, "KM", AT)
    sent = key()
    rows = [checks.waive(shop, visit_id, sent, HEAT_SOAKED.slug, "x" * 500, "KM", AT) for _ in range(2)]
    assert rows[0] == rows[1]
    assert visit_record(shop, visit_id).overrides[-1].why == "x" * 500


ENDS = {
    "idle-speed": (300, 3000),  # what an engine idles at, from the slowest to a cold start
    "air-pressure": (50, 115),  # from 5,500 m up to the deepest mines (ISO 2533, from memory: 50.5 kPa at 5,500 m)
    "air-temperature": (-40, 90),  # a yard in winter, an intake over a hot engine
}


@pytest.mark.parametrize("item", ENDS)
def test_a_figure_is_taken_up_to_the_ends_of_its_range(shop: Database, item: str) -> None:
    visit_id = heat_soaked(shop, FOUR)
    low, high = ENDS[item]
    for number in (low, high):
        checks.record(shop, visit_id, key(), HEAT_SOAKED.slug, {item: number}, "KM", AT)
        assert visit_record(shop, visit_id).checks[HEAT_SOAKED.slug, item].number == number
    for beyond in (low - 0.1, high + 0.1, float("inf"), float("nan"), None):
        with rejects(Rejection.OUT_OF_RANGE):
            checks.record(shop, visit_id, key(), HEAT_SOAKED.slug, {item: beyond}, "KM", AT)
    assert visit_record(shop, visit_id).checks[HEAT_SOAKED.slug, item].number == high
