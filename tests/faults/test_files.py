"""Faults around the shop's file: gone, replaced, emptied, cut, held, open to others, on a medium that takes nothing."""

import os
import shutil
import signal
import sqlite3
import subprocess
import sys
from collections.abc import Callable
from contextlib import closing
from dataclasses import replace as replaced
from datetime import UTC, datetime, timedelta
from pathlib import Path

import pytest
from markupsafe import escape

from app.shop.commands import engines
from app.shop.procedure.phases import HEAT_SOAKED
from app.shop.reasons import Reason, because
from app.shop.store import backup, copies, database
from app.shop.store.codes import Damage, Noticed, Unavailable
from app.shop.store.database import FileDatabase, ShopUnavailableError
from app.shop.store.folder.journal import FRAME_HEADER, HEADER
from app.shop.store.integrity import examine
from app.shop.store.upgrade import DamagedShopError, open_shop
from app.wording.message import say
from app.wording.program import cli as words
from app.wording.reasons import in_words
from tests.faults.bench import Ledger, Tablet, assert_whole, audit, readings_path, shop_with_visits, small_disk, stored
from tests.serving import serving
from tests.shop.yard import FACTS, engine, heat_soaked, read_round
from tests.started import ended, started

HERE = readings_path(1)
NOW = datetime(2026, 11, 28, 12, 0, tzinfo=UTC)

posix = pytest.mark.skipif(sys.platform == "win32", reason="an open file is neither deleted nor replaced there")


@pytest.fixture
def closed(tmp_path: Path) -> tuple[Path, set[str]]:
    """The folder of a closed shop with readings in it, and their keys."""
    folder = tmp_path / "shop"
    return folder, shop_with_visits(folder)


def notices(folder: Path) -> list[Reason]:
    """What a start finds to tell."""
    shop = open_shop(folder)
    shop.close()
    return shop.noticed


def told(folder: Path) -> set[object]:
    """The codes of that."""
    return {notice.code for notice in notices(folder)}


def delete(folder: Path) -> None:
    for file in folder.glob("shop.db*"):
        file.unlink()


def replace(folder: Path) -> None:
    other = shutil.copyfile(folder / "shop.db", folder / "other")
    Path(other).replace(folder / "shop.db")


def move(folder: Path) -> None:
    (folder / "shop.db").rename(folder / "elsewhere.db")


def empty(folder: Path) -> None:
    os.truncate(folder / "shop.db", 0)


def delete_the_journal(folder: Path) -> None:
    (folder / "shop.db-wal").unlink()


@posix
@pytest.mark.parametrize("fault", [delete, replace, move, empty, delete_the_journal])
def test_nothing_is_acknowledged_once_the_file_is_not_the_one_that_was_opened(
    closed: tuple[Path, set[str]], fault: Callable[[Path], None]
) -> None:
    folder, _ = closed
    ledger = Ledger()
    shop = open_shop(folder)
    with serving(shop) as address, Tablet(address) as tablet:
        fields = ledger.new_reading(0)
        assert ledger.note(fields["key"], tablet.post(HERE, fields))
        fault(folder)
        for number in range(3):
            fields = ledger.new_reading(number)
            answer = tablet.post(HERE, fields)
            assert answer.status == 503
            assert answer.saved is None
        gone = str(escape(in_words(because(Unavailable.FILE_REPLACED, folder=folder))))
        assert gone in answer.page
        board = tablet.get("/")  # of a file that was emptied nothing can be shown
        assert board.status == 503 if fault is empty else gone in board.page
    shop.close()


@posix
def test_what_was_acknowledged_before_the_file_was_deleted_is_rescued(closed: tuple[Path, set[str]]) -> None:
    folder, before = closed
    ledger = Ledger()
    heard: list[Reason] = []
    shop = open_shop(folder)
    with serving(shop) as address, Tablet(address) as tablet, backup.copying(shop, lambda: NOW, heard.append):
        fields = ledger.new_reading(0)
        assert ledger.note(fields["key"], tablet.post(HERE, fields))
        delete(folder)
        assert tablet.post(HERE, ledger.new_reading(1)).status == 503
    shop.close()
    rescued = heard[-1].values["file"]
    assert heard[-1] == because(Noticed.RESCUED, file=rescued)
    with pytest.raises(DamagedShopError) as caught:
        open_shop(folder)
    assert caught.value.newest is not None
    assert caught.value.newest.file == rescued
    backup.restore(folder, rescued, NOW)
    audit(folder, before, ledger)


