"""What changed since the last sign-off asks for a recheck by itself, and that recheck cannot be passed over unread."""

from dataclasses import replace

import pytest

from app.shop.assessment.progress import Missing, progress
from app.shop.commands import checks, engines, moves, visits
from app.shop.commands.moves import NewMove
from app.shop.commands.visits import NewVisit
from app.shop.errors import RejectedError
from app.shop.procedure.phases import FIRST_FIRE, HEAT_SOAKED, LOCK_DOWN
from app.shop.procedure.recheck import reasons, recheck, same_air
from app.shop.procedure.requirements import Changed, Waiting
from app.shop.reasons import because
from app.shop.record.fittings import hardware_from_json
from app.shop.rejections import Rejection
from app.shop.store.database import Database
from tests.shop.rejections import codes_of, rejects
from tests.shop.yard import AT, FOUR, check_all, heat_soaked, key, read_round, visit, visit_record


def signed(shop: Database) -> int:
    """The engine of a visit that was signed off in the test cell."""
    visit_id = heat_soaked(shop, FOUR)
    read_round(shop, visit_id, HEAT_SOAKED)
    check_all(shop, visit_id, LOCK_DOWN)
    read_round(shop, visit_id, LOCK_DOWN)
    visits.sign_off(shop, visit_id, key(), "Foreman of the yard", AT)
    return visit_record(shop, visit_id).engine.ident


def back(shop: Database, engine_id: int, place: str = "test cell", *changed: str) -> int:
    return visits.open_visit(shop, engine_id, key(), NewVisit(place, "", "", "KM", 1, changed), AT)


def test_a_first_visit_and_an_unchanged_one_ask_for_nothing(shop: Database) -> None:
    assert recheck(visit_record(shop, heat_soaked(shop, FOUR))) is None


def test_nothing_changed_is_nothing_asked(shop: Database) -> None:
    assert recheck(visit_record(shop, back(shop, signed(shop)))) is None


def test_another_place_is_seen_without_being_asked(shop: Database) -> None:
    told = visit_record(shop, back(shop, signed(shop), "vehicle"))
    assert recheck(told) == because(Changed.RECHECK, reasons=(because(Changed.IN_VEHICLE),))


def test_an_engine_fitted_by_the_customer_is_seen_when_he_rings(shop: Database) -> None:
    engine_id = signed(shop)
    told = visit_record(shop, back(shop, engine_id, "telephone"))
    assert reasons(told) == (because(Changed.FITTED_AWAY),)
    assert not same_air(told)


@pytest.mark.parametrize("what", ["stop screw", "exhaust", "linkage", "throttle sensor"])
def test_what_was_changed_is_named(shop: Database, what: str) -> None:
    assert reasons(visit_record(shop, back(shop, signed(shop), "test cell", what))) == (
        because(Changed.TOUCHED, what=what),
    )


def test_other_hardware_on_record_is_seen_without_being_asked(shop: Database) -> None:
    engine_id = signed(shop)
    with shop.reading() as session:
        hardware = hardware_from_json(engines.fitting_now(session, engine_id).hardware)
    engines.fit(shop, engine_id, key(), FOUR, hardware, "Another linkage", AT)
    assert reasons(visit_record(shop, back(shop, engine_id))) == (because(Changed.HARDWARE),)


def test_the_recheck_cannot_be_passed_over_unread(shop: Database) -> None:
    engine_id = signed(shop)
    visit_id = back(shop, engine_id, "test cell", "exhaust")
    check_all(shop, visit_id, FIRST_FIRE)
    check_all(shop, visit_id, HEAT_SOAKED)
    with pytest.raises(RejectedError) as refusal:
        checks.waive(shop, visit_id, key(), HEAT_SOAKED.slug, "In a hurry", "KM", AT)
    assert codes_of(refusal) == {"why": Waiting.REQUIRED}
    read_round(shop, visit_id, HEAT_SOAKED)
    assert visit_record(shop, visit_id).as_found() is not None


def test_a_change_nobody_knows_is_refused(shop: Database) -> None:
    with pytest.raises(RejectedError) as refusal:
        back(shop, signed(shop), "vehicle", "paint")
    assert codes_of(refusal) == {"changed": Rejection.NOT_ONE_OF}


def test_a_returning_engine_is_read_as_found_before_anything_is_moved(shop: Database) -> None:
    visit_id = back(shop, signed(shop), "vehicle")
    check_all(shop, visit_id, FIRST_FIRE)
    check_all(shop, visit_id, HEAT_SOAKED)
    turn = NewMove(HEAT_SOAKED.slug, "stop", "A", None, None, 0.125, (), True, "KM")
    for phase in (FIRST_FIRE, HEAT_SOAKED):
        with rejects(Rejection.AS_FOUND_FIRST):
            moves.make(shop, visit_id, key(), replace(turn, phase=phase.slug), AT)
    read_round(shop, visit_id, HEAT_SOAKED)
    moves.make(shop, visit_id, key(), turn, AT)


def test_a_changed_engine_is_read_hot_once_at_least_and_that_cannot_be_waived(shop: Database) -> None:
    """Signed off in the test cell, now in a vehicle; what is adjusted after the first round may be waived as ever."""
    visit_id = visit(shop, signed(shop), "vehicle")

    def missing_round() -> Missing:
        (lacks,) = (one.missing for one in progress(visit_record(shop, visit_id)) if one.phase is HEAT_SOAKED)
        return next(one for one in lacks if one.slug == "round")

    assert missing_round().must
    for phase in (FIRST_FIRE, HEAT_SOAKED):
        check_all(shop, visit_id, phase)
    read_round(shop, visit_id, HEAT_SOAKED)
    turned = NewMove(HEAT_SOAKED.slug, "stop", "A", None, None, 0.125, (), False, "KM")
    moves.make(shop, visit_id, key(), turned, AT)
    assert not missing_round().must
