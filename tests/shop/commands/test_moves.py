"""Moves as made, and what cannot have been made."""

import pytest

from app.shop.commands import moves
from app.shop.commands.moves import NewMove
from app.shop.errors import ConflictError, RejectedError
from app.shop.procedure.phases import BANK_BALANCE, HEAT_SOAKED
from app.shop.rejections import Rejection
from app.shop.store.database import Database
from app.sync.engine.events import BladeReset, IdleSpeed, Reading, StopTurn
from app.sync.engine.layout import Bank, Layout
from app.sync.engine.units import THOU
from tests.shop.rejections import codes_of, rejects
from tests.shop.yard import AT, heat_soaked, key, read, read_round, visit_record


def blade(near: int, far: int, *thou: float) -> NewMove:
    return NewMove(HEAT_SOAKED.slug, "blade", "", near, far, 0.0, tuple(t * THOU for t in thou), False, "KM")


def stop(bank: str, turns: float) -> NewMove:
    return NewMove(HEAT_SOAKED.slug, "stop", bank, None, None, turns, (), True, "KM")


def test_a_blade_is_the_sum_of_its_leaves(shop: Database) -> None:
    visit_id = heat_soaked(shop)
    read(shop, visit_id, HEAT_SOAKED)
    moves.make(shop, visit_id, key(), blade(2, 3, 3, 1.5), AT)
    made = visit_record(shop, visit_id).moves[0]
    assert made.bank == "A"
    assert made.amount == pytest.approx(4.5 * THOU)
    event = visit_record(shop, visit_id).events()[-1]
    assert isinstance(event, BladeReset)
    assert event.leaves == pytest.approx((3 * THOU, 1.5 * THOU))


def test_moves_stand_among_the_readings_without_asking_a_clock(shop: Database) -> None:
    visit_id = heat_soaked(shop)
    read(shop, visit_id, HEAT_SOAKED)
    moves.make(shop, visit_id, key(), stop("B", -0.125), "2020-01-01T00:00:00.000+00:00")
    read_round(shop, visit_id, HEAT_SOAKED)
    kinds = [type(e) for e in visit_record(shop, visit_id).events() if not isinstance(e, IdleSpeed)]
    assert kinds.index(StopTurn) == 1
    others_and_drift_check = 8
    assert kinds.count(Reading) == 1 + others_and_drift_check


@pytest.mark.parametrize(
    ("bad", "field", "code"),
    [
        (blade(1, 3, 4), "near", Rejection.NO_SUCH_COUPLER),
        (blade(3, 2, 4), "near", Rejection.NO_SUCH_COUPLER),
        (blade(4, 5, 4), "near", Rejection.NO_SUCH_COUPLER),
        (blade(2, 3), "leaves", Rejection.FEELER_COUNT),
        (blade(2, 3, 1, 2, 3), "leaves", Rejection.FEELER_COUNT),
        (blade(2, 3, 80), "leaves", Rejection.FEELERS_OUT_OF_RANGE),
        (blade(2, 3, float("nan")), "leaves", Rejection.FEELERS_OUT_OF_RANGE),
        (NewMove(HEAT_SOAKED.slug, "bypass", "", 2, None, 0.5, (), True, "KM"), "near", Rejection.NO_SUCH_BYPASS_SCREW),
        (stop("C", 0.1), "bank", Rejection.NO_SUCH_BANK),
        (stop("A", 0.0), "amount", Rejection.TURNS_OUT_OF_RANGE),
        (stop("A", 40.0), "amount", Rejection.TURNS_OUT_OF_RANGE),
        (NewMove(HEAT_SOAKED.slug, "link", "A", None, None, 1.0, (), True, "KM"), "kind", Rejection.MOVE_NOT_IN_PHASE),
        (
            NewMove(HEAT_SOAKED.slug, "hammer", "A", None, None, 1.0, (), True, "KM"),
            "kind",
            Rejection.MOVE_NOT_IN_PHASE,
        ),
    ],
)
def test_what_cannot_have_been_made_is_refused(shop: Database, bad: NewMove, field: str, code: Rejection) -> None:
    visit_id = heat_soaked(shop)
    with pytest.raises(RejectedError) as refusal:
        moves.make(shop, visit_id, key(), bad, AT)
    assert codes_of(refusal) == {field: code}
    assert visit_record(shop, visit_id).all_moves == ()


def test_a_coupler_is_set_by_what_it_has(shop: Database) -> None:
    """The coupler between bores 1 and 2 has a screw, the one between 2 and 3 is set on a feeler."""
    mixed = Layout((Bank("A", (1, 2, 3, 4), 1, 1, ("screw-in", "blade", "blade")),))
    visit_id = heat_soaked(shop, mixed)
    with rejects(Rejection.COUPLER_HAS_SCREW):
        moves.make(shop, visit_id, key(), blade(1, 2, 4), AT)
    turned = NewMove(HEAT_SOAKED.slug, "screw", "", 2, 3, 0.25, (), False, "KM")
    with rejects(Rejection.COUPLER_HAS_NO_SCREW):
        moves.make(shop, visit_id, key(), turned, AT)
    assert visit_record(shop, visit_id).all_moves == ()


def test_a_link_is_turned_in_the_bank_balance(shop: Database) -> None:
    visit_id = heat_soaked(shop)
    read_round(shop, visit_id, HEAT_SOAKED)
    sent = key()
    new = NewMove(BANK_BALANCE.slug, "link", "B", None, None, -1.5, (), False, "KM")
    first = moves.make(shop, visit_id, sent, new, AT)
    assert moves.make(shop, visit_id, sent, new, AT) == first
    assert len(visit_record(shop, visit_id).moves) == 1


def test_a_move_told_by_somebody_who_did_not_know_of_another_is_asked_about(shop: Database) -> None:
    visit_id = heat_soaked(shop)
    read(shop, visit_id, HEAT_SOAKED)
    sent = key()
    first = moves.make(shop, visit_id, sent, stop("A", 0.125), AT, seen=0)
    assert moves.make(shop, visit_id, sent, stop("A", 0.125), AT, seen=0) == first
    late = key()
    with rejects(Rejection.ADJUSTED_BY_ANOTHER_TABLET, kind=ConflictError):
        moves.make(shop, visit_id, late, stop("A", 0.125), AT, seen=0)
    assert len(visit_record(shop, visit_id).moves) == 1
    moves.make(shop, visit_id, late, stop("A", 0.125), AT, seen=first)
    assert len(visit_record(shop, visit_id).moves) == 2


@pytest.mark.parametrize(("typed", "kept"), [("JT", "JT"), (" JT ", "JT"), (" ", "KM")])
def test_a_move_is_of_who_made_it_or_else_of_who_opened_the_visit(shop: Database, typed: str, kept: str) -> None:
    visit_id = heat_soaked(shop)
    read(shop, visit_id, HEAT_SOAKED)
    new = NewMove(HEAT_SOAKED.slug, "stop", "A", None, None, 0.125, (), False, typed)
    moves.make(shop, visit_id, key(), new, AT)
    assert [one.by for one in visit_record(shop, visit_id).all_moves] == [kept]
