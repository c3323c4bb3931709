"""The bank balance in a visit: idle read again after a link was turned, and a complaint that leads there at once."""

from dataclasses import replace

import pytest
from sqlalchemy.exc import IntegrityError

from app.shop.assessment.assessment import PhaseAssessment, assess
from app.shop.assessment.progress import status_of
from app.shop.assessment.verdicts import balance_of
from app.shop.commands import checks, moves, readings, settings_versions, visits
from app.shop.commands.moves import NewMove
from app.shop.commands.readings import NewReading
from app.shop.commands.visits import NewVisit
from app.shop.errors import ConflictError, RejectedError
from app.shop.procedure.phases import BANK_BALANCE, COLD_PRESET, FIRST_FIRE, HEAT_SOAKED
from app.shop.procedure.read_order import next_reading
from app.shop.procedure.requirements import Requirement
from app.shop.reasons import Reason, because
from app.shop.record.settings import DEFAULTS
from app.shop.rejections import Rejection
from app.shop.store.database import Database
from app.sync.banks.bank_means import BankDifference
from app.sync.banks.banks import BankAssessment, Extra
from app.sync.banks.link_hypotheses import Cause
from app.sync.engine.units import THOU
from tests.shop.bank_balance import at_the_banks, late, loose, read_with_one_bank_early
from tests.shop.rejections import rejects
from tests.shop.yard import (
    AT,
    FOUR,
    V8,
    check_all,
    engine,
    heat_soaked,
    key,
    read,
    read_asked,
    read_round,
    visit_record,
)


def read_openings(shop: Database, visit_id: int, second: float = 1.0) -> list[float]:
    """Read every round that is asked for, bank B ``second`` times bank A at idle, both alike off idle."""
    read_at = []
    for _ in range(4):
        now = next_reading(visit_record(shop, visit_id), BANK_BALANCE)
        if now.bore is None:
            break
        read_at.append(now.opening)
        while (
            now := next_reading(visit_record(shop, visit_id), BANK_BALANCE)
        ).bore is not None and now.opening == read_at[-1]:
            factor = second if now.bore > 4 and now.opening == 0 else 1.0
            read(shop, visit_id, BANK_BALANCE, round(6.5 * factor * (1 + 800 * now.opening) * 4) / 4)
    return read_at


def opening_for(judged: PhaseAssessment) -> tuple[float, bool]:
    """What holds the central lever for the next step [m], and whether it is approached from open."""
    return judged.opening, judged.from_above


def lacks(shop: Database, visit_id: int) -> list[Reason]:
    return [m.reason for m in status_of(visit_record(shop, visit_id), BANK_BALANCE).missing]


def turn_link(shop: Database, visit_id: int) -> None:
    moves.make(shop, visit_id, key(), NewMove(BANK_BALANCE.slug, "link", "B", None, None, 1.0, (), True, "KM"), AT)


def test_without_a_link_turned_idle_is_not_read_again(shop: Database) -> None:
    visit_id = at_the_banks(shop)
    assert [round(1e6 * o) for o in read_openings(shop, visit_id)] == [254, 762]
    assert lacks(shop, visit_id) == []


def test_after_a_link_was_turned_idle_comes_last(shop: Database) -> None:
    visit_id = at_the_banks(shop)
    read_openings(shop, visit_id)
    turn_link(shop, visit_id)
    assert lacks(shop, visit_id) == [because(Requirement.OPENING_ROUNDS)]
    assert [round(1e6 * o) for o in read_openings(shop, visit_id)] == [254, 762, 0]
    assert lacks(shop, visit_id) == []


def test_a_link_too_short_is_seen_at_idle(shop: Database) -> None:
    visit_id = at_the_banks(shop)
    turn_link(shop, visit_id)
    read_openings(shop, visit_id, second=1.12)
    assert lacks(shop, visit_id) == [because(Requirement.BANK_ON_STOP, bank="B")]


