"""The order of the phases, what may not be skipped, and the sign-off."""

import pytest

from app.shop.assessment.assessment import assess
from app.shop.assessment.progress import progress
from app.shop.commands import checks, moves, people, readings, visits
from app.shop.commands.moves import NewMove
from app.shop.commands.readings import NewReading
from app.shop.commands.visits import NewVisit
from app.shop.errors import RejectedError
from app.shop.procedure.parts import parts_of
from app.shop.procedure.phases import BANK_BALANCE, COLD_PRESET, FIRST_FIRE, HEAT_SOAKED, LOCK_DOWN, PHASES
from app.shop.procedure.requirements import NotNeeded, Waiting
from app.shop.reasons import because
from app.shop.rejections import Rejection
from app.shop.store.database import Database
from tests.shop.rejections import codes_of, rejects
from tests.shop.yard import (
    AT,
    FOUR,
    V8,
    check_all,
    engine,
    heat_soaked,
    key,
    read,
    read_round,
    ready_to_sign,
    visit,
    visit_record,
)


def test_a_visit_begins_with_the_cold_preset(shop: Database) -> None:
    visit_id = visit(shop, engine(shop))
    assert assess(visit_record(shop, visit_id)).current is COLD_PRESET


@pytest.mark.parametrize("phase", PHASES[1:])
def test_a_step_out_of_order_raises_and_changes_nothing(shop: Database, phase: object) -> None:
    visit_id = visit(shop, engine(shop))
    assert phase in PHASES
    slug = next(p.slug for p in PHASES if p is phase)
    with pytest.raises(RejectedError):
        checks.record(shop, visit_id, key(), slug, {"oil": 90.0}, "KM", AT)
    with pytest.raises(RejectedError):
        readings.add(shop, visit_id, key(), NewReading(slug, 1, 1, "turn", 6.5, "KM"), AT)
    with pytest.raises(RejectedError):
        moves.make(shop, visit_id, key(), NewMove(slug, "stop", "A", None, None, 0.125, (), True, "KM"), AT)
    after = visit_record(shop, visit_id)
    assert (after.rounds, after.all_moves, after.all_checks) == ((), (), ())


def test_what_may_not_be_skipped_cannot_be_passed_over(shop: Database) -> None:
    visit_id = visit(shop, engine(shop))
    with pytest.raises(RejectedError) as refusal:
        checks.waive(shop, visit_id, key(), COLD_PRESET.slug, "In a hurry", "KM", AT)
    assert codes_of(refusal) == {"why": Waiting.REQUIRED}
    must = {i.slug: None for i in COLD_PRESET.items if i.required and i.when in parts_of(V8)}
    checks.record(shop, visit_id, key(), COLD_PRESET.slug, must, "KM", AT)
    with rejects(Rejection.REASON_MISSING):
        checks.waive(shop, visit_id, key(), COLD_PRESET.slug, "  ", "KM", AT)
    checks.waive(shop, visit_id, key(), COLD_PRESET.slug, "No sensor lead here", "KM", AT)
    after = visit_record(shop, visit_id)
    assert assess(after).current is FIRST_FIRE
    assert [o.why for o in after.overrides] == ["No sensor lead here"]
    assert "sensor-closed" in after.overrides[0].missing


def test_one_visit_of_an_engine_at_a_time(shop: Database) -> None:
    engine_id = engine(shop)
    visit(shop, engine_id)
    with rejects(Rejection.VISIT_OPEN):
        visits.open_visit(shop, engine_id, key(), NewVisit("vehicle", "", "", "KM", 1), AT)


def test_a_visit_needs_a_place_initials_and_a_meter(shop: Database) -> None:
    with pytest.raises(RejectedError) as refusal:
        visits.open_visit(shop, engine(shop), key(), NewVisit("the moon", "", "", " ", 99), AT)
    assert codes_of(refusal) == {
        "place": Rejection.NOT_ONE_OF,
        "by": Rejection.INITIALS_MISSING,
        "meter": Rejection.NO_SUCH_METER,
    }


def test_a_move_takes_the_evenness_back(shop: Database) -> None:
    visit_id = heat_soaked(shop)
    read_round(shop, visit_id, HEAT_SOAKED)
    assert assess(visit_record(shop, visit_id)).current is BANK_BALANCE
    new = NewMove(HEAT_SOAKED.slug, "blade", "", 2, 3, 0.0, (0.0001,), True, "KM")
    moves.make(shop, visit_id, key(), new, AT)
    assert assess(visit_record(shop, visit_id)).current is HEAT_SOAKED