def test_a_file_that_is_missing_at_the_start_is_told_with_the_way_back(closed: tuple[Path, set[str]]) -> None:
    folder, before = closed
    made = backup.keep_one(folder, NOW)
    (folder / "shop.db").unlink()
    with pytest.raises(DamagedShopError) as caught:
        open_shop(folder)
    assert caught.value.found == because(Damage.FILE_GONE)
    assert caught.value.reason.code is Unavailable.MISSING
    command = f"evenbore restore --data {folder}"
    assert caught.value.reason.values["command"] == f"{command} {made}"
    assert caught.value.reason.values["empty"] == f"{command} --empty"
    assert not (folder / "shop.db").exists()
    with started("serve", "--port", "0", "--data", str(folder)) as program:
        assert in_words(caught.value.reason) in program.said
        assert program.stop() == 0
    backup.restore(folder, made, NOW)
    assert set(stored(folder)) == before


def test_an_empty_shop_is_begun_beside_old_copies_by_a_person_s_word_only(closed: tuple[Path, set[str]]) -> None:
    folder, _ = closed
    backup.keep_one(folder, NOW)
    (folder / "shop.db").unlink()
    backup.restore(folder, None, NOW)
    assert stored(folder) == []
    assert told(folder) == {Noticed.BACKUP_HAS_MORE}
    backup.keep_one(folder, NOW + timedelta(hours=1))
    assert told(folder) == set()


def test_a_file_replaced_by_an_older_one_is_told_at_the_start(closed: tuple[Path, set[str]]) -> None:
    folder, _ = closed
    older = (folder / "shop.db").read_bytes()
    shop = open_shop(folder)
    engine(shop, serial="31-7777")
    shop.close()
    made = backup.keep_one(folder, NOW)
    assert told(folder) == set()
    (folder / "shop.db").write_bytes(older)
    (notice,) = notices(folder)
    command = f"evenbore restore --data {folder} {made}"
    assert notice == because(Noticed.BACKUP_HAS_MORE, count=1, at=NOW, command=command)
    shop = open_shop(folder)
    with serving(shop) as address, Tablet(address) as tablet:
        for page in ("/", "/shop"):
            assert str(escape(in_words(notice))) in tablet.get(page).page
    shop.close()


def killed_copy(folder: Path, into: Path) -> None:
    """Kill the program while it copies the shop."""
    code = (
        "import os, signal, sys; from pathlib import Path; from app.shop.store import backup, copies\n"
        "copies.examine = lambda file: os.kill(os.getpid(), signal.SIGKILL)\n"
        "backup.back_up(Path(sys.argv[1]), Path(sys.argv[2]))"
    )
    assert ended(str(folder), str(into), code=code).returncode == -signal.SIGKILL


def killed_restore(folder: Path, copy: Path) -> None:
    """Kill the program while it restores a copy."""
    code = (
        "import os, signal, sys; from datetime import UTC, datetime; from pathlib import Path\n"
        "from app.shop.store import backup\n"
        "backup._set_aside = lambda shop, now: os.kill(os.getpid(), signal.SIGKILL)\n"
        "backup.restore(Path(sys.argv[1]), Path(sys.argv[2]), datetime.now(UTC))"
    )
    assert ended(str(folder), str(copy), code=code).returncode == -signal.SIGKILL


@posix
def test_what_a_killed_copy_and_a_killed_restore_leave_is_told_at_the_next_start(
    closed: tuple[Path, set[str]],
) -> None:
    folder, before = closed
    made = backup.keep_one(folder, NOW)
    killed_copy(folder, copies.folder_of(folder) / "by-hand.db")
    killed_restore(folder, made)
    left = {*copies.folder_of(folder).glob(".*"), *folder.glob(".*")}
    assert len(left) == 2
    (notice,) = notices(folder)
    assert notice.code is Noticed.UNFINISHED
    assert set(notice.values["files"]) == set(map(str, left))
    with started("serve", "--port", "0", "--data", str(folder)) as program:
        assert in_words(notice) in program.said
        assert program.stop() == 0
    audit(folder, before, Ledger())


