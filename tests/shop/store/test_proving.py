"""Row hashes are made again at a start for rows that were never proved, and once a night for all of them."""

import sqlite3
from collections.abc import Callable
from contextlib import closing, suppress
from datetime import UTC, datetime, timedelta
from pathlib import Path

import pytest

from app.shop.reasons import Reason
from app.shop.store import backup, health, row_hashes
from app.shop.store.codes import Damage, Noticed
from app.shop.store.database import FileDatabase, raw_connection
from app.shop.store.proof import proving
from app.shop.store.proof.proving import Proved
from app.shop.store.tables import EVIDENCE
from app.shop.store.upgrade import DamagedShopError, open_shop
from tests.shop.yard import FOUR, engine, heat_soaked
from tests.waiting import until

NOW = datetime(2026, 11, 25, 12, 0, tzinfo=UTC)
WRONG = "UPDATE reading SET value = value + 0.25 WHERE id = 3"
GONE = "DELETE FROM reading WHERE id = 3"


def behind_its_back(file: Path, statement: str) -> None:
    """Change evidence as another program could, and leave the triggers as they were."""
    with closing(sqlite3.connect(file)) as connection, connection:
        named = "SELECT name, sql FROM sqlite_schema WHERE type = 'trigger' AND tbl_name = 'reading'"
        triggers = connection.execute(named).fetchall()
        for name, _ in triggers:
            connection.execute(f"DROP TRIGGER {name}")
        connection.execute(statement)
        for _, sql in triggers:
            connection.execute(sql)


def started_again(folder: Path) -> FileDatabase:
    """A shop opened once more and closed, so that what it holds is proved."""
    shop = open_shop(folder)
    shop.close()
    return shop


@pytest.fixture
def closed(shop: FileDatabase) -> Path:
    """The folder of a shop with a visit in it, closed, all of it proved by a start."""
    heat_soaked(shop)
    shop.close()
    return started_again(shop.folder).folder


def proved(folder: Path) -> dict[str, Proved]:
    with closing(sqlite3.connect(folder / "shop.db")) as connection:
        return proving.known(connection)


