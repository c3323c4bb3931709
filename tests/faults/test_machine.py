"""Faults of the computer: the disk full, the folder read-only, another program on the file, the clock put back."""

import sqlite3
import sys
from contextlib import closing
from datetime import datetime
from pathlib import Path

import pytest
from markupsafe import escape

from app.shop.procedure.requirements import RanOut
from app.shop.reasons import because
from app.shop.store import database
from app.shop.store.codes import Unavailable
from app.shop.store.upgrade import open_shop
from app.web.steady_clock import SteadyClock
from app.wording.message import say
from app.wording.program.store import UNAVAILABLE
from app.wording.reasons import in_words
from tests.faults.bench import Ledger, Tablet, audit, readings_path, shop_with_visits, small_disk
from tests.serving import serving
from tests.shop.yard import AT
from tests.started import ended

HERE = readings_path(1)


def fill(place: Path) -> Path:
    """Take up all the space that is left on a disk."""
    ballast = place / "ballast"
    with ballast.open("wb", buffering=0) as file:
        try:
            while True:
                file.write(bytes(4096))
        except OSError:
            return ballast


def test_a_full_disk_refuses_and_harms_nothing(tmp_path: Path) -> None:
    with small_disk(tmp_path / "disk", "4m") as disk:
        folder = disk / "shop"
        before = shop_with_visits(folder)
        ledger = Ledger()
        shop = open_shop(folder)
        with serving(shop) as address, Tablet(address) as tablet:
            for number in range(5):
                fields = ledger.new_reading(number)
                assert ledger.note(fields["key"], tablet.post(HERE, fields))
            ballast = fill(disk)
            for number in range(500):
                fields = ledger.new_reading(number)
                answer = tablet.post(HERE, fields)
                if not ledger.note(fields["key"], answer):
                    break
            assert answer.status == 503
            assert say(UNAVAILABLE[Unavailable.DISK_FULL]) in answer.page
            assert tablet.get(HERE).status == 200
            ballast.unlink()
            assert ledger.note(fields["key"], tablet.post(HERE, fields))
        shop.close()
        audit(folder, before, ledger)


SERVE_AS_NOBODY = """
import os, sys
from pathlib import Path
from app.server import cli
from app.shop.store.upgrade import open_shop
import app.web.application, app.web.pages.shop.damaged, app.shop.store.backup  # what nobody may not read
import encodings.idna, uvicorn
open_shop(Path(sys.argv[2])).close()
if os.geteuid() == 0:
    os.setgid(65534)
    os.setuid(65534)
cli.cli(["serve", "--port", "0", "--data", sys.argv[1]])
"""


@pytest.mark.skipif(sys.platform == "win32", reason="needs POSIX users and modes")
def test_a_folder_that_is_read_only_is_told_at_the_start(open_path: Path) -> None:
    folder = open_path / "shop"
    before = shop_with_visits(folder)
    folder.chmod(0o555)
    found = ended(str(folder), str(open_path / "first"), code=SERVE_AS_NOBODY)
    assert found.returncode == 1
    assert f"The folder {folder} is write-protected" in found.stderr
    assert "Traceback" not in found.stderr
    folder.chmod(0o755)
    audit(folder, before, Ledger())


def test_another_program_on_the_file_is_told_and_the_retry_is_stored_once(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(database, "PRAGMAS", [*database.PRAGMAS, "busy_timeout=100"])
    before = shop_with_visits(tmp_path)
    ledger = Ledger()
    shop = open_shop(tmp_path)
    other_program = closing(sqlite3.connect(shop.file, isolation_level=None))
    with serving(shop) as address, Tablet(address) as tablet, other_program as other:
        fields = ledger.new_reading(0)
        other.execute("BEGIN IMMEDIATE")
        for _ in range(2):
            answer = tablet.post(HERE, fields)
            assert answer.status == 503
            assert answer.saved is None
            assert escape(say(UNAVAILABLE[Unavailable.FILE_IN_USE])) in answer.page
            assert tablet.get(HERE).status == 200  # reading goes on
        other.execute("ROLLBACK")
        assert ledger.note(fields["key"], tablet.post(HERE, fields))
    shop.close()
    audit(tmp_path, before, ledger)


def test_a_clock_put_back_an_hour_changes_no_order_and_is_asked_about_after_a_restart(tmp_path: Path) -> None:
    """The running program's own time goes on; started anew it goes by the clock, and no gate is stretched by that."""
    before, ledger = shop_with_visits(tmp_path), Ledger()
    wall = datetime.fromisoformat(AT).timestamp()
    passed = [0.0]
    put_back = [0.0]

    def steady() -> SteadyClock:
        return SteadyClock(lambda: wall + passed[0] - put_back[0], lambda: passed[0])

    shop = open_shop(tmp_path)
    with serving(shop, steady()) as address, Tablet(address) as tablet:
        for number in range(8):
            put_back[0] = 3600.0 if number >= 4 else 0.0
            passed[0] += 20.0
            fields = ledger.new_reading(number)
            assert ledger.note(fields["key"], tablet.post(HERE, fields))
            assert tablet.get(HERE).status == 200
    with serving(shop, steady()) as address, Tablet(address) as tablet:
        refused = tablet.post(HERE, ledger.new_reading(8))
        assert (refused.status, refused.saved) == (422, None)
        assert in_words(because(RanOut.CLOCK_BACK)) in refused.page
    shop.close()
    audit(tmp_path, before, ledger)
    with closing(sqlite3.connect(tmp_path / "shop.db")) as connection:
        rows = connection.execute("SELECT key, at FROM reading ORDER BY id DESC LIMIT 8").fetchall()
    assert [key for key, _ in reversed(rows)] == ledger.acknowledged
    assert sorted(at for _, at in rows) == [at for _, at in reversed(rows)]
