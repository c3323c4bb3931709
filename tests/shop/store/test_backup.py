"""Copies, made by hand and by themselves; going back to one; and looking at a shop."""

import sqlite3
import threading
import time
from collections.abc import Callable
from contextlib import closing
from datetime import UTC, datetime, timedelta
from itertools import count
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from app.shop.reasons import Reason, because
from app.shop.store import backup, copies, health
from app.shop.store.codes import Damage, HealthProblem, Unavailable
from app.shop.store.database import Database, FileDatabase, ShopTakenError, ShopUnavailableError
from app.shop.store.integrity import examine
from app.shop.store.upgrade import open_shop
from tests.shop import yard
from tests.shop.yard import heat_soaked, key

NOW = datetime(2026, 11, 25, 12, 0, tzinfo=UTC)
READING_3 = because(Damage.ROWS_CHANGED, rows=(because(Damage.ROW, table="reading", id=3),))


def ask(file: Path, query: str) -> int:
    with closing(sqlite3.connect(f"{file.as_uri()}?mode=ro", uri=True)) as connection:
        return int(connection.execute(query).fetchone()[0])


def tamper(file: Path, statement: str) -> None:
    """Change evidence as another program could, past the triggers."""
    with closing(sqlite3.connect(file)) as connection, connection:
        for (trigger,) in connection.execute("SELECT name FROM sqlite_schema WHERE type = 'trigger'").fetchall():
            connection.execute(f"DROP TRIGGER {trigger}")
        connection.execute(statement)


@pytest.fixture
def worked(shop: FileDatabase) -> FileDatabase:
    """A shop with an engine, a visit and eight readings in it, still open."""
    heat_soaked(shop)
    return shop


def readings(file: Path) -> int:
    return ask(file, "SELECT count(*) FROM reading")


def test_a_copy_beside_a_running_shop_is_whole(worked: FileDatabase, tmp_path: Path) -> None:
    assert (worked.folder / "shop.db-wal").stat().st_size > 0
    made = backup.back_up(worked.folder, tmp_path / "elsewhere" / "copy.db")
    assert examine(made).damage is None
    assert examine(made).sealed > 8
    assert readings(made) == readings(worked.file)
    assert [file.name for file in made.parent.iterdir()] == ["copy.db"]


def test_a_copy_made_during_writes_is_of_one_moment(shop: FileDatabase, tmp_path: Path) -> None:
    """Each write adds an engine with its fitting: a copy that is not of one moment would hold one without the other."""
    stop = threading.Event()

    def write() -> None:
        number = 0
        while not stop.is_set():
            number += 1
            yard.engine(shop, serial=f"S-{number}")

    writer = threading.Thread(target=write)
    writer.start()
    try:
        counts = []
        for number in range(10):
            made = backup.back_up(shop.folder, tmp_path / f"{number}.db")
            counts.append(ask(made, "SELECT count(*) FROM engine"))
            assert ask(made, "SELECT count(*) FROM fitting") == counts[-1]
    finally:
        stop.set()
        writer.join()
    assert counts == sorted(counts)


def test_nothing_is_written_over(worked: Database, tmp_path: Path) -> None:
    (tmp_path / "copy.db").write_bytes(b"last year's")
    with pytest.raises(ShopUnavailableError) as caught:
        backup.back_up(worked.folder, tmp_path / "copy.db")
    assert caught.value.reason == because(Unavailable.BACKUP_EXISTS, file=tmp_path / "copy.db")
    assert (tmp_path / "copy.db").read_bytes() == b"last year's"


def test_a_copy_of_what_is_not_as_it_was_stored_is_not_kept(worked: FileDatabase, tmp_path: Path) -> None:
    worked.close()
    tamper(worked.file, "UPDATE reading SET value = value + 0.25 WHERE id = 3")
    with pytest.raises(ShopUnavailableError) as caught:
        backup.back_up(worked.folder, tmp_path / "copy.db")
    assert caught.value.reason == because(Unavailable.BACKUP_FAILED, folder=tmp_path, found=READING_3)
    assert [file.name for file in tmp_path.iterdir()] == ["shop"]


@pytest.mark.parametrize(
    "statement",
    [
        "UPDATE reading SET value = value + 0.25 WHERE id = 3",
        "UPDATE reading SET at = '2026-11-25T10:00:01.000+00:00' WHERE id = 3",
        "UPDATE reading SET bore = 7 WHERE id = 3",
        "UPDATE reading SET by = 'XX' WHERE id = 3",
    ],
)
def test_a_change_behind_the_program_s_back_shows(worked: FileDatabase, statement: str) -> None:
    worked.close()
    assert examine(worked.file).damage is None
    tamper(worked.file, statement)
    assert examine(worked.file).damage == READING_3


