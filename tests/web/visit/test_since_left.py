"""As found against as left on a customer's own meter: its scale is learnt, and the bore is found all the same."""

import pytest

from app.shop.assessment.assessment import assess
from app.shop.commands import meters, visits
from app.shop.commands.meters import NewMeter
from app.shop.commands.visits import NewVisit
from app.shop.procedure.phases import FIRST_FIRE, HEAT_SOAKED, LOCK_DOWN
from app.shop.store.database import Database
from app.web.presenters.history.history import since_left
from tests.shop.yard import AT, FOUR, check_all, heat_soaked, key, read_asked, read_round, visit_record


def rung_in(shop: Database, meter_id: int, scale: float) -> int:
    """An engine left even at 6.5, then read over the telephone: bore 3 stands 1.2 times as wide."""
    visit_id = heat_soaked(shop, FOUR)
    read_round(shop, visit_id, HEAT_SOAKED)
    check_all(shop, visit_id, LOCK_DOWN)
    read_round(shop, visit_id, LOCK_DOWN)
    visits.sign_off(shop, visit_id, key(), "Foreman of the yard", AT)
    engine_id = visit_record(shop, visit_id).engine.ident
    visit_id = visits.open_visit(shop, engine_id, key(), NewVisit("telephone", "", "", "KM", meter_id), AT)
    check_all(shop, visit_id, FIRST_FIRE)
    check_all(shop, visit_id, HEAT_SOAKED)
    read_asked(shop, visit_id, HEAT_SOAKED, lambda bore: scale * 6.5 * (1.2 if bore == 3 else 1.0))
    return visit_id


def test_the_scale_of_another_meter_is_learnt_and_taken_out(shop: Database) -> None:
    own = meters.register(shop, key(), NewMeter("The customer's own", "cfm", 0.1, 0, 60))
    told = since_left(assess(visit_record(shop, rung_in(shop, own, scale=2.0))))
    assert told is not None
    assert told.sentence.startswith("Bore 3 changed most")
    assert "another meter" in told.sentence
    changes = [float(change.change.replace("−", "-")) for change in told.changes]
    assert changes[2] > 0 > changes[0]
    assert changes[0] == pytest.approx(changes[3], abs=0.11)
    assert told.unit == "cfm"


def test_the_same_meter_has_nothing_taken_out(shop: Database) -> None:
    told = since_left(assess(visit_record(shop, rung_in(shop, 1, scale=1.0))))
    assert told is not None
    assert [float(change.change) for change in told.changes] == pytest.approx([0, 0, 1.3, 0])  # 0.2 of 6.5
    assert "another meter" not in told.sentence


def test_a_vacuum_column_is_not_set_against_a_flow_meter(shop: Database) -> None:
    column = meters.register(shop, key(), NewMeter("Tall column", "mmHg", 2, 0, 760))
    assert since_left(assess(visit_record(shop, rung_in(shop, column, scale=20)))) is None