def test_a_start_makes_the_hashes_of_new_rows_alone(closed: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    looked: dict[str, tuple[int, int]] = {}
    check = row_hashes.check_table

    def watched(connection: sqlite3.Connection, table: str, after: int = 0, most: int = -1) -> row_hashes.TableSeals:
        found = check(connection, table, after, most)
        looked[table] = (after, found.sound + found.unsealed)
        return found

    monkeypatch.setattr(row_hashes, "check_table", watched)
    before = proved(closed)
    assert before.keys() == set(EVIDENCE)
    started_again(closed)
    assert {table: rows for table, (_, rows) in looked.items() if rows} == {}
    shop = open_shop(closed)
    engine(shop, FOUR, serial="22-0098")
    shop.close()
    started_again(closed)
    assert {table: rows for table, (_, rows) in looked.items() if rows} == {"fitting": 1}
    after = proved(closed)
    assert after["fitting"].up_to == before["fitting"].up_to + 1
    assert after["fitting"].rows == before["fitting"].rows + 1
    assert after["reading"] == before["reading"]


def test_what_was_changed_since_the_last_proof_stops_a_start(shop: FileDatabase) -> None:
    heat_soaked(shop)
    shop.close()
    behind_its_back(shop.file, WRONG)
    with pytest.raises(DamagedShopError) as told:
        open_shop(shop.folder)
    assert told.value.found.code is Damage.ROWS_CHANGED


def test_a_row_that_is_gone_stops_a_start_though_no_hash_is_wrong(closed: Path) -> None:
    behind_its_back(closed / "shop.db", GONE)
    with pytest.raises(DamagedShopError) as told:
        open_shop(closed)
    assert told.value.found.code is Damage.ROWS_GONE
    (rows,) = told.value.found.values["rows"]
    assert (rows.values["table"], rows.values["count"]) == ("reading", 1)


def test_a_changed_row_that_was_proved_is_found_by_a_check_and_in_the_night_and_stops_the_next_start(
    closed: Path,
) -> None:
    behind_its_back(closed / "shop.db", WRONG)
    found = health.look(closed).findings
    assert found.damage is not None
    assert found.damage.code is Damage.ROWS_CHANGED
    shop = open_shop(closed)
    proof = proving.prove_whole(shop, NOW, lambda: False)
    assert proof is not None
    assert proof.broken == [("reading", 3)]
    shop.close()
    assert proved(closed) == {}
    with pytest.raises(DamagedShopError):
        open_shop(closed)


def test_all_rows_are_proved_a_slice_at_a_time_and_all_counted(closed: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    shop = open_shop(closed)
    before = proved(closed)
    monkeypatch.setattr(proving, "SLICE", 4)
    later = NOW + timedelta(days=40)
    proof = proving.prove_whole(shop, later, lambda: False)
    assert proof is not None
    assert {table: (one.up_to, one.rows) for table, one in proof.tables.items()} == {
        table: (one.up_to, one.rows) for table, one in before.items()
    }
    with shop.reading() as session:
        now = proving.known(raw_connection(session))
    assert {one.whole_at for one in now.values()} == {later.isoformat(timespec="seconds")}
    assert proving.prove_whole(shop, later, lambda: True) is None
    shop.close()


@pytest.mark.parametrize(
    ("made", "now", "due"),
    [
        ("2026-11-25T04:00", "2026-11-25T23:59", False),
        ("2026-11-25T04:00", "2026-11-26T02:59", False),
        ("2026-11-25T04:00", "2026-11-26T03:00", True),
        ("2026-11-25T02:00", "2026-11-25T08:00", True),
        ("2026-11-24T02:59", "2026-11-25T02:59", True),
        ("2026-11-27T04:00", "2026-11-25T12:00", True),
    ],
)
def test_all_rows_are_due_once_a_night_or_at_the_first_look_after_it(made: str, now: str, due: bool) -> None:
    at = datetime.fromisoformat(made).replace(tzinfo=UTC)
    tables = {"reading": Proved(9, 9, 0, at.isoformat())}
    assert proving.whole_is_due(tables, datetime.fromisoformat(now).replace(tzinfo=UTC)) is due


def test_nothing_proved_yet_is_due() -> None:
    assert proving.whole_is_due({}, NOW)


def nightly(shop: FileDatabase, told: Callable[[Reason], None], when: Callable[[], bool]) -> None:
    """Run what looks after copies until something came of it, on a later day."""
    with backup.copying(shop, lambda: NOW + timedelta(days=400), told):
        until(when)


def test_the_night_proves_all_rows_and_makes_no_copy_for_that_alone(closed: Path) -> None:
    shop = open_shop(closed)
    told: list[Reason] = []
    nightly(shop, told.append, lambda: min(one.whole_at for one in proved(closed).values()) > "2027")
    copies = list((closed / "copies").glob("*.db"))
    shop.close()
    assert told == []
    assert len(copies) == 1


def test_what_the_night_finds_is_told_on_the_first_page(closed: Path) -> None:
    behind_its_back(closed / "shop.db", WRONG)
    shop = open_shop(closed)
    told: list[Reason] = []
    nightly(shop, told.append, lambda: any(one.code is Noticed.DAMAGE_FOUND for one in told))
    assert [one.code for one in shop.noticed if one.code is Noticed.DAMAGE_FOUND] == [Noticed.DAMAGE_FOUND]
    with suppress(DamagedShopError):
        shop.close()


@pytest.mark.slow
def test_a_start_that_cannot_note_what_it_proved_goes_on(shop: FileDatabase) -> None:
    heat_soaked(shop)
    shop.close()
    with closing(sqlite3.connect(shop.file, isolation_level=None)) as other:
        other.execute("BEGIN IMMEDIATE")
        with pytest.MonkeyPatch.context() as patch:
            patch.setattr("app.shop.store.upgrade.NOTE_SECONDS", 0.01)
            again = open_shop(shop.folder)
        other.rollback()
        again.close()
    assert proved(shop.folder) == {}
