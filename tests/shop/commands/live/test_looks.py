"""A live value is stored once, with its error, its look and its trace; a look of all bores in one go."""

import sqlite3
from dataclasses import replace

import pytest
from sqlmodel import select

from app.shop.commands import readings
from app.shop.commands.access.tablets import hashed
from app.shop.commands.live import feeds
from app.shop.commands.live.feeds import Feeders
from app.shop.commands.live.looks import Seen
from app.shop.commands.readings import NewLook, NewReading
from app.shop.errors import ConflictError, NotFoundError
from app.shop.procedure.phases import HEAT_SOAKED
from app.shop.rejections import Rejection
from app.shop.store import row_hashes
from app.shop.store.database import Database, FileDatabase
from app.shop.store.live import traces
from app.shop.store.live.tables import FeedRow, LookRow
from app.shop.store.tables import ReadingRow
from tests.shop.rejections import rejects
from tests.shop.yard import AT, heat_soaked, key, visit_record

PACKED = traces.pack({"b1": [(n / 200, 6.5 + 0.1 * (n % 7)) for n in range(400)]})
SEEN = Seen(2.0, 200.0, 15.0, "c" * 64, PACKED)
ALL = dict.fromkeys(range(1, 9), (6.5, 0.006))


def live(bore: int = 1, value: float = 6.5, kind: str = "turn", sd: float = 0.006) -> NewReading:
    return NewReading(HEAT_SOAKED.slug, 2, bore, kind, value, "KM", sd=sd, look="e:1")


def stored(shop: Database) -> tuple[list[ReadingRow], list[LookRow]]:
    with shop.reading() as session:
        rows = session.exec(select(ReadingRow).order_by(ReadingRow.id)).all()  # type: ignore[arg-type]
        return [row for row in rows if row.sd is not None], list(session.exec(select(LookRow)).all())


def test_a_live_value_carries_its_error_and_its_look(shop: Database) -> None:
    visit_id, sent = heat_soaked(shop), key()
    first = readings.add(shop, visit_id, sent, live(), AT, seen=SEEN)
    assert readings.add(shop, visit_id, sent, live(), AT) == first  # sent again after a restart: the ring is empty
    (row,), (look,) = stored(shop)
    assert (row.value, row.sd, row.look_id) == (6.5, 0.006, look.id)
    assert (look.window, look.rate, look.speed, look.trace) == (2.0, 200.0, 15.0, traces.hash_of(PACKED))
    assert traces.kept(shop.folder, look.trace) == traces.unpack(PACKED)
    (reading,) = [r for one in visit_record(shop, visit_id).rounds for r in one.readings if r.sd is not None]
    assert reading.sd == 0.006


def test_a_look_that_is_not_known_any_more_leaves_a_reading_without_a_trace(shop: Database) -> None:
    readings.add(shop, heat_soaked(shop), key(), live(), AT)
    (row,), looks = stored(shop)
    assert (row.sd, row.look_id, looks) == (0.006, None, [])


def test_a_trace_that_cannot_be_kept_takes_nothing_from_the_reading(
    shop: Database, monkeypatch: pytest.MonkeyPatch
) -> None:
    def full(*_: object) -> None:
        raise sqlite3.OperationalError("database or disk is full")

    monkeypatch.setattr(traces, "keep", full)
    readings.add(shop, heat_soaked(shop), key(), live(), AT, seen=SEEN)
    (row,), (look,) = stored(shop)
    assert row.look_id == look.id
    assert traces.kept(shop.folder, look.trace) is None


@pytest.mark.parametrize("sd", [0.0, -0.01, 0.9, float("nan")])
def test_an_error_that_cannot_be_is_refused(shop: Database, sd: float) -> None:
    with rejects(Rejection.OUT_OF_RANGE):
        readings.add(shop, heat_soaked(shop), key(), live(sd=sd), AT)


def test_all_bores_at_once_are_one_round_of_one_moment(shop: Database) -> None:
    visit_id, sent = heat_soaked(shop), key()
    look = NewLook(HEAT_SOAKED.slug, 2, ALL, "KM", "e:2")
    first = readings.add_look(shop, visit_id, sent, look, AT, seen=SEEN)
    assert readings.add_look(shop, visit_id, sent, look, AT) == first
    rows, looks = stored(shop)
    assert [(row.bore, row.kind) for row in rows] == [*((bore, "turn") for bore in range(1, 9)), (1, "closing")]
    assert {row.look_id for row in rows} == {looks[0].id}
    assert len(looks) == 1
    assert visit_record(shop, visit_id).rounds[-1].closed
    with rejects(Rejection.KEY_REUSED, kind=ConflictError):
        readings.add_look(shop, visit_id, sent, replace(look, values=ALL | {1: (7.0, 0.006)}), AT)
    with rejects(Rejection.ANOTHER_ROUND, kind=ConflictError):
        readings.add_look(shop, visit_id, key(), look, AT)


def test_a_look_that_lacks_a_bore_stores_nothing(shop: Database) -> None:
    visit_id = heat_soaked(shop)
    look = NewLook(HEAT_SOAKED.slug, 2, {bore: one for bore, one in ALL.items() if bore != 5}, "KM")
    with rejects(Rejection.NO_SUCH_BORE):
        readings.add_look(shop, visit_id, key(), look, AT, seen=SEEN)
    assert stored(shop) == ([], [])


def test_hashes_cover_readings_looks_and_feeds(shop: FileDatabase) -> None:
    readings.add(shop, heat_soaked(shop), key(), live(), AT, seen=SEEN)
    feeds.add(shop, key(), "Bench", "token", AT)
    shop.close()
    with sqlite3.connect(shop.file) as connection:
        assert row_hashes.check(connection).broken == ()
        for table, column in (("reading", "sd"), ("look", "rate"), ("feed", "active")):
            connection.execute(f"DROP TRIGGER {table}_no_update")
            connection.execute(
                f"UPDATE {table} SET {column} = 0.25 * {column} + 0.125 WHERE {column} IS NOT NULL"
                if column != "active"
                else f"UPDATE {table} SET active = 0"
            )
        assert {table for table, _ in row_hashes.check(connection).broken} == {"reading", "look", "feed"}


def test_a_feed_is_let_in_by_its_token_until_it_is_withdrawn(shop: Database) -> None:
    added = feeds.add(shop, key(), " Bench ", "token", AT)

    def feeders() -> Feeders:
        with shop.reading() as session:
            return Feeders.of(feeds.let_in(session))

    with shop.reading() as session:
        assert session.exec(select(FeedRow.name, FeedRow.token)).one() == ("Bench", hashed("token"))
    assert feeders().admits("token")
    assert not feeders().admits("other")
    assert not feeders().admits("")
    feeds.withdraw(shop, key(), added, AT)
    assert not feeders().admits("token")
    with rejects(Rejection.CHANGED_BY_ANOTHER_TABLET, kind=ConflictError):
        feeds.withdraw(shop, key(), added, AT)
    with rejects(Rejection.NO_SUCH_FEED, kind=NotFoundError):
        feeds.withdraw(shop, key(), 99, AT)