@pytest.mark.parametrize("name", ["keep.part", "keep.db.part", "shop.part", "copy", "keep.db"])
def test_a_copy_appears_under_any_name_and_touches_no_other_file(closed: tuple[Path, set[str]], name: str) -> None:
    folder, _ = closed
    elsewhere = folder.parent / "stick"
    elsewhere.mkdir()
    theirs = [elsewhere / other for other in ("keep.part", "keep.db.part", "shop.part", "notes") if other != name]
    for file in theirs:
        file.write_text("a person's own")
    made = backup.back_up(folder, elsewhere / name)
    assert made == elsewhere / name
    assert_whole(made)
    assert {file.read_text() for file in theirs} == {"a person's own"}
    assert set(elsewhere.iterdir()) == {made, *theirs}


def test_a_copy_is_made_when_the_program_is_closed(tmp_path: Path) -> None:
    folder = tmp_path / "shop"
    shop_with_visits(folder, now=True)
    backup.keep_one(folder, datetime.now(UTC))  # so that none is due for hours
    ledger = Ledger()
    with started("serve", "--port", "0", "--data", str(folder)) as program:
        fields = ledger.new_reading(0)
        with Tablet(program.address) as tablet:
            assert ledger.note(fields["key"], tablet.post(HERE, fields))
        assert program.stop() == 0
    newest = copies.listed(copies.folder_of(folder))[0].file
    with closing(sqlite3.connect(newest)) as copy:
        assert copy.execute("SELECT count(*) FROM reading WHERE key = ?", (fields["key"],)).fetchone() == (1,)
    with started("serve", "--port", "0", "--data", str(folder)) as program:
        assert program.stop() == 0
    assert copies.listed(copies.folder_of(folder))[0].file == newest  # nothing was written since


@pytest.fixture
def fallen(closed: tuple[Path, set[str]]) -> Path:
    """The folder of a shop as it lies after a fall, its journal and the index beside it with it."""
    folder, _ = closed
    shop = open_shop(folder)
    for number in range(3):
        engine(shop, serial=f"31-900{number}")
    elsewhere = folder.parent / "fallen"
    shutil.copytree(folder, elsewhere, ignore=shutil.ignore_patterns("shop.lock"))
    shop.close()
    return elsewhere


def frame(journal: Path) -> int:
    """How long one page is in a journal [bytes]."""
    return FRAME_HEADER + int.from_bytes(journal.read_bytes()[8:12], "big")


def test_a_journal_that_is_whole_is_kept_and_the_fall_told(fallen: Path) -> None:
    (notice,) = notices(fallen)
    assert notice.code is Noticed.NOT_CLOSED
    assert "2026-11-25 10:00 UTC" in in_words(notice)
    assert told(fallen) == set()