@pytest.mark.parametrize(
    ("second", "told"),
    [pytest.param(6.75 / 6.5, False, id="no more than chance"), pytest.param(7.0 / 6.5, True, id="more than chance")],
)
def test_what_the_meter_repeats_to_is_no_bank_held_off(shop: Database, second: float, told: bool) -> None:
    """Four bores read once, before and after, of a meter that repeats to 2 %: the banks' ratio is known to 2 %."""
    settings_versions.change(shop, key(), 0, replace(DEFAULTS, idle_bank_window=0.01), "Tried", "KM", AT)
    visit_id = at_the_banks(shop)
    turn_link(shop, visit_id)
    read_openings(shop, visit_id, second)
    assert (lacks(shop, visit_id) == [because(Requirement.BANK_ON_STOP, bank="B")]) is told


def complaint(shop: Database, why: str, layout: object = V8) -> int:
    assert layout in (V8, FOUR)
    engine_id = engine(shop, V8 if layout is V8 else FOUR)
    visit_id = visits.open_visit(shop, engine_id, key(), NewVisit("vehicle", "", why, "KM", 1), AT)
    check_all(shop, visit_id, COLD_PRESET)
    check_all(shop, visit_id, FIRST_FIRE)
    read_round(shop, visit_id, FIRST_FIRE)
    check_all(shop, visit_id, HEAT_SOAKED)
    return visit_id


def read_uneven(shop: Database, visit_id: int) -> None:
    read_asked(shop, visit_id, HEAT_SOAKED, lambda bore: 8.0 if bore == 3 else 6.5)


def test_popping_leads_to_the_banks_once_as_found_is_read(shop: Database) -> None:
    visit_id = complaint(shop, "Pops at light throttle")
    with pytest.raises(RejectedError):
        check_all(shop, visit_id, BANK_BALANCE)  # as found comes before anything else
    read_uneven(shop, visit_id)
    standing = assess(visit_record(shop, visit_id)).goes_on
    assert standing is not None
    assert standing.phase is BANK_BALANCE
    check_all(shop, visit_id, BANK_BALANCE)
    read_openings(shop, visit_id)
    standing = assess(visit_record(shop, visit_id)).goes_on
    assert standing is not None
    assert standing.phase is HEAT_SOAKED  # and then it is evened after all


@pytest.mark.parametrize(("why", "layout"), [("Rough when hot", V8), ("Popping", FOUR)])
def test_other_complaints_keep_the_order(shop: Database, why: str, layout: object) -> None:
    visit_id = complaint(shop, why, layout)
    read_uneven(shop, visit_id)
    standing = assess(visit_record(shop, visit_id)).goes_on
    assert standing is not None
    assert standing.phase is HEAT_SOAKED
    with pytest.raises(RejectedError):
        checks.record(shop, visit_id, key(), BANK_BALANCE.slug, {"free-play": None}, "KM", AT)


def test_turnbuckles_take_half_the_flats(shop: Database) -> None:
    """A rod with a left-hand and a right-hand thread changes length twice as fast (lever arms and thread, by hand)."""
    visit_id = at_the_banks(shop)
    read_with_one_bank_early(shop, visit_id)
    single = balance_of(visit_record(shop, visit_id))
    checks.record(shop, visit_id, key(), BANK_BALANCE.slug, {"both-hands": None}, "KM", AT)
    double = balance_of(visit_record(shop, visit_id))
    assert single is not None
    assert double is not None
    assert single.flats < 0
    assert double.flats == pytest.approx(single.flats / 2, abs=0.25)


def test_gauged_shafts_settle_whether_the_levers_are_alike(shop: Database) -> None:
    visit_id = at_the_banks(shop)
    read_with_one_bank_early(shop, visit_id)
    checks.record(shop, visit_id, key(), BANK_BALANCE.slug, {"gauged-first": 80.0}, "KM", AT)
    one_only = balance_of(visit_record(shop, visit_id))
    checks.record(shop, visit_id, key(), BANK_BALANCE.slug, {"gauged-second": 84.0}, "KM", AT)
    both = balance_of(visit_record(shop, visit_id))
    assert one_only is not None
    assert both is not None
    assert abs(one_only.ratio) < 0.04
    assert both.ratio == pytest.approx(84 / 80 - 1)


