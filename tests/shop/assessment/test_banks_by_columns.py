"""The bank balance of a visit that is read by vacuum columns."""

import pytest

from app.shop.assessment.assessment import PhaseAssessment, assess
from app.shop.assessment.lessons import sharing_of
from app.shop.assessment.progress import status_of
from app.shop.commands import readings
from app.shop.procedure.phases import BANK_BALANCE
from app.shop.store.database import Database
from app.sync.engine.units import THOU
from tests.shop.bank_balance import AT_IDLE, at_the_banks_by_columns, read_alike
from tests.shop.yard import AT, engine, key, read, visit, visit_record


def test_how_much_runners_share_is_learned_from_columns_alone(shop: Database) -> None:
    by_columns = visit_record(shop, at_the_banks_by_columns(shop))
    shared = sharing_of(by_columns)
    assert shared is not None
    assert 0 < shared < 1
    by_meter = visit_record(shop, visit(shop, engine(shop, serial="31-0218")))
    assert sharing_of(by_meter) is None


def judged(shop: Database, visit_id: int) -> PhaseAssessment:
    return assess(visit_record(shop, visit_id)).of(BANK_BALANCE)


@pytest.mark.parametrize(("first", "second", "early"), [(28.0, 25.0, "B"), (25.0, 28.0, "A")])
def test_the_bank_whose_columns_stand_lower_has_opened_first(
    shop: Database, first: float, second: float, early: str
) -> None:
    """Less vacuum is more air."""
    visit_id = at_the_banks_by_columns(shop)
    read_alike(shop, visit_id, BANK_BALANCE, first, second)
    read_alike(shop, visit_id, BANK_BALANCE, first - 4, second - 4)
    found = judged(shop, visit_id).banks
    assert found is not None
    assert [round(one.lever_travel / THOU) for one in found.differences] == [0, 10, 30]
    assert (found.offset > 0) == (early == "B")
    assert found.bank == early
    assert all((one.percent > 0) == (early == "B") for one in found.differences[1:])


def test_banks_alike_open_together(shop: Database) -> None:
    visit_id = at_the_banks_by_columns(shop)
    for depth in (29.0, 25.0):
        read_alike(shop, visit_id, BANK_BALANCE, depth, depth)
    assert judged(shop, visit_id).together
    assert status_of(visit_record(shop, visit_id), BANK_BALANCE).missing == ()


def test_where_columns_come_to_zero_a_smaller_opening_is_asked_for(shop: Database) -> None:
    visit_id = at_the_banks_by_columns(shop)
    read_alike(shop, visit_id, BANK_BALANCE, 12.0, 12.0)
    read_alike(shop, visit_id, BANK_BALANCE, 1.0, 0.5)
    now = judged(shop, visit_id)
    assert now.due.bore is None
    assert now.banks is not None
    assert [round(one.lever_travel / THOU) for one in now.banks.differences] == [0, 10]
    assert not now.together
    assert (now.step.kind, now.step.why) == ("measure", "smaller_opening")
    assert now.opening == pytest.approx(20 * THOU)
    begun = readings.begin_round(shop, visit_id, key(), BANK_BALANCE.slug, AT, now.opening)
    assert begun
    read_alike(shop, visit_id, BANK_BALANCE, 6.0, 6.0)
    assert judged(shop, visit_id).together


def test_columns_at_zero_everywhere_ask_for_a_flow_meter_and_pass_nothing(shop: Database) -> None:
    visit_id = at_the_banks_by_columns(shop)
    for _ in range(2):
        read_alike(shop, visit_id, BANK_BALANCE, 0.5, 0.5)
    for _ in range(3):
        now = judged(shop, visit_id)
        assert not now.together
        if now.step.why == "flow_meter":
            break
        readings.begin_round(shop, visit_id, key(), BANK_BALANCE.slug, AT, now.opening)
        read_alike(shop, visit_id, BANK_BALANCE, 0.5, 0.5)
    assert (judged(shop, visit_id).step.kind, judged(shop, visit_id).step.why) == ("cannot", "flow_meter")
    assert [m.slug for m in status_of(visit_record(shop, visit_id), BANK_BALANCE).missing][:1] == ["round"]


def test_columns_that_read_as_at_idle_were_read_with_the_lever_shut(shop: Database) -> None:
    visit_id = at_the_banks_by_columns(shop)
    read_alike(shop, visit_id, BANK_BALANCE, AT_IDLE, AT_IDLE)
    assert (judged(shop, visit_id).step.kind, judged(shop, visit_id).step.why) == ("measure", "lever-shut")
    read(shop, visit_id, BANK_BALANCE, 29.0)
    assert judged(shop, visit_id).due.opening == pytest.approx(10 * THOU)