@pytest.mark.parametrize("index_kept", [True, False])
@pytest.mark.parametrize("cut", ["to nothing", "in the head", "in a page", "in a save"])
def test_a_journal_that_was_shortened_is_told(fallen: Path, cut: str, index_kept: bool) -> None:
    journal = fallen / "shop.db-wal"
    size, page = journal.stat().st_size, frame(journal)
    keep = {"to nothing": 0, "in the head": 20, "in a page": size - page // 2, "in a save": HEADER + page}[cut]
    if not index_kept:
        (fallen / "shop.db-shm").unlink()
    os.truncate(journal, keep)
    if keep or index_kept:
        assert told(fallen) >= {Noticed.JOURNAL_CUT}
    assert_whole(fallen / "shop.db")


def test_a_journal_that_lost_whole_saves_is_told_where_the_index_knows(fallen: Path) -> None:
    journal = fallen / "shop.db-wal"
    held, page = journal.read_bytes(), frame(journal)
    saves = [end for end in range(HEADER, len(held), page) if held[end + 4 : end + 8] != bytes(4)]
    os.truncate(journal, saves[0] + page)
    assert told(fallen) == {Noticed.JOURNAL_CUT}


@posix
def test_a_shop_s_files_are_for_their_owner_only(closed: tuple[Path, set[str]]) -> None:
    folder, _ = closed
    backup.restore(folder, backup.keep_one(folder, NOW), NOW)
    for file in (folder, *folder.rglob("*")):
        file.chmod(0o777 if file.is_dir() else 0o666)
    shop = open_shop(folder)
    heat_soaked(shop)
    read_round(shop, 1, HEAT_SOAKED)
    backup.keep_one(folder, NOW + timedelta(hours=5))
    files = [folder, *folder.rglob("*")]
    assert {file.name for file in files} >= {"shop.db", "shop.db-wal", "shop.db-shm", "shop.lock", "set-aside"}
    assert [file for file in files if file.stat().st_mode & 0o077] == []
    assert shop.noticed == []
    shop.close()


@posix
def test_a_folder_that_others_can_open_is_told_and_a_person_s_own_kept_as_it_is(
    closed: tuple[Path, set[str]],
) -> None:
    folder, _ = closed
    (folder / "holiday.txt").write_text("a person's own")
    for file in (folder, folder / "holiday.txt"):
        file.chmod(0o755)
    assert notices(folder) == [because(Noticed.OPEN_TO_OTHERS, folder=folder)]
    assert {file.stat().st_mode & 0o777 for file in (folder, folder / "holiday.txt")} == {0o755}
    assert (folder / "shop.db").stat().st_mode & 0o777 == 0o600


@pytest.mark.parametrize("journal_kept", [True, False])
def test_a_shop_on_a_medium_that_takes_nothing_is_checked_and_copied(tmp_path: Path, journal_kept: bool) -> None:
    with small_disk(tmp_path / "stick", "8m") as disk:
        folder = disk / "shop"
        before = shop_with_visits(folder)
        if journal_kept:
            shop = open_shop(folder)
            engine(shop, serial="31-9000")
            (disk / "fallen").mkdir()
            for name in ("shop.db", "shop.db-wal"):
                shutil.copyfile(folder / name, disk / "fallen" / name)
            shop.close()
            folder = disk / "fallen"
        subprocess.run(["mount", "-o", "remount,ro", str(disk)], check=True)
        data = ("--data", str(folder))
        checked = ended("check", *data)
        assert checked.stdout.splitlines()[-1] == say(words.NO_PROBLEMS), checked
        here = ended("backup", *data)
        assert here.stderr.strip() == in_words(because(Unavailable.BACKUP_ELSEWHERE, folder=folder))
        made = backup.back_up(folder, tmp_path / "rescued" / "copy.db")
        assert examine(made).damage is None
        with closing(sqlite3.connect(made)) as copy:
            assert {key for (key,) in copy.execute("SELECT key FROM reading")} == before
            count = copy.execute("SELECT count(*) FROM engine").fetchone()[0]
        assert count == (2 if journal_kept else 1)


def test_another_program_that_holds_the_file_is_told_and_let_go_of(
    shop: FileDatabase, monkeypatch: pytest.MonkeyPatch
) -> None:
    """A reader keeps the journal from being emptied, with what was just taken out in it."""
    monkeypatch.setattr(database, "PRAGMAS", [*database.PRAGMAS, "busy_timeout=50"])
    heat_soaked(shop)
    with closing(sqlite3.connect(shop.file, isolation_level=None)) as other:
        other.execute("BEGIN")
        other.execute("SELECT count(*) FROM engine").fetchone()
        engines.change(shop, 1, 1, replaced(FACTS, customer="Guldbransen"))
        engines.change(shop, 1, 2, replaced(FACTS, customer=""))
        assert because(Noticed.FILE_HELD) in shop.noticed
        assert b"guldbransen" in (shop.folder / "shop.db-wal").read_bytes().lower()
    engine(shop, serial="31-9000")  # the next write tries again
    assert shop.noticed == []
    for file in shop.folder.iterdir():
        assert b"guldbransen" not in file.read_bytes().lower()


def test_another_program_that_holds_the_file_at_the_close_is_told(
    shop: FileDatabase, monkeypatch: pytest.MonkeyPatch
) -> None:
    heat_soaked(shop)
    monkeypatch.setattr(database, "BUSY_SECONDS", 0.05)
    with closing(sqlite3.connect(shop.file, isolation_level=None)) as other:
        other.execute("BEGIN")
        other.execute("SELECT count(*) FROM engine").fetchone()
        engine(shop, serial="31-9000")
        assert shop.close() is False


def test_a_shop_that_is_gone_is_not_made_anew_by_a_reader(shop: FileDatabase) -> None:
    shop.file.unlink()
    with pytest.raises(ShopUnavailableError) as caught, shop.reading() as session:
        session.connection()
    assert caught.value.reason == because(Unavailable.FILE_MISSING)
    assert not shop.file.exists()