def test_tightening_counts_only_after_the_last_move(shop: Database) -> None:
    visit_id = heat_soaked(shop, FOUR)
    read_round(shop, visit_id, HEAT_SOAKED)
    check_all(shop, visit_id, LOCK_DOWN)
    read_round(shop, visit_id, LOCK_DOWN)
    assert all(s.done for s in progress(visit_record(shop, visit_id)))
    new = NewMove(HEAT_SOAKED.slug, "stop", "A", None, None, 0.0625, (), True, "KM")
    moves.make(shop, visit_id, key(), new, AT)
    read_round(shop, visit_id, HEAT_SOAKED)
    lock = next(s for s in progress(visit_record(shop, visit_id)) if s.phase is LOCK_DOWN)
    assert {"couplers-tight", "stops-marked", "throttle-returns", "round"} <= {m.slug for m in lock.missing}


def test_nobody_signs_off_what_is_not_finished(shop: Database) -> None:
    visit_id = heat_soaked(shop, FOUR)
    with rejects(Rejection.PHASES_INCOMPLETE):
        visits.sign_off(shop, visit_id, key(), "Foreman of the yard", AT)
    assert visit_record(shop, visit_id).sign_off is None


def signed_off(shop: Database) -> int:
    visit_id = ready_to_sign(shop)
    visits.sign_off(shop, visit_id, key(), "Foreman of the yard", AT)
    return visit_id


def test_a_signed_visit_takes_nothing_more(shop: Database) -> None:
    visit_id = signed_off(shop)
    with pytest.raises(RejectedError):
        read(shop, visit_id, HEAT_SOAKED, bore=1)
    with rejects(Waiting.SIGNED_OFF):
        visits.sign_off(shop, visit_id, key(), "Another person", AT)
    with pytest.raises(RejectedError):
        checks.waive(shop, visit_id, key(), LOCK_DOWN.slug, "More", "KM", AT)


def test_a_returning_engine_is_not_preset_again(shop: Database) -> None:
    before = visit_record(shop, signed_off(shop))
    visit_id = visit(shop, before.engine.ident, "vehicle")
    now = visit_record(shop, visit_id)
    assert now.before is not None
    assert now.before.visit.ident == before.visit.ident
    assert assess(now).current is FIRST_FIRE
    check_all(shop, visit_id, FIRST_FIRE)
    assert assess(visit_record(shop, visit_id)).current is HEAT_SOAKED


def test_as_found_comes_before_any_move_and_as_left_after_the_last(shop: Database) -> None:
    visit_id = heat_soaked(shop)
    read_round(shop, visit_id, HEAT_SOAKED, 6.5)
    moves.make(shop, visit_id, key(), NewMove(HEAT_SOAKED.slug, "stop", "A", None, None, 0.125, (), True, "KM"), AT)
    assert visit_record(shop, visit_id).as_left() is None
    read_round(shop, visit_id, HEAT_SOAKED, 7.0)
    told = visit_record(shop, visit_id)
    found, left = told.as_found(), told.as_left()
    assert found is not None
    assert left is not None
    assert {r.value for r in found.latest.values()} == {6.5}
    assert {r.value for r in left.latest.values()} == {7.0}
    assert found.row.phase == HEAT_SOAKED.slug


def test_one_bank_has_nothing_to_balance(shop: Database) -> None:
    visit_id = heat_soaked(shop, FOUR)
    balance = next(s for s in progress(visit_record(shop, visit_id)) if s.phase is BANK_BALANCE)
    assert balance.done
    assert balance.not_needed_because == because(NotNeeded.ONE_BANK)
    assert len(V8.banks) == 2


def test_a_visit_that_cannot_be_signed_says_so_whatever_the_pin(shop: Database) -> None:
    people.add(shop, key(), "Kim Marlow", "2580", "2580", AT)
    visit_id = visit(shop, engine(shop, serial="31-0218"))
    for pin in ("2580", "1470", ""):
        with rejects(Rejection.PHASES_INCOMPLETE):
            visits.sign_off(shop, visit_id, key(), "Kim Marlow", AT, pin)
    ready = ready_to_sign(shop)
    sent = key()
    signed = visits.sign_off(shop, ready, sent, "Kim Marlow", AT, "2580")
    assert visits.sign_off(shop, ready, sent, "Kim Marlow", AT, "1470") == signed
    for pin in ("2580", "1470"):
        with rejects(Waiting.SIGNED_OFF):
            visits.sign_off(shop, ready, key(), "Kim Marlow", AT, pin)
