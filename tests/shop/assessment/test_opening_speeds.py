"""The engine speed of an opening: recorded with its round, a sign of whether the lever opened, and never above the rev
limit, without which nothing is read off idle."""

from dataclasses import replace

import pytest

from app.shop.assessment.assessment import assess
from app.shop.assessment.progress import items_of, status_of
from app.shop.commands import checks, moves, opening_speeds, readings
from app.shop.commands.moves import NewMove
from app.shop.commands.opening_speeds import NewSpeed
from app.shop.commands.readings import NewReading
from app.shop.errors import ConflictError, RejectedError
from app.shop.procedure.opening_speed import SpeedDue
from app.shop.procedure.phases import BANK_BALANCE, HEAT_SOAKED
from app.shop.procedure.read_order import next_reading
from app.shop.procedure.requirements import Requirement, Waiting
from app.shop.reasons import Reason, because
from app.shop.rejections import Rejection
from app.shop.store.database import Database
from app.shop.store.tables import CheckRow
from app.sync.engine.units import REV_PER_MIN, THOU
from tests.shop.bank_balance import at_the_banks
from tests.shop.rejections import rejects
from tests.shop.yard import AT, V8, key, read, read_round, run, visit_record


def lacks(shop: Database, visit_id: int) -> list[Reason]:
    return [m.reason for m in status_of(visit_record(shop, visit_id), BANK_BALANCE).missing]


def read_without_speed(shop: Database, visit_id: int, value: float) -> None:
    """Read the round that is due at an opening, every bore alike."""
    number = next_reading(visit_record(shop, visit_id), BANK_BALANCE).round_number
    for kind, bore in (*(("turn", bore) for bore in V8.bores), ("closing", 1)):
        readings.add(shop, visit_id, key(), NewReading(BANK_BALANCE.slug, number, bore, kind, value, "KM"), AT)


FIRST = NewReading(BANK_BALANCE.slug, 3, 1, "turn", 8.0, "KM")
"""The first reading off idle, in the third round of the visit."""


def speeds(shop: Database, visit_id: int) -> list[tuple[float, int | None]]:
    """Opening [thou] and engine speed [rpm] of the rounds off idle."""
    record = visit_record(shop, visit_id)
    said = [(one, record.speed_in(one)) for one in record.rounds if one.row.opening]
    return [(round(one.row.opening / THOU), round(kept.speed / REV_PER_MIN) if kept else None) for one, kept in said]


def test_the_engine_speed_of_an_opening_begins_its_round_and_the_newest_counts(shop: Database) -> None:
    visit_id = at_the_banks(shop)
    due = assess(visit_record(shop, visit_id)).of(BANK_BALANCE).speed
    assert due == SpeedDue(3, 10 * THOU, from_above=False, first=True)
    sent, new = key(), NewSpeed(BANK_BALANCE.slug, 3, 1100.0, "KM")
    first, again = (opening_speeds.record(shop, visit_id, sent, new, AT) for _ in range(2))
    assert first == again
    assert speeds(shop, visit_id) == [(10, 1100)]
    opening_speeds.record(shop, visit_id, key(), replace(new, speed=1010.0), AT)
    assert speeds(shop, visit_id) == [(10, 1010)]
    assert assess(visit_record(shop, visit_id)).of(BANK_BALANCE).speed is None
    with rejects(Rejection.KEY_REUSED, kind=ConflictError):
        opening_speeds.record(shop, visit_id, sent, replace(new, speed=1000.0), AT)
    read(shop, visit_id, BANK_BALANCE, 8.0)
    assert [one.row.number for one in visit_record(shop, visit_id).rounds] == [1, 2, 3]


def test_an_opening_read_without_its_engine_speed_is_missing_until_it_is_told(shop: Database) -> None:
    visit_id = at_the_banks(shop)
    read_without_speed(shop, visit_id, 8.0)
    read_round(shop, visit_id, BANK_BALANCE)
    assert speeds(shop, visit_id) == [(10, None), (30, 1303)]
    assert lacks(shop, visit_id) == [because(Requirement.OPENING_SPEED)]
    due = assess(visit_record(shop, visit_id)).of(BANK_BALANCE).speed
    assert due == SpeedDue(3, 10 * THOU, from_above=False, first=False)
    opening_speeds.record(shop, visit_id, key(), NewSpeed(BANK_BALANCE.slug, 3, 1000.0, "KM"), AT)
    assert lacks(shop, visit_id) == []


def test_a_speed_from_before_a_link_rod_was_turned_says_nothing_of_the_round(shop: Database) -> None:
    visit_id = at_the_banks(shop)
    run(shop, visit_id, BANK_BALANCE, 1000.0)
    turned = NewMove(BANK_BALANCE.slug, "link", "B", None, None, 1.0, (), True, "KM")
    moves.make(shop, visit_id, key(), turned, AT)
    assert speeds(shop, visit_id) == [(10, None)]
    due = assess(visit_record(shop, visit_id)).of(BANK_BALANCE).speed
    assert due is not None
    assert (due.round_number, due.first) == (3, True)