@pytest.mark.parametrize(("apart", "cause", "kind"), [(0.0, "slack", "cannot"), (2.0, "length", "link")])
def test_the_opening_that_is_asked_for_from_above_tells_lost_motion_from_a_wrong_length(
    shop: Database, apart: float, cause: str, kind: str
) -> None:
    visit_id = loose(shop)
    step = assess(visit_record(shop, visit_id)).of(BANK_BALANCE).step
    assert (step.kind, step.why) == ("measure", "both_ways")
    assert opening_for(assess(visit_record(shop, visit_id)).of(BANK_BALANCE)) == (10 * THOU, True)
    asked = key()
    first, again = (
        readings.begin_round(shop, visit_id, asked, BANK_BALANCE.slug, AT, 10 * THOU, from_above=True) for _ in range(2)
    )
    assert first == again
    now = next_reading(visit_record(shop, visit_id), BANK_BALANCE)
    assert (now.opening, now.from_above, now.bore) == (10 * THOU, True, 1)
    for bore in (*V8.bores, 1):
        read(shop, visit_id, BANK_BALANCE, 8.0 + (apart if bore > 4 else 0.0), bore)
    found = balance_of(visit_record(shop, visit_id))
    assert found is not None
    assert found.cause == cause
    step = assess(visit_record(shop, visit_id)).of(BANK_BALANCE).step
    assert (step.kind, bool(step.flats)) == (kind, kind == "link")
    assert next_reading(visit_record(shop, visit_id), BANK_BALANCE).bore is None


def test_a_bank_that_is_still_on_its_stop_is_read_at_a_wider_opening_in_the_same_visit(shop: Database) -> None:
    visit_id = late(shop)
    step = assess(visit_record(shop, visit_id)).of(BANK_BALANCE).step
    assert (step.kind, step.why) == ("measure", "wider_opening")
    wide, above = opening_for(assess(visit_record(shop, visit_id)).of(BANK_BALANCE))
    assert wide > 30 * THOU
    assert not above
    for wrong in (1 * THOU, 200 * THOU):
        with rejects(Rejection.OUT_OF_RANGE):
            readings.begin_round(shop, visit_id, key(), BANK_BALANCE.slug, AT, wrong)
    readings.begin_round(shop, visit_id, key(), BANK_BALANCE.slug, AT, wide)
    for bore in (*V8.bores, 1):
        read(shop, visit_id, BANK_BALANCE, 18.0 if bore > 4 else 27.0, bore)
    found = balance_of(visit_record(shop, visit_id))
    assert found is not None
    assert wide in {one.lever_travel for one in found.differences}
    assert found.extra != "wider_opening"


def turn(above: bool | None, bore: int = 1) -> NewReading:
    """A bore's turn in the first round off idle, the third of the visit."""
    return NewReading(BANK_BALANCE.slug, 3, bore, "turn", 8.0, "KM", from_above=above)


def test_the_first_reading_begins_a_round_from_above_and_says_the_same_when_sent_again(shop: Database) -> None:
    visit_id = at_the_banks(shop)
    new = turn(True)
    sent = key()
    row_id = readings.add(shop, visit_id, sent, new, AT)
    assert readings.add(shop, visit_id, sent, new, AT) == row_id
    one = visit_record(shop, visit_id).rounds[-1]
    assert (one.row.from_above, len(one.entered)) == (1, 1)
    with rejects(Rejection.KEY_REUSED, kind=ConflictError):
        readings.add(shop, visit_id, sent, turn(False), AT)


