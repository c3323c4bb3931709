"""Readings are kept once, in order, and never lost to a correction."""

from collections.abc import Sequence
from dataclasses import replace

import pytest
from sqlalchemy.exc import DatabaseError
from sqlmodel import Session, text

from app.shop.assessment.verdicts import accepted_round
from app.shop.commands import meters, moves, readings, visits
from app.shop.commands.meters import NewMeter
from app.shop.commands.moves import NewMove
from app.shop.commands.readings import NewReading
from app.shop.commands.visits import NewVisit
from app.shop.errors import ConflictError, RejectedError
from app.shop.procedure.phases import BANK_BALANCE, COLD_PRESET, FIRST_FIRE, HEAT_SOAKED
from app.shop.procedure.read_order import next_reading
from app.shop.record import loader
from app.shop.record.visit_record import VisitRecord
from app.shop.rejections import Rejection
from app.shop.store.database import Database, FileDatabase
from app.shop.store.lru import LruCache
from app.shop.store.tables import EVIDENCE
from tests.shop.bank_balance import at_the_banks
from tests.shop.rejections import codes_of, rejects
from tests.shop.yard import AT, V8, check_all, engine, heat_soaked, key, read, read_round, visit_record


def new(bore: int, value: float | None = 6.5, kind: str = "turn", number: int = 2, **more: object) -> NewReading:
    return NewReading(HEAT_SOAKED.slug, number, bore, kind, value, "KM", **more)  # type: ignore[arg-type]


def entered(shop: Database, visit_id: int) -> int:
    return sum(len(r.entered) for r in visit_record(shop, visit_id).rounds if r.row.phase == HEAT_SOAKED.slug)


def test_the_round_walks_front_to_rear_and_ends_where_it_began(shop: Database) -> None:
    visit_id = heat_soaked(shop)
    order = []
    while (now := next_reading(visit_record(shop, visit_id), HEAT_SOAKED)).bore is not None:
        order.append((now.bore, now.kind))
        read(shop, visit_id, HEAT_SOAKED)
    assert order == [*((bore, "turn") for bore in range(1, 9)), (1, "closing")]
    assert visit_record(shop, visit_id).rounds[-1].closed


def test_a_reading_sent_twice_is_stored_once(shop: Database) -> None:
    visit_id = heat_soaked(shop)
    sent = key()
    first = readings.add(shop, visit_id, sent, new(1), AT)
    assert readings.add(shop, visit_id, sent, new(1), AT) == first
    assert entered(shop, visit_id) == 1
    with rejects(Rejection.KEY_REUSED, kind=ConflictError):
        readings.add(shop, visit_id, sent, new(1, 7.0), AT)
    assert entered(shop, visit_id) == 1


@pytest.mark.parametrize(
    ("bad", "code"),
    [
        (new(1, -3), Rejection.OUT_OF_RANGE),
        (new(1, 4000), Rejection.OUT_OF_RANGE),
        (new(1, float("nan")), Rejection.OUT_OF_RANGE),
        (new(1, float("inf")), Rejection.OUT_OF_RANGE),
        (new(9), Rejection.NO_SUCH_BORE),
        (new(0), Rejection.NO_SUCH_BORE),
        (new(1, kind="guess"), Rejection.NOT_ONE_OF),
        (new(1, None, "skip"), Rejection.REASON_MISSING),
    ],
)
def test_what_cannot_be_is_refused_and_nothing_changes(shop: Database, bad: NewReading, code: Rejection) -> None:
    visit_id = heat_soaked(shop)
    with pytest.raises(RejectedError) as refusal:
        readings.add(shop, visit_id, key(), bad, AT)
    assert codes_of(refusal) == {"value": code}
    assert entered(shop, visit_id) == 0
    assert len(visit_record(shop, visit_id).rounds) == 1


def test_a_correction_supersedes_and_both_stay(shop: Database) -> None:
    visit_id = heat_soaked(shop)
    first = readings.add(shop, visit_id, key(), new(1, 65.0 / 2), AT)
    readings.add(shop, visit_id, key(), new(1, 6.5, supersedes=first), AT)
    one = visit_record(shop, visit_id).rounds[-1]
    assert one.latest[1].value == 6.5
    assert len(one.entered) == 2
    with rejects(Rejection.CHANGED_BY_ANOTHER_TABLET, kind=ConflictError):
        readings.add(shop, visit_id, key(), new(1, 6.75, supersedes=first), AT)


