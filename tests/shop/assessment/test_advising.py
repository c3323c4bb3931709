"""The one next step of every phase, and the readings that it asks for."""

import pytest

from app.shop.assessment.advising import ToRead, to_read
from app.shop.assessment.assessment import assess
from app.shop.assessment.codes import StepReason
from app.shop.commands import checks, moves, readings
from app.shop.commands.moves import NewMove
from app.shop.procedure.items import Phase
from app.shop.procedure.phases import BANK_BALANCE, COLD_PRESET, FIRST_FIRE, HEAT_SOAKED, LOCK_DOWN
from app.shop.procedure.read_order import next_reading
from app.shop.record.settings import DEFAULTS
from app.shop.store.database import Database
from app.sync.engine.layout import Bank, Layout
from app.sync.engine.units import THOU
from app.sync.planning.advice import Advice, AdviceKind, AdviceReason
from app.sync.planning.preset import turns_for_idle
from tests.shop.yard import AT, FOUR, V8, check_all, engine, heat_soaked, key, read, read_round, visit, visit_record


def step(shop: Database, visit_id: int, phase: Phase) -> tuple[Advice, tuple[ToRead, ...]]:
    """The next step and what it asks to be read."""
    judged = assess(visit_record(shop, visit_id)).of(phase)
    return judged.step, judged.to_read


def test_a_cold_engine_gets_its_starting_turns_until_they_are_recorded(shop: Database) -> None:
    visit_id = visit(shop, engine(shop))
    known = visit_record(shop, visit_id)
    start = turns_for_idle(known.engine.displacement, 8, known.engine.idle_speed, known.hardware)
    advice, asked = step(shop, visit_id, COLD_PRESET)
    assert (advice.kind, advice.why, advice.bank, advice.turns) == ("stop", "preset", None, start.turns)
    assert asked == ()
    checks.record(shop, visit_id, key(), COLD_PRESET.slug, {"base-blade": 5.0}, "KM", AT)
    thicker = turns_for_idle(known.engine.displacement, 8, known.engine.idle_speed, known.hardware, base_blade=5 * THOU)
    assert step(shop, visit_id, COLD_PRESET)[0].turns == thicker.turns > start.turns  # the screw stands further off
    check_all(shop, visit_id, COLD_PRESET)
    assert step(shop, visit_id, COLD_PRESET)[0].kind == "done"


def test_a_drift_check_misread_by_far_is_read_once_more_and_is_no_lost_motion(shop: Database) -> None:
    """6.5 and then 38 kg/h, read again as 6.5: nothing loose scatters six-fold, and bore 3 stands out as before."""
    visit_id = heat_soaked(shop, V8)
    for bore in V8.bores:
        read(shop, visit_id, HEAT_SOAKED, 8.5 if bore == 3 else 6.5, bore)
    read(shop, visit_id, HEAT_SOAKED, 38.0, 1)
    advice, asked = step(shop, visit_id, HEAT_SOAKED)
    assert (advice.why, advice.bores, len(asked)) == (AdviceReason.DISAGREE, (1,), 1)
    read(shop, visit_id, HEAT_SOAKED, 6.5, 1)
    advice, asked = step(shop, visit_id, HEAT_SOAKED)
    assert (advice.why, advice.near, advice.far, asked) == (AdviceReason.OPEN, 2, 3, ())


def test_a_round_is_asked_for_bore_by_bore_and_closed_where_it_began(shop: Database) -> None:
    visit_id = visit(shop, engine(shop, FOUR))
    check_all(shop, visit_id, COLD_PRESET)
    check_all(shop, visit_id, FIRST_FIRE)
    advice, asked = step(shop, visit_id, FIRST_FIRE)
    assert (advice.kind, advice.why) == ("measure", "first-round")
    assert asked == tuple(ToRead(1, bore, "turn") for bore in (1, 2, 3, 4))
    for _ in range(4):
        read(shop, visit_id, FIRST_FIRE)
    advice, asked = step(shop, visit_id, FIRST_FIRE)
    assert (advice.kind, advice.why, asked) == ("measure", "close-round", (ToRead(1, 1, "closing"),))
    read(shop, visit_id, FIRST_FIRE)
    assert step(shop, visit_id, FIRST_FIRE) == (Advice(AdviceKind.DONE, AdviceReason.COARSE), ())


def test_what_the_brain_asks_for_in_a_closed_round_is_read_again(shop: Database) -> None:
    visit_id = heat_soaked(shop, FOUR)
    read_round(shop, visit_id, HEAT_SOAKED)
    now = next_reading(visit_record(shop, visit_id), HEAT_SOAKED)
    assert to_read(HEAT_SOAKED, now, Advice(AdviceKind.MEASURE, AdviceReason.DOUBTFUL, bores=(3,))) == (
        ToRead(2, 3, "again"),
    )