@pytest.mark.parametrize("above", [True, False])
def test_one_round_is_not_read_both_ways(shop: Database, above: bool) -> None:
    visit_id = at_the_banks(shop)
    readings.add(shop, visit_id, key(), turn(above), AT)
    with rejects(Rejection.APPROACH_DIFFERS, kind=ConflictError):
        readings.add(shop, visit_id, key(), turn(not above, 2), AT)
    readings.add(shop, visit_id, key(), turn(None, 2), AT)  # who does not say goes with the round
    assert [bool(one.row.from_above) for one in visit_record(shop, visit_id).rounds][2:] == [above]


def test_what_was_read_from_above_only_is_still_read_the_usual_way(shop: Database) -> None:
    visit_id = at_the_banks(shop)
    for bore in V8.bores:
        readings.add(shop, visit_id, key(), turn(True, bore), AT)
    read(shop, visit_id, BANK_BALANCE, 8.0)
    now = next_reading(visit_record(shop, visit_id), BANK_BALANCE)
    assert (now.opening, now.from_above, now.current) == (10 * THOU, False, None)


def test_idle_is_never_reached_from_above(shop: Database) -> None:
    visit_id = heat_soaked(shop)
    new = NewReading(HEAT_SOAKED.slug, 2, 1, "turn", 6.5, "KM", from_above=True)
    with rejects(Rejection.BANK_BALANCE_ONLY):
        readings.add(shop, visit_id, key(), new, AT)
    read_round(shop, visit_id, HEAT_SOAKED)
    for phase in (HEAT_SOAKED, FIRST_FIRE):
        with rejects(Rejection.BANK_BALANCE_ONLY):
            readings.begin_round(shop, visit_id, key(), phase.slug, AT, 10 * THOU)
    rows = (
        "INSERT INTO round (id, key, payload, visit_id, phase, number, opening, begun_at, from_above) "
        "SELECT 99, 'k', payload, visit_id, phase, 99, {}, begun_at, {} FROM round LIMIT 1"
    )
    with shop.writing() as session:
        for opening, above in ((0.0, 1), (0.001, 0)):
            with pytest.raises(IntegrityError), session.begin_nested():
                session.connection().exec_driver_sql(rows.format(opening, above))
        session.connection().exec_driver_sql(rows.format(0.001, 1))


def test_a_lever_that_was_not_opened_is_asked_for_again(shop: Database) -> None:
    """Idle readings typed at an opening say nothing of how the banks open, so the phase goes no further by them."""
    visit_id = at_the_banks(shop)
    for bore in (*V8.bores, 1):
        read(shop, visit_id, BANK_BALANCE, 6.75 if bore == 3 else 6.5, bore)
    judged = assess(visit_record(shop, visit_id)).of(BANK_BALANCE)
    assert (judged.due.opening, judged.due.current, judged.together) == (10 * THOU, None, False)
    assert (judged.step.kind, judged.step.why) == ("measure", "lever-shut")
    assert lacks(shop, visit_id) == [because(Requirement.LEVER_SHUT)]
    for bore in (*V8.bores, 1):
        read(shop, visit_id, BANK_BALANCE, 8.0, bore)
    now = next_reading(visit_record(shop, visit_id), BANK_BALANCE)
    assert now.opening == pytest.approx(30 * THOU)
    for bore in (*V8.bores, 1):
        read(shop, visit_id, BANK_BALANCE, 15.0, bore)
    assert lacks(shop, visit_id) == []


def test_reading_again_names_every_opening_that_was_read() -> None:
    read = tuple(BankDifference(n * THOU, 9.0, 9.5, 0.1, (9.0, 9.5), 0.01) for n in (25.0, 0.0, 10.0))
    again = BankAssessment(Cause.UNKNOWN, differences=read, extra=Extra.AGAIN, extra_travel=25 * THOU)
    assert again.to_read == (10 * THOU, 25 * THOU)
    assert BankAssessment(Cause.UNKNOWN, differences=read, extra_travel=10 * THOU).to_read == (10 * THOU,)
    assert BankAssessment(Cause.UNKNOWN, differences=read).to_read == ()