def in_question(shop: Database, visit_id: int) -> list[tuple[float | None, float | None]]:
    """The values of the pairs in question in the newest round."""
    return [(older.value, newer.value) for older, newer in visit_record(shop, visit_id).rounds[-1].in_question]


def twice(shop: Database, visit_id: int) -> tuple[int, int]:
    """Bore 1 from two tablets that did not see each other's value."""
    return readings.add(shop, visit_id, key(), new(1, 6.5), AT), readings.add(shop, visit_id, key(), new(1, 7.0), AT)


@pytest.mark.parametrize(("counts", "values"), [("older", [6.5]), ("newer", [7.0]), ("both", [6.5, 7.0])])
def test_the_same_bore_from_two_tablets_stands_twice_until_a_person_says_which_counts(
    shop: Database, counts: str, values: list[float]
) -> None:
    visit_id = heat_soaked(shop)
    pair = twice(shop, visit_id)
    assert in_question(shop, visit_id) == [(6.5, 7.0)]
    sent = key()
    first = readings.settle(shop, visit_id, sent, HEAT_SOAKED.slug, pair, counts, "KM", AT)
    assert readings.settle(shop, visit_id, sent, HEAT_SOAKED.slug, pair, counts, "KM", AT) == first
    one = visit_record(shop, visit_id).rounds[-1]
    assert (one.in_question, one.skipped) == ((), {})
    assert [r.value for r in one.readings] == values
    assert len(one.entered) == 3
    with rejects(Rejection.CHOICE_CLOSED, kind=ConflictError):
        readings.settle(shop, visit_id, key(), HEAT_SOAKED.slug, pair, counts, "KM", AT)


def test_a_round_in_question_proves_nothing_until_it_is_settled(shop: Database) -> None:
    visit_id = heat_soaked(shop)
    pair = twice(shop, visit_id)
    read_round(shop, visit_id, HEAT_SOAKED)
    assert accepted_round(visit_record(shop, visit_id), HEAT_SOAKED) is None
    readings.settle(shop, visit_id, key(), HEAT_SOAKED.slug, pair, "older", "KM", AT)
    assert accepted_round(visit_record(shop, visit_id), HEAT_SOAKED) is not None


def test_a_second_closing_reading_and_a_late_turn_stand_in_question_too(shop: Database) -> None:
    visit_id = heat_soaked(shop)
    read_round(shop, visit_id, HEAT_SOAKED, 6.5)
    readings.add(shop, visit_id, key(), new(1, 7.0, "closing"), AT)
    readings.add(shop, visit_id, key(), new(3, 7.25), AT)
    assert in_question(shop, visit_id) == [(6.5, 7.0), (6.5, 7.25)]
    assert visit_record(shop, visit_id).rounds[-1].closed


def test_a_value_of_before_a_move_does_not_bring_its_round_back(shop: Database) -> None:
    visit_id = heat_soaked(shop)
    first = readings.add(shop, visit_id, key(), new(1), AT)
    moves.make(shop, visit_id, key(), NewMove(HEAT_SOAKED.slug, "stop", "A", None, None, 0.125, (), True, "KM"), AT)
    for late in (new(2), new(1, 7.0), new(1, kind="again")):
        with rejects(Rejection.ADJUSTED_SINCE, kind=ConflictError):
            readings.add(shop, visit_id, key(), late, AT)
    readings.add(shop, visit_id, key(), new(1, 7.0, supersedes=first), AT)
    assert next_reading(visit_record(shop, visit_id), HEAT_SOAKED).round_number == 3


def test_a_correction_of_the_first_bore_does_not_change_where_the_round_ends(shop: Database) -> None:
    visit_id = heat_soaked(shop)
    first = read(shop, visit_id, HEAT_SOAKED)
    read(shop, visit_id, HEAT_SOAKED)
    readings.add(shop, visit_id, key(), new(1, 6.75, supersedes=first), AT)
    assert visit_record(shop, visit_id).rounds[-1].first_bore() == 1


