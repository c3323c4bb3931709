"""Opening a shop: new, old, taken, newer, and cut off half-way."""

import shutil
import subprocess
import sys
from datetime import UTC, datetime
from pathlib import Path

import pytest
from sqlalchemy.exc import IntegrityError

from app.shop.reasons import Reason, because
from app.shop.store import backup, copies, row_hashes, upgrade
from app.shop.store.codes import Noticed, Unavailable
from app.shop.store.database import FileDatabase, ShopTakenError, ShopUnavailableError, raw_connection
from app.shop.store.integrity import APPLICATION_ID, Findings, examine
from app.shop.store.upgrade import NewerShopError, UpgradeFailedError, open_shop
from tests.shop.past import Past
from tests.shop.store.opening import ENGINE, add_revision, ask, refused, run
from tests.shop.yard import engine


def test_a_new_shop_is_marked_as_ours_and_leaves_nothing_beside_it(tmp_path: Path) -> None:
    open_shop(tmp_path / "deep" / "shop").close()
    assert sorted(file.name for file in (tmp_path / "deep" / "shop").iterdir()) == ["shop.db", "shop.lock"]
    assert ask(tmp_path / "deep" / "shop" / "shop.db", "PRAGMA application_id") == APPLICATION_ID


def test_a_folder_with_awkward_letters_works(tmp_path: Path) -> None:
    awkward = tmp_path / "100% naïve #1 ?mode=ro & more"
    for _ in range(2):
        open_shop(awkward).close()
    assert (awkward / "shop.db").exists()


def test_opening_again_changes_nothing_but_how_far_rows_are_proved(folder: Path) -> None:
    open_shop(folder).close()
    before = (folder / "shop.db").read_bytes()
    open_shop(folder).close()
    assert (folder / "shop.db").read_bytes() == before
    assert not (folder / "copies").exists()


def test_a_shop_that_is_open_is_refused(shop: FileDatabase) -> None:
    assert refused(shop.folder, ShopTakenError).code is Unavailable.OPEN_ELSEWHERE


def test_an_upgrade_keeps_the_rows_and_leaves_a_copy_from_before(folder: Path, scripts: Path, head: str) -> None:
    add_revision(scripts, "next", head, "op.add_column('engine', sa.Column('note', sa.Text(), nullable=True))")
    shop = open_shop(folder, scripts)
    shop.close()
    assert ask(shop.file, "SELECT version_num FROM alembic_version") == "next"
    assert ask(shop.file, "SELECT count(*) FROM engine WHERE note IS NULL") == 3
    (copy,) = (folder / "copies").iterdir()
    assert ask(copy, "SELECT version_num FROM alembic_version") == head
    assert ask(copy, "SELECT count(*) FROM engine") == 3
    assert ask(copy, "PRAGMA journal_mode") == "delete"


def test_the_copy_from_before_is_a_shop_that_opens(folder: Path, scripts: Path, head: str, tmp_path: Path) -> None:
    add_revision(scripts, "next", head, "op.drop_column('engine', 'idle_speed')")
    open_shop(folder, scripts).close()
    (copy,) = (folder / "copies").iterdir()
    (tmp_path / "again").mkdir()
    shutil.copy(copy, tmp_path / "again" / "shop.db")
    shop = open_shop(tmp_path / "again")
    with shop.reading() as session:
        assert session.connection().exec_driver_sql("SELECT count(idle_speed) FROM engine").scalar_one() == 3
    shop.close()


SINCE = (
    ("round", "from_above INTEGER"),
    ("move", "taken_back INTEGER"),
    ("move", "power_off INTEGER"),
    ("visit", "intake TEXT"),
    ("visit", "intake_note TEXT"),
    ("visit", "meter_own REAL"),
    ("visit", "meter_low REAL"),
    ("visit", "meter_limit REAL"),
    ("visit", "runs TEXT"),
    ("visit", "site_id INTEGER"),
    ("reading", "sd REAL"),
    ("reading", "look_id INTEGER"),
    ("reading", "speed REAL"),
    ("reading", "fixed INTEGER"),
    ("reading", "alike REAL"),
)
"""Columns that 0011 did not have yet."""


