"""A file that is not a whole shop is refused, with the way on, and left as it is."""

import shlex
import sqlite3
from collections.abc import Callable
from contextlib import closing
from pathlib import Path

import pytest

from app.server.cli import cli
from app.shop.reasons import because
from app.shop.store.codes import Damage, Unavailable
from app.shop.store.upgrade import DamagedShopError, open_shop
from app.wording.reasons import in_words
from tests.shop.store.opening import add_revision, refused


def empty(file: Path) -> None:
    file.write_bytes(b"")


def cut(file: Path) -> None:
    file.write_bytes(file.read_bytes()[: file.stat().st_size // 2])


def bad_head(file: Path) -> None:
    file.write_bytes(b"not a data base." + file.read_bytes()[16:])


def blank_page(file: Path) -> None:
    held = bytearray(file.read_bytes())
    held[4096:8192] = bytes(4096)
    file.write_bytes(held)


def foreign(file: Path) -> None:
    file.unlink()
    with closing(sqlite3.connect(file)) as connection:
        connection.execute("CREATE TABLE address_book (name TEXT)")


def unversioned(file: Path) -> None:
    with closing(sqlite3.connect(file)) as connection, connection:
        connection.execute("DROP TABLE alembic_version")


def versionless(file: Path) -> None:
    with closing(sqlite3.connect(file)) as connection, connection:
        connection.execute("DELETE FROM alembic_version")


def flipped_bit(file: Path) -> None:
    """Inside a stored value, which SQLite's own check does not see."""
    held = file.read_bytes()
    assert held.count(b"Bench meter") == 1
    file.write_bytes(held.replace(b"Bench meter", b"Bench metes"))


@pytest.mark.parametrize(
    ("damage", "found"),
    [
        (flipped_bit, Damage.ROWS_CHANGED),
        (empty, Damage.EMPTY_FILE),
        (cut, Damage.DATABASE_CHECK),
        (bad_head, Damage.DATABASE_CHECK),
        (blank_page, Damage.DATABASE_CHECK),
        (foreign, Damage.FOREIGN_FILE),
        (unversioned, Damage.NO_VERSION),
        (versionless, Damage.NO_VERSION),
    ],
)
def test_a_damaged_shop_is_refused_with_a_command_to_continue_and_not_changed(
    folder: Path, damage: Callable[[Path], None], found: Damage
) -> None:
    damage(folder / "shop.db")
    left = (folder / "shop.db").read_bytes()
    reason = refused(folder, DamagedShopError)
    assert reason.code is Unavailable.DAMAGED_WITHOUT_BACKUP
    assert reason.values["found"].code is found
    assert reason.values["command"] == f"evenbore restore --data {folder} --empty"
    assert (folder / "shop.db").read_bytes() == left


def test_the_way_out_of_a_damaged_shop_works(
    folder: Path, scripts: Path, head: str, capsys: pytest.CaptureFixture[str]
) -> None:
    """The command that the message gives, as typed."""
    add_revision(scripts, "next", head, "pass")
    open_shop(folder, scripts).close()
    cut(folder / "shop.db")
    damaged = (folder / "shop.db").read_bytes()
    reason = refused(folder, DamagedShopError, scripts)
    assert reason.code is Unavailable.DAMAGED
    typed = in_words(reason).partition("type: evenbore ")[2]
    with pytest.raises(SystemExit) as ended:
        cli(shlex.split(typed))
    assert ended.value.code == 0, capsys.readouterr().err
    assert (next((folder / "set-aside").iterdir()) / "shop.db").read_bytes() == damaged
    shop = open_shop(folder, scripts)
    with shop.reading() as session:
        assert session.connection().exec_driver_sql("SELECT count(*) FROM engine").scalar_one() == 3
    shop.close()


def test_a_journal_without_its_file_is_not_taken_for_a_new_shop(tmp_path: Path) -> None:
    (tmp_path / "shop.db-wal").write_bytes(b"what may still be saved")
    found = refused(tmp_path, DamagedShopError).values["found"]
    assert found == because(Damage.JOURNAL_ONLY, journal="shop.db-wal")
    assert (tmp_path / "shop.db-wal").read_bytes() == b"what may still be saved"