def test_a_skipped_bore_keeps_its_reason_and_lets_the_round_close(shop: Database) -> None:
    visit_id = heat_soaked(shop)
    readings.add(shop, visit_id, key(), new(1, None, "skip", why="Cannot be reached"), AT)
    for bore in range(2, 9):
        readings.add(shop, visit_id, key(), new(bore), AT)
    now = next_reading(visit_record(shop, visit_id), HEAT_SOAKED)
    assert (now.bore, now.kind) == (2, "closing")
    assert visit_record(shop, visit_id).rounds[-1].skipped[1].why == "Cannot be reached"


def test_a_move_ends_the_round(shop: Database) -> None:
    visit_id = heat_soaked(shop)
    readings.add(shop, visit_id, key(), new(1), AT)
    moves.make(shop, visit_id, key(), NewMove(HEAT_SOAKED.slug, "stop", "A", None, None, 0.125, (), True, "KM"), AT)
    now = next_reading(visit_record(shop, visit_id), HEAT_SOAKED)
    assert (now.round_number, now.bore, now.current) == (3, 1, None)
    with rejects(Rejection.ANOTHER_ROUND, kind=ConflictError):
        readings.add(shop, visit_id, key(), new(2, number=9), AT)


def test_one_more_round_begins_only_when_the_last_is_closed(shop: Database) -> None:
    visit_id = heat_soaked(shop)
    with rejects(Rejection.ROUND_IN_PROGRESS):
        readings.begin_round(shop, visit_id, key(), HEAT_SOAKED.slug, AT)
    read_round(shop, visit_id, HEAT_SOAKED)
    sent = key()
    first = readings.begin_round(shop, visit_id, sent, HEAT_SOAKED.slug, AT)
    assert readings.begin_round(shop, visit_id, sent, HEAT_SOAKED.slug, AT) == first
    assert next_reading(visit_record(shop, visit_id), HEAT_SOAKED).round_number == 3


@pytest.mark.parametrize("table", ["fitting", "meter", "visit", "round", "reading", "check"])
def test_evidence_is_only_ever_added(shop: Database, table: str) -> None:
    assert table in EVIDENCE
    read_round(shop, heat_soaked(shop), FIRST_FIRE)
    with shop.reading() as session:
        assert session.execute(text(f'SELECT count(*) FROM "{table}"')).scalar_one()
    for statement in (f'UPDATE "{table}" SET key = key || 1', f'DELETE FROM "{table}"'):
        with pytest.raises(DatabaseError, match="only ever added"), shop.writing() as session:
            session.execute(text(statement))


def test_every_evidence_table_is_kept_by_its_triggers(shop: FileDatabase) -> None:
    with shop.reading() as session:
        names = {row[0] for row in session.execute(text("SELECT name FROM sqlite_master WHERE type = 'trigger'"))}
    assert names >= {f"{table}_no_{verb}" for table in EVIDENCE for verb in ("update", "delete")}


def test_a_value_far_from_what_the_bore_read_last_is_asked_about(shop: Database) -> None:
    """Bore 1 truly stands wide: its 20 is asked about once, kept, and from then on what bore 1 is measured by."""
    visit_id = heat_soaked(shop)
    for bore in (2, 3, 4):
        readings.add(shop, visit_id, key(), new(bore), AT, sure=False)
    with rejects(Rejection.FAR_OFF):
        readings.add(shop, visit_id, key(), new(1, 20.0), AT, sure=False)
    readings.add(shop, visit_id, key(), new(1, 20.0), AT, sure=True)
    readings.add(shop, visit_id, key(), new(1, 19.5, "again"), AT, sure=False)
    with rejects(Rejection.FAR_OFF):
        readings.add(shop, visit_id, key(), new(1, 6.5, "again"), AT, sure=False)
    read_round(shop, visit_id, HEAT_SOAKED)
    assert visit_record(shop, visit_id).rounds[-1].closed