@pytest.mark.parametrize(
    ("slug", "number", "speed", "why"),
    [
        (BANK_BALANCE.slug, 3, 200.0, Rejection.OUT_OF_RANGE),
        (BANK_BALANCE.slug, 3, float("nan"), Rejection.OUT_OF_RANGE),
        (BANK_BALANCE.slug, 3, None, Rejection.OUT_OF_RANGE),
        (BANK_BALANCE.slug, 7, 1000.0, Rejection.ANOTHER_ROUND),
        (BANK_BALANCE.slug, 2, 1000.0, Rejection.BANK_BALANCE_ONLY),
        (HEAT_SOAKED.slug, 2, 1000.0, Rejection.BANK_BALANCE_ONLY),
    ],
)
def test_a_speed_belongs_to_an_opening(
    shop: Database, slug: str, number: int, speed: float | None, why: Rejection
) -> None:
    visit_id = at_the_banks(shop)
    with rejects(why, kind=ConflictError if why is Rejection.ANOTHER_ROUND else RejectedError):
        opening_speeds.record(shop, visit_id, key(), NewSpeed(slug, number, speed, "KM"), AT)
    assert len(visit_record(shop, visit_id).rounds) == 2


def test_without_a_rev_limit_nothing_is_read_off_idle_and_no_waiver_helps(shop: Database) -> None:
    visit_id = at_the_banks(shop)
    checks.take_back(shop, visit_id, key(), BANK_BALANCE.slug, "rev-limit", "KM", AT)
    item = because(Requirement.ITEM, phase=BANK_BALANCE.slug, item="rev-limit")
    wait = because(Waiting.CHECK_FIRST, item=item)
    for waived in (False, True):
        if waived:  # as far as the engine that leaves is concerned: nothing was opened
            checks.waive(shop, visit_id, key(), BANK_BALANCE.slug, "No time", "KM", AT)
        with pytest.raises(RejectedError) as refusal:
            readings.add(shop, visit_id, key(), FIRST, AT)
        assert refusal.value.problems == {"value": wait}
        with pytest.raises(RejectedError) as refusal:
            opening_speeds.record(shop, visit_id, key(), NewSpeed(BANK_BALANCE.slug, 3, 1000.0, "KM"), AT)
        assert refusal.value.problems == {"speed": wait}


def test_once_a_bank_was_read_its_rev_limit_is_not_waived(shop: Database) -> None:
    visit_id = at_the_banks(shop)
    readings.add(shop, visit_id, key(), FIRST, AT)
    checks.take_back(shop, visit_id, key(), BANK_BALANCE.slug, "rev-limit", "KM", AT)
    with rejects(Waiting.REQUIRED):
        checks.waive(shop, visit_id, key(), BANK_BALANCE.slug, "No time", "KM", AT)


def test_a_speed_above_the_rev_limit_stops_the_engine_until_a_lower_one_was_read(shop: Database) -> None:
    visit_id = at_the_banks(shop)
    checks.record(shop, visit_id, key(), BANK_BALANCE.slug, {"rev-limit": 2000.0}, "KM", AT)
    run(shop, visit_id, BANK_BALANCE, 2000.0)  # at the limit, not above it
    assert status_of(visit_record(shop, visit_id), BANK_BALANCE).stops == ()
    new = NewSpeed(BANK_BALANCE.slug, 3, 2001.0, "KM")
    opening_speeds.record(shop, visit_id, key(), new, AT)
    stop = because(Requirement.OVER_REV_LIMIT, speed=2001, limit=2000)
    assert status_of(visit_record(shop, visit_id), BANK_BALANCE).stops == (stop,)
    judged = assess(visit_record(shop, visit_id)).of(BANK_BALANCE)
    assert (judged.step.kind, judged.step.why, judged.waits) == ("cannot", "stopped", stop)
    with rejects(Requirement.OVER_REV_LIMIT):
        readings.add(shop, visit_id, key(), FIRST, AT)
    with rejects(Waiting.REQUIRED):
        checks.waive(shop, visit_id, key(), BANK_BALANCE.slug, "No time", "KM", AT)
    opening_speeds.record(shop, visit_id, key(), replace(new, speed=1200.0), AT)
    readings.add(shop, visit_id, key(), FIRST, AT)


def at_speed(shop: Database, speed: float | None, value: float) -> list[Reason]:
    """What is missing after the first opening was read with that engine speed, every bore alike."""
    visit_id = at_the_banks(shop)
    if speed is not None:
        run(shop, visit_id, BANK_BALANCE, speed)
    read_without_speed(shop, visit_id, value)
    return lacks(shop, visit_id)


@pytest.mark.parametrize(
    ("speed", "value", "shut"),
    [(None, 7.0, False), (1000.0, 7.0, False), (855.0, 7.0, True), (855.0, 8.0, False), (1000.0, 6.5, True)],
)
def test_a_speed_as_at_idle_is_one_sign_of_a_lever_that_was_not_opened(
    shop: Database, speed: float | None, value: float, shut: bool
) -> None:
    """6.5 at idle, 7.0 is a step or two above it: the speed decides; 8.0 is open and 6.5 shut, whatever it says."""
    assert (because(Requirement.LEVER_SHUT) in at_speed(shop, speed, value)) is shut


def test_the_items_that_held_the_speeds_before_are_shown_where_they_were_recorded_and_stand_for_them(
    shop: Database,
) -> None:
    visit_id = at_the_banks(shop)
    items = [item.slug for item in items_of(visit_record(shop, visit_id), BANK_BALANCE)]
    assert not {"first-opening-speed", "next-opening-speed"} & set(items)
    with shop.writing() as session:
        row = CheckRow(
            key=key(), payload="", visit_id=visit_id, phase=BANK_BALANCE.slug, item="first-opening-speed",
            number=1350.0, after_move=0, by="KM", at=AT,
        )  # fmt: skip
        session.add(row)
    items = [item.slug for item in items_of(visit_record(shop, visit_id), BANK_BALANCE)]
    assert "first-opening-speed" in items
    for value in (8.0, 15.0):
        read_without_speed(shop, visit_id, value)
    assert lacks(shop, visit_id) == []