def test_with_one_bank_there_is_nothing_to_balance(shop: Database) -> None:
    assert step(shop, heat_soaked(shop, FOUR), BANK_BALANCE) == (Advice(AdviceKind.DONE, StepReason.SINGLE), ())


def test_both_openings_are_read_before_anything_is_said_of_the_banks(shop: Database) -> None:
    visit_id = heat_soaked(shop)
    read_round(shop, visit_id, HEAT_SOAKED)
    check_all(shop, visit_id, BANK_BALANCE)
    for number in range(len(DEFAULTS.openings)):
        advice, asked = step(shop, visit_id, BANK_BALANCE)
        assert advice.kind == "measure"
        assert asked == tuple(ToRead(3 + number, bore, "turn") for bore in V8.bores)
        for _ in range(len(V8.bores) + 1):
            read(shop, visit_id, BANK_BALANCE, 9.5)
    assert step(shop, visit_id, BANK_BALANCE) == (Advice(AdviceKind.DONE, StepReason.BALANCED), ())


@pytest.mark.parametrize(("early", "bank"), [(V8.banks[1].bores, "B"), (V8.banks[0].bores, "A")])
def test_a_bank_that_leaves_early_has_its_link_turned_later(shop: Database, early: tuple[int, ...], bank: str) -> None:
    visit_id = heat_soaked(shop)
    read_round(shop, visit_id, HEAT_SOAKED)
    check_all(shop, visit_id, BANK_BALANCE)
    for opening in (8.0, 15.0):
        for bore in (*V8.bores, 1):
            read(shop, visit_id, BANK_BALANCE, opening + (2.0 if bore in early else 0.0), bore)
    advice, asked = step(shop, visit_id, BANK_BALANCE)
    assert (advice.kind, advice.bank, advice.bores, asked) == ("link", bank, early, ())
    assert advice.flats < 0


SCREWS = Layout((Bank("A", (1, 2, 3, 4), 1, 1, ("screw-in", "screw-in", "screw-in")),))


@pytest.mark.parametrize("layout", [FOUR, SCREWS], ids=["blades", "screws"])
def test_what_moved_in_tightening_is_not_turned_in_lock_down(shop: Database, layout: Layout) -> None:
    visit_id = heat_soaked(shop, layout)
    read_round(shop, visit_id, HEAT_SOAKED)
    check_all(shop, visit_id, LOCK_DOWN)
    for bore in (1, 2, 3, 4, 1):
        read(shop, visit_id, LOCK_DOWN, 12.0 if bore == 4 else 6.5, bore)
    for _ in range(12):
        advice, asked = step(shop, visit_id, LOCK_DOWN)
        if advice.kind != "measure":
            break
        for one in asked:
            new = readings.NewReading(
                LOCK_DOWN.slug, one.round_number, one.bore, one.kind, 12.0 if one.bore == 4 else 6.5, "KM"
            )
            readings.add(shop, visit_id, key(), new, AT)
    assert (advice.kind, advice.why) == ("cannot", "tightening")
    assert 4 in advice.about


def test_lock_down_goes_on_where_the_round_before_it_was_waived_and_says_that_the_engine_is_uneven(
    shop: Database,
) -> None:
    """Nothing was even before, so that tightening is not to blame; once lock-down is waived, nothing is left to do."""
    visit_id = heat_soaked(shop, FOUR)
    values = (6.5, 6.5, 6.5, 12.0)
    for bore in (1, 2, 3, 4, 1):
        read(shop, visit_id, HEAT_SOAKED, values[bore - 1], bore)
    checks.waive(shop, visit_id, key(), HEAT_SOAKED.slug, "The owner leaves it so", "KM", AT)
    check_all(shop, visit_id, LOCK_DOWN)
    for _ in range(20):
        advice, asked = step(shop, visit_id, LOCK_DOWN)
        if not asked:
            break
        for one in asked:
            told = values[one.bore - 1]
            new = readings.NewReading(LOCK_DOWN.slug, one.round_number, one.bore, one.kind, told, "KM")
            readings.add(shop, visit_id, key(), new, AT)
    assert (advice.kind, advice.why) == ("cannot", "uneven")
    checks.waive(shop, visit_id, key(), LOCK_DOWN.slug, "The owner leaves it so", "KM", AT)
    assert [getattr(step(shop, visit_id, LOCK_DOWN)[0], name) for name in ("kind", "why")] == ["done", "waived"]


def test_after_a_move_a_new_round_is_asked_for(shop: Database) -> None:
    visit_id = heat_soaked(shop, FOUR)
    read_round(shop, visit_id, HEAT_SOAKED)
    new = NewMove(HEAT_SOAKED.slug, "blade", "", 3, 4, 0.0, (5 * THOU,), False, "KM")
    moves.make(shop, visit_id, key(), new, AT)
    advice, asked = step(shop, visit_id, HEAT_SOAKED)
    assert advice.kind == "measure"
    assert asked
    assert {one.round_number for one in asked} == {3}