def test_a_value_is_found_by_the_key_it_was_sent_under(shop: Database) -> None:
    visit_id = heat_soaked(shop)
    sent = key()
    first = readings.add(shop, visit_id, sent, new(1), AT)
    readings.add(shop, visit_id, key(), new(2), AT)
    assert readings.stored_under(shop, sent) == first
    with rejects(Rejection.CORRECTED_VALUE_UNKNOWN, kind=ConflictError):
        readings.stored_under(shop, key())


def test_after_a_move_and_in_a_correction_a_value_may_be_another(shop: Database) -> None:
    visit_id = heat_soaked(shop)
    read_round(shop, visit_id, HEAT_SOAKED)
    number = visit_record(shop, visit_id).rounds[-1].row.number
    with rejects(Rejection.FAR_OFF):
        readings.add(shop, visit_id, key(), new(2, 10.5, "again", number), AT, sure=False)
    mistyped = readings.add(shop, visit_id, key(), new(2, 10.5, "again", number), AT)
    readings.add(shop, visit_id, key(), new(2, 6.5, "again", number, supersedes=mistyped), AT, sure=False)
    moves.make(shop, visit_id, key(), NewMove(HEAT_SOAKED.slug, "stop", "A", None, None, 0.5, (), True, "KM"), AT)
    readings.add(shop, visit_id, key(), new(1, 10.5, number=number + 1), AT, sure=False)


@pytest.mark.parametrize("reference", ["gauge", "absolute"])
def test_a_column_is_asked_about_by_its_air(shop: Database, reference: str) -> None:
    """Bores at 17 kPa of vacuum: 10.75 is 1.3 times the air and may be so, 1.75 and 70 are slips of the hand."""
    column = meters.register(shop, key(), NewMeter("Column", "kPa", 0.25, 0, 110, reference))
    visit_id = visits.open_visit(shop, engine(shop), key(), NewVisit("test cell", "", "", "KM", column), AT)
    check_all(shop, visit_id, COLD_PRESET)
    check_all(shop, visit_id, FIRST_FIRE)
    number = next_reading(visit_record(shop, visit_id), FIRST_FIRE).round_number

    def read_at(bore: int, vacuum: float) -> None:
        shown = vacuum if reference == "gauge" else 101.325 - vacuum
        readings.add(
            shop, visit_id, key(), NewReading(FIRST_FIRE.slug, number, bore, "turn", shown, "KM"), AT, sure=False
        )

    for bore in (1, 2, 3):
        read_at(bore, 17.0)
    read_at(4, 10.75)
    for slip in (1.75, 70.0):
        with rejects(Rejection.FAR_OFF):
            read_at(5, slip)


def test_a_complete_round_at_an_opening_takes_a_bore_again_and_no_further_turn(shop: Database) -> None:
    visit_id = at_the_banks(shop)
    for bore in (*V8.bores, 1):
        read(shop, visit_id, BANK_BALANCE, 9.0, bore)
    complete = visit_record(shop, visit_id).rounds[-1]
    assert complete.closed
    turn = NewReading(BANK_BALANCE.slug, complete.row.number, 3, "turn", 9.0, "KM")
    with rejects(Rejection.ROUND_COMPLETE, kind=ConflictError):
        readings.add(shop, visit_id, key(), turn, AT)
    readings.add(shop, visit_id, key(), replace(turn, kind="again"), AT)
    assert len(visit_record(shop, visit_id).rounds[-1].readings) == len(complete.readings) + 1


def test_a_visit_is_read_before_the_turn_to_write_and_again_only_where_it_changed(
    shop: FileDatabase, monkeypatch: pytest.MonkeyPatch
) -> None:
    visit_id = heat_soaked(shop)
    whole, inside = loader.records, []

    def watched(session: Session, ids: Sequence[int]) -> list[VisitRecord]:
        inside.append(shop._turn.locked())
        return whole(session, ids)

    monkeypatch.setattr(loader, "records", watched)
    shop._memory = LruCache()  # as after a start, or where two hundred other visits were seen since
    read(shop, visit_id, HEAT_SOAKED)
    assert set(inside) == {False}
    inside.clear()
    read(shop, visit_id, HEAT_SOAKED)
    assert inside == []