def test_of_many_changed_rows_five_are_named_and_the_others_counted(worked: FileDatabase) -> None:
    worked.close()
    tamper(worked.file, "UPDATE reading SET bore = bore + 1")
    damage = examine(worked.file).damage
    assert damage is not None
    assert damage.code is Damage.MORE_ROWS_CHANGED
    assert damage.values["rows"] == tuple(because(Damage.ROW, table="reading", id=n) for n in range(1, 6))
    assert damage.values["more"] == 9 - 5


def test_every_row_of_evidence_is_sealed(worked: FileDatabase) -> None:
    """All but the meter that comes with the program, which the second migration sealed."""
    assert examine(worked.file).unsealed == 0


def test_restoring_keeps_what_was_there(worked: FileDatabase, tmp_path: Path) -> None:
    made = backup.back_up(worked.folder, tmp_path / "copy.db")
    before = readings(worked.file)
    yard.engine(worked, serial="after the copy")
    worked.close()
    aside = backup.restore(worked.folder, made, NOW)
    assert aside is not None
    assert ask(aside / "shop.db", "SELECT count(*) FROM engine WHERE serial = 'after the copy'") == 1
    shop = open_shop(worked.folder)
    with shop.reading() as session:
        count = session.connection().exec_driver_sql("SELECT count(*) FROM engine").scalar_one()
    assert count == 1
    assert readings(worked.file) == before
    shop.close()


def test_restoring_a_damaged_shop_keeps_its_journal_too(worked: Database, tmp_path: Path) -> None:
    made = backup.back_up(worked.folder, tmp_path / "copy.db")
    damaged = {name: (worked.folder / name).read_bytes() for name in ("shop.db", "shop.db-wal")}
    elsewhere = tmp_path / "damaged"
    elsewhere.mkdir()
    damaged["shop.db"] = b"not a data base." + damaged["shop.db"][16:]
    for name, content in damaged.items():
        (elsewhere / name).write_bytes(content)
    aside = backup.restore(elsewhere, made, NOW)
    assert aside is not None
    assert {name: (aside / name).read_bytes() for name in damaged} == damaged
    open_shop(elsewhere).close()


def test_an_empty_shop_is_begun_with_the_old_one_aside(worked: FileDatabase) -> None:
    worked.close()
    aside = backup.restore(worked.folder, None, NOW)
    assert aside is not None
    assert readings(aside / "shop.db") == 9
    open_shop(worked.folder).close()
    assert readings(worked.file) == 0


def test_a_running_shop_is_not_restored(worked: Database, tmp_path: Path) -> None:
    made = backup.back_up(worked.folder, tmp_path / "copy.db")
    with pytest.raises(ShopTakenError) as caught:
        backup.restore(worked.folder, made, NOW)
    assert caught.value.reason.code is Unavailable.OPEN_ELSEWHERE
    assert not (worked.folder / "set-aside").exists()


def cut(copy: Path) -> None:
    copy.write_bytes(copy.read_bytes()[:5000])


def changed(copy: Path) -> None:
    tamper(copy, "UPDATE reading SET value = 1 WHERE id = 3")


@pytest.mark.parametrize("damage", [cut, changed])
def test_a_damaged_copy_is_not_put_in_place(
    worked: FileDatabase, tmp_path: Path, damage: Callable[[Path], None]
) -> None:
    made = backup.back_up(worked.folder, tmp_path / "copy.db")
    damage(made)
    worked.close()
    before = worked.file.read_bytes()
    with pytest.raises(backup.RestoreError) as caught:
        backup.restore(worked.folder, made, NOW)
    assert caught.value.reason.code is Unavailable.BACKUP_DAMAGED
    assert worked.file.read_bytes() == before
    assert not (worked.folder / "set-aside").exists()


def test_what_a_copy_is_kept_for() -> None:
    hourly = [NOW - timedelta(hours=hours) for hours in range(24 * 400)]
    gone = copies.expired(hourly, NOW)
    kept = [at for at in hourly if at not in gone]
    assert [at for at in kept if NOW - at <= copies.ALL_FOR] == hourly[:49]
    days = [at for at in kept if copies.ALL_FOR < NOW - at <= copies.DAILY_FOR]
    assert len({at.date() for at in days}) == len(days) == 34
    months = [at for at in kept if NOW - at > copies.DAILY_FOR]
    assert len({(at.year, at.month) for at in months}) == len(months) == 13


TIMES = st.datetimes(datetime(2020, 1, 1), datetime(2030, 1, 1), timezones=st.just(UTC))


@given(st.sets(TIMES, min_size=1), TIMES)
def test_the_newest_copy_and_those_of_two_days_are_always_kept(times: set[datetime], now: datetime) -> None:
    gone = copies.expired(times, now)
    assert max(times) not in gone
    assert not any(now - at <= copies.ALL_FOR for at in gone)
    assert copies.expired(times - gone, now) == set()


