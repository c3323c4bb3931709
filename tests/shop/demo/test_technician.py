"""The people of the demonstration, one job at a time: what they record, in which order and when."""

import itertools
import random
import uuid
from datetime import datetime, timedelta

import pytest

from app.shop.demo.engine_model import DemoEngineModel
from app.shop.demo.technician import DemoTechnician
from app.shop.procedure.phases import BANK_BALANCE, COLD_PRESET, FIRST_FIRE, HEAT_SOAKED, LOCK_DOWN
from app.shop.record.rounds import seconds
from app.shop.store.database import Database
from app.sync.engine.layout import Bank, Coupler, Layout
from tests.shop.yard import AT, FOUR, engine

BEGAN = datetime.fromisoformat(AT)
PAIRS = Layout((Bank("A", (1, 2), 1, 1), Bank("B", (3, 4), 3, 3)))


@pytest.fixture
def hands(shop: Database) -> DemoTechnician:
    return DemoTechnician(shop, random.Random(3), BEGAN)


@pytest.fixture
def stand() -> DemoEngineModel:
    """Four plates that stand alike."""
    made = DemoEngineModel(FOUR, random.Random(3))
    made.gaps = dict.fromkeys(FOUR.bores, 4.5)
    return made


def begun(shop: Database, hands: DemoTechnician) -> int:
    """A visit whose engine may be started."""
    visit_id = hands.open(engine(shop, FOUR), "test cell", "1007", "First sync")
    hands.check(visit_id, COLD_PRESET)
    hands.check(visit_id, FIRST_FIRE)
    return visit_id


def warmed_up(shop: Database, hands: DemoTechnician, stand: DemoEngineModel) -> int:
    """A visit whose engine runs hot, nothing adjusted yet."""
    visit_id = begun(shop, hands)
    hands.read_round(visit_id, FIRST_FIRE, stand)
    hands.check(visit_id, HEAT_SOAKED)
    return visit_id


def test_keys_are_the_same_in_every_demonstration_and_time_goes_on(shop: Database) -> None:
    one, other = (DemoTechnician(shop, random.Random(5), BEGAN) for _ in range(2))
    keys = [one.key(), one.key()]
    assert keys == [other.key(), other.key()]
    assert len({*keys}) == 2
    assert all(uuid.UUID(key).version == 4 for key in keys)
    assert [seconds(one.at()) - BEGAN.timestamp(), seconds(one.at(90)) - BEGAN.timestamp()] == [20, 110]


def test_a_visit_goes_by_its_place_and_by_what_its_phases_ask_for(
    shop: Database, hands: DemoTechnician, stand: DemoEngineModel
) -> None:
    visit_id = begun(shop, hands)
    opened = hands.record(visit_id).visit
    checked = {seconds(one.at) for one in hands.record(visit_id).all_checks}
    assert sorted(checked) == [seconds(opened.opened_at) + 90, seconds(opened.opened_at) + 180]
    assert (opened.place, opened.job, opened.why, opened.by) == ("test cell", "1007", "First sync", "KM")
    assert hands.missing(visit_id, COLD_PRESET) == ()
    assert {lack.slug for lack in hands.missing(visit_id, FIRST_FIRE)} <= {"round"}
    hands.read_round(visit_id, FIRST_FIRE, stand)
    (first,) = hands.record(visit_id).rounds
    assert [(one.bore, one.kind) for one in first.readings] == [
        *((bore, "turn") for bore in FOUR.bores),
        (FOUR.bores[0], "closing"),
    ]
    times = [seconds(one.at) for one in first.readings]
    assert [later - earlier for earlier, later in itertools.pairwise(times)] == [18.0] * 4
    hands.read_round(visit_id, FIRST_FIRE, stand, most=2)
    assert len(hands.record(visit_id).rounds[-1].readings) == 2  # a further round, left open