def test_moves_and_rounds_from_before_a_migration_are_kept_as_they_were(scripts: Path, tmp_path: Path) -> None:
    (tmp_path / "aside").mkdir()
    later = [one for one in (scripts / "versions").glob("0*.py") if one.name > "0011"]
    aside = [one.rename(tmp_path / "aside" / one.name) for one in later]
    old = open_shop(tmp_path / "old", scripts)
    with old.writing() as session:
        for table, column in SINCE:
            run(session, f"ALTER TABLE {table} ADD COLUMN {column}")  # what is written with knows it
    Past(old).visit([6.5] * 8, [6.5] * 8)
    with old.writing() as session:
        for table, column in SINCE:
            run(session, f"ALTER TABLE {table} DROP COLUMN {column.partition(' ')[0]}")
    old.close()
    rows = "SELECT (SELECT group_concat(id || key || kind || amount || seal) FROM move) || "
    rows += "(SELECT group_concat(id || key || opening || seal) FROM round)"
    before = ask(old.file, rows)
    for one in aside:
        one.rename(scripts / "versions" / one.name)
    shop = open_shop(tmp_path / "old", scripts)
    assert ask(shop.file, rows) == before
    with shop.reading() as session:
        assert row_hashes.check(raw_connection(session)).broken == ()
    screw = "INSERT INTO move SELECT 99, 'k', payload, visit_id, phase, '{}', bank, near, far, amount, leaves, "
    screw += "advised, after_reading, \"by\", at, NULL, '', NULL, NULL FROM move LIMIT 1"
    with shop.writing() as session:
        run(session, screw.format("screw"))
        for statement in (screw.format("other"), "UPDATE move SET amount = 1", "DELETE FROM move"):
            with pytest.raises(IntegrityError):
                run(session, statement)
    shop.close()


HALF_WAY = (
    "op.add_column('engine', sa.Column('note', sa.Text(), nullable=True)); "
    "op.create_table('more', sa.Column('id', sa.Integer())); "
    "op.execute('UPDATE engine SET serial = 0'); "
)


@pytest.mark.parametrize(
    ("breaks", "says"),
    [
        ("raise ValueError('no such thing')", "no such thing"),
        ("op.execute('SELECT * FROM nowhere')", "no such table"),
        ("op.execute('DELETE FROM engine WHERE key = 0 OR 1')", "rows went missing from engine"),
        ("op.drop_table('engine')", "rows went missing from engine"),
        (
            "op.execute(\"INSERT INTO fitting VALUES (1, 'k', '', 99, 1, '', '', '', '', '')\")",
            "rows of fitting point nowhere",
        ),
        (
            'op.execute("DROP TRIGGER meter_no_update"); op.execute("UPDATE meter SET name = \'Other\'")',
            "rows of meter do not match their row hashes",
        ),
    ],
    ids=["raises", "bad statement", "rows deleted", "table dropped", "loose rows", "changed rows"],
)
def test_an_upgrade_that_fails_leaves_the_file_as_it_was(
    folder: Path, scripts: Path, head: str, breaks: str, says: str
) -> None:
    """Two revisions: the first works, the second does half its work and breaks. Neither may leave a trace."""
    before = (folder / "shop.db").read_bytes()
    add_revision(scripts, "next", head, "op.create_table('extra', sa.Column('id', sa.Integer()))")
    add_revision(scripts, "worse", "next", HALF_WAY + breaks)
    reason = refused(folder, UpgradeFailedError, scripts)
    assert reason.code is Unavailable.UPGRADE_FAILED
    assert says in reason.values["why"]
    assert reason.values["file"] == folder / "shop.db"
    assert reason.values["backup"].parent == folder / "copies"
    assert reason.values["backup"].exists()
    assert (folder / "shop.db").read_bytes() == before
    assert not list(folder.glob("shop.db-*"))
    open_shop(folder).close()  # the version from before goes on with it


def test_a_new_shop_that_fails_leaves_no_shop(tmp_path: Path, scripts: Path, head: str) -> None:
    add_revision(scripts, "worse", head, HALF_WAY + "raise ValueError('no such thing')")
    reason = refused(tmp_path / "shop", UpgradeFailedError, scripts)
    assert reason == because(Unavailable.NOT_CREATED, folder=tmp_path / "shop", why="no such thing")
    assert not (tmp_path / "shop" / "shop.db").exists()
    open_shop(tmp_path / "shop").close()


def test_a_new_shop_that_was_cut_off_is_begun_afresh(tmp_path: Path) -> None:
    half = copies.unfinished_beside(tmp_path / "shop.db")
    half.write_bytes(b"half of one")
    shop = open_shop(tmp_path)
    shop.close()
    assert because(Noticed.UNFINISHED, files=(str(half),)) in shop.noticed
    assert sorted(file.name for file in tmp_path.iterdir()) == [half.name, "shop.db", "shop.lock"]