def test_automatic_copies_are_made_when_due_and_thinned(worked: Database) -> None:
    folder = copies.folder_of(worked.folder)
    by_hand = backup.back_up(worked.folder, copies.named(folder, copies.BY_HAND, NOW - timedelta(days=2000)))
    assert backup.copy_is_due(worked.folder, NOW)
    for hours in range(0, 24 * 9, 12):
        backup.keep_one(worked.folder, NOW + timedelta(hours=hours))
    assert not backup.copy_is_due(worked.folder, NOW + timedelta(hours=24 * 9 - 10))
    assert backup.copy_is_due(worked.folder, NOW + timedelta(hours=24 * 9))
    kept = [copy for copy in copies.listed(folder) if copy.kind == copies.AUTOMATIC]
    assert 11 <= len(kept) <= 13
    assert by_hand.exists()


def test_a_clock_put_back_does_not_stop_the_copies(worked: Database) -> None:
    backup.keep_one(worked.folder, NOW)
    earlier = NOW - timedelta(hours=1)
    assert backup.copy_is_due(worked.folder, earlier)
    backup.keep_one(worked.folder, earlier)
    assert not backup.copy_is_due(worked.folder, earlier)
    assert len(copies.listed(copies.folder_of(worked.folder))) == 2


def test_copies_are_made_while_the_program_runs(worked: FileDatabase, monkeypatch: pytest.MonkeyPatch) -> None:
    """And what keeps them from being made is told once, though each try has another file name."""
    monkeypatch.setattr(backup, "LOOK_AGAIN_SECONDS", 0.01)
    told: list[Reason] = []
    tries = count()
    folder = copies.folder_of(worked.folder)
    folder.write_text("in the way")
    heard = threading.Event()

    def tell(reason: Reason) -> None:
        told.append(reason)
        heard.set()

    with backup.copying(worked, lambda: NOW + timedelta(seconds=next(tries)), tell):
        assert heard.wait(10)
        seen = next(tries)
        while next(tries) < seen + 20:
            time.sleep(0.01)
        folder.unlink()
        deadline = time.monotonic() + 30
        while not folder.exists() or not copies.listed(folder):
            assert time.monotonic() < deadline
            time.sleep(0.005)
    assert len(told) == 1
    assert told[0].code is Unavailable.BACKUP_FAILED
    assert told[0].values["folder"] == folder
    assert len(copies.listed(folder)) == 1


def test_a_look_at_a_whole_shop(worked: Database) -> None:
    backup.keep_one(worked.folder, NOW)
    found = health.look(worked.folder)
    assert found.problems == []
    assert found.findings.revision == health.known_revision() == found.known
    assert found.orphans == {}
    assert found.findings.sealed > 8


def test_a_look_says_what_is_the_matter(worked: FileDatabase, monkeypatch: pytest.MonkeyPatch) -> None:
    made = backup.keep_one(worked.folder, NOW)
    cut(made)
    worked.close()
    tamper(worked.file, "DELETE FROM visit")
    monkeypatch.setattr(health, "LITTLE_SPACE", 10**18)
    problems = {problem.code: problem.values for problem in health.look(worked.folder).problems}
    assert set(problems) == {HealthProblem.ORPHAN_ROWS, HealthProblem.LOW_DISK_SPACE, HealthProblem.BACKUP_DAMAGED}
    orphans = {row.values["table"]: row.values["count"] for row in problems[HealthProblem.ORPHAN_ROWS]["rows"]}
    assert orphans["round"] == 1
    assert problems[HealthProblem.BACKUP_DAMAGED]["file"] == made.name
    tamper(worked.file, "UPDATE reading SET bore = 2 WHERE id = 1")
    changed_row = because(Damage.ROWS_CHANGED, rows=(because(Damage.ROW, table="reading", id=1),))
    assert because(HealthProblem.DAMAGED, found=changed_row) in health.look(worked.folder).problems


def test_there_is_nothing_to_look_at_in_an_empty_folder(tmp_path: Path) -> None:
    for ask_for in (health.look, lambda folder: backup.back_up(folder, folder / "copy.db")):
        with pytest.raises(ShopUnavailableError) as caught:
            ask_for(tmp_path)
        assert caught.value.reason == because(Unavailable.NO_SHOP, folder=tmp_path)
    assert list(tmp_path.iterdir()) == []


def test_the_key_of_a_row_is_part_of_its_seal(worked: FileDatabase) -> None:
    worked.close()
    tamper(worked.file, f"UPDATE reading SET key = '{key()}' WHERE id = 3")
    assert examine(worked.file).damage == READING_3