def test_gauges_are_read_every_five_minutes_while_it_warms_and_again_after_a_quarter_of_an_hour(
    shop: Database, hands: DemoTechnician, stand: DemoEngineModel
) -> None:
    visit_id = warmed_up(shop, hands, stand)
    coolant = hands.record(visit_id).series(HEAT_SOAKED.slug, "coolant")
    warming = coolant[:7]
    assert [later[0] - earlier[0] for earlier, later in itertools.pairwise(warming)] == [300.0] * 6
    shown = [figure for _, figure in warming]
    *oil, hot = [figure for _, figure in hands.record(visit_id).series(HEAT_SOAKED.slug, "oil")]
    assert shown[0] < 40
    assert shown[-1] > 80
    assert oil == sorted(oil)
    assert (shown[-1], oil[-1]) == (coolant[-1][1], hot)  # what its phase asks for once it is hot
    assert all(cooler < warmer for cooler, warmer in zip(oil[:5], shown[:5], strict=True))  # oil lags behind
    hands.look(visit_id)
    assert len(hands.record(visit_id).series(HEAT_SOAKED.slug, "coolant")) == len(coolant)
    hands.now += timedelta(minutes=12)  # a quarter of an hour since the look before the last
    hands.look(visit_id)
    assert len(hands.record(visit_id).series(HEAT_SOAKED.slug, "coolant")) == len(coolant)
    hands.now += timedelta(minutes=4)
    hands.look(visit_id)
    assert len(hands.record(visit_id).series(HEAT_SOAKED.slug, "coolant")) == len(coolant) + 1


def test_an_engine_out_by_one_coupler_is_evened_and_what_was_left_is_said(
    shop: Database, hands: DemoTechnician, stand: DemoEngineModel
) -> None:
    visit_id = warmed_up(shop, hands, stand)
    stand.slip(Coupler(3, 4), 2.5)
    hands.even_out(visit_id, stand)
    record = hands.record(visit_id)
    assert record.moves
    assert all(move.advised and move.phase == HEAT_SOAKED.slug for move in record.moves)
    assert abs(stand.gaps[4] - 4.5) < 1.5  # thou; it was 2.5 off
    assert hands.missing(visit_id, HEAT_SOAKED) == () or record.overrides
    hands.balance(visit_id, stand)  # one bank has nothing to balance
    assert not [one for one in hands.record(visit_id).rounds if one.row.phase == BANK_BALANCE.slug]


def test_an_even_engine_is_read_once_more_when_all_is_tight_and_signed_for_five_minutes_after_the_last_entry(
    shop: Database, hands: DemoTechnician, stand: DemoEngineModel
) -> None:
    visit_id = warmed_up(shop, hands, stand)
    hands.even_out(visit_id, stand)
    hands.lock_down(visit_id, stand, "Foreman of the yard")
    record = hands.record(visit_id)
    assert record.sign_off is not None
    assert record.sign_off.name == "Foreman of the yard"
    last = record.rounds[-1]
    assert (last.row.phase, last.closed) == (LOCK_DOWN.slug, True)
    assert seconds(record.sign_off.at) - last.times[-1] == 300


def test_an_engine_that_stays_uneven_is_read_three_times_when_all_is_tight_and_that_is_said(
    shop: Database, hands: DemoTechnician, stand: DemoEngineModel
) -> None:
    visit_id = warmed_up(shop, hands, stand)
    hands.even_out(visit_id, stand)
    stand.slip(Coupler(3, 4), 2.0)
    hands.lock_down(visit_id, stand, "Foreman of the yard")
    record = hands.record(visit_id)
    assert [one.row.phase for one in record.rounds].count(LOCK_DOWN.slug) == 3
    assert [one.phase for one in record.overrides] == [LOCK_DOWN.slug]
    assert record.sign_off is not None


@pytest.mark.parametrize(("late", "left"), [(0.0, []), (8.0, [BANK_BALANCE.slug])])
def test_banks_that_part_are_left_with_a_reason_and_others_with_none(
    shop: Database, hands: DemoTechnician, late: float, left: list[str]
) -> None:
    """8 thou late of 7 and 27 that open the other bank: far more than 4 %."""
    pairs = DemoEngineModel(PAIRS, random.Random(3), link_late=late)
    pairs.gaps = dict.fromkeys(PAIRS.bores, 4.5)
    visit_id = hands.open(engine(shop, PAIRS), "test cell", "1007", "First sync")
    for phase in (COLD_PRESET, FIRST_FIRE):
        hands.check(visit_id, phase)
    hands.read_round(visit_id, FIRST_FIRE, pairs)
    hands.check(visit_id, HEAT_SOAKED)
    hands.even_out(visit_id, pairs)
    hands.balance(visit_id, pairs)
    assert [one.phase for one in hands.record(visit_id).overrides] == left