def test_a_disk_that_fills_during_the_copy_stops_the_upgrade(
    folder: Path, scripts: Path, head: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    def full(*_: object) -> None:
        raise OSError(28, "No space left on device")

    add_revision(scripts, "next", head, "pass")
    before = (folder / "shop.db").read_bytes()
    monkeypatch.setattr(copies, "sync_file", full)
    reason = refused(folder, ShopUnavailableError, scripts)
    assert reason.code is Unavailable.NOT_OPENED
    assert "No space left" in reason.values["why"]
    assert (folder / "shop.db").read_bytes() == before
    assert not list((folder / "copies").iterdir())


def test_a_newer_shop_says_update_the_program(folder: Path, scripts: Path, head: str) -> None:
    add_revision(scripts, "next", head, "pass")
    open_shop(folder, scripts).close()
    before = (folder / "shop.db").read_bytes()
    reason = refused(folder, NewerShopError)
    assert reason == because(Unavailable.NEWER_PROGRAM, folder=folder, present="next", known=head)
    assert (folder / "shop.db").read_bytes() == before


KILLED = f"""
import os, signal, sys
from pathlib import Path
from app.shop.store.upgrade import open_shop
shop = open_shop(Path(sys.argv[1]))
with shop.writing() as session:
    session.connection().exec_driver_sql({ENGINE.format(key="stored")!r})
with shop.writing() as session:
    session.connection().exec_driver_sql({ENGINE.format(key="not stored")!r})
    os.kill(os.getpid(), signal.SIGKILL)
"""


@pytest.mark.slow
@pytest.mark.skipif(sys.platform == "win32", reason="kills the process by a signal")
def test_what_was_stored_before_a_kill_is_there_afterwards(folder: Path) -> None:
    killed = subprocess.run([sys.executable, "-c", KILLED, str(folder)], check=False)
    assert killed.returncode == -9
    assert (folder / "shop.db-wal").stat().st_size > 0
    shop = open_shop(folder)
    with shop.reading() as session:
        keys = session.connection().exec_driver_sql("SELECT key FROM engine ORDER BY id").scalars().all()
    shop.close()
    assert keys == ["a", "b", "c", "stored"]


def test_a_file_that_a_folder_cannot_be_made_under_is_named(tmp_path: Path) -> None:
    (tmp_path / "file").write_text("in the way")
    reason = refused(tmp_path / "file" / "shop", ShopUnavailableError)
    assert reason.code is Unavailable.FOLDER_NOT_CREATED
    assert reason.values["folder"] == tmp_path / "file" / "shop"


AS_NOBODY = """
import os, sys
from pathlib import Path
from app.shop.store.upgrade import open_shop
open_shop(Path(sys.argv[2])).close()  # loads what nobody may not read
if os.geteuid() == 0:
    os.setgid(65534)
    os.setuid(65534)
shop = open_shop(Path(sys.argv[1]))
with shop.writing() as session:
    session.connection().exec_driver_sql("UPDATE engine SET description = 'changed'")
"""


@pytest.mark.slow
@pytest.mark.skipif(sys.platform == "win32", reason="needs POSIX users and modes")
@pytest.mark.parametrize("locked", ["folder", "file"])
def test_a_shop_that_may_not_be_written_to_is_named(folder: Path, open_path: Path, locked: str) -> None:
    """In a child that has become nobody by the time it opens the shop: root may write anywhere."""
    folder = shutil.copytree(folder, open_path / "shop")
    if locked == "file":
        folder.chmod(0o777)
        (folder / "shop.lock").chmod(0o666)
        (folder / "shop.db").chmod(0o444)
    else:
        folder.chmod(0o555)
    child = subprocess.run(
        [sys.executable, "-c", AS_NOBODY, str(folder), str(folder.parent / "first")],
        check=False,
        capture_output=True,
        text=True,
    )
    assert child.returncode == 1
    code = Unavailable.FOLDER_READ_ONLY if locked == "folder" else Unavailable.READ_ONLY
    assert f"ShopUnavailableError: {code}" in child.stderr


def test_a_start_examines_a_copy_only_where_it_has_more(folder: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    older = (folder / "shop.db").read_bytes()
    shop = open_shop(folder)
    engine(shop)
    shop.close()
    sound, damaged = (backup.keep_one(folder, datetime(2026, 11, day, tzinfo=UTC)) for day in (27, 28))
    damaged.write_bytes(damaged.read_bytes().replace(b"Bench meter", b"Bench metes"))
    examined: list[str] = []

    def noted(file: Path, *, since: bool = False) -> Findings:
        examined.append(file.name)
        return examine(file, since=since)

    monkeypatch.setattr(upgrade, "examine", noted)
    assert _noticed(folder) == []
    assert examined == ["shop.db"]
    (folder / "shop.db").write_bytes(older)
    (notice,) = _noticed(folder)
    assert examined[1:] == ["shop.db", damaged.name, sound.name]
    assert (notice.code, notice.values["at"]) == (Noticed.BACKUP_HAS_MORE, datetime(2026, 11, 27, tzinfo=UTC))


def _noticed(folder: Path) -> list[Reason]:
    shop = open_shop(folder)
    shop.close()
    return shop.noticed
