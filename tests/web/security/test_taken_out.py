"""A customer who is taken out leaves every file, tried with each rule on and with it off."""

import io
import zipfile

import pytest

from app.shop.record import loader
from app.shop.store import backup, database
from app.shop.store.database import FileDatabase
from app.shop.store.folder import forgetting
from tests.at_once import AtOnce
from tests.web.security.bench import Bench, Rules, take_out, without, words_left

RULES = Rules()
rule = RULES.rule


def _off_secure_delete(patch: pytest.MonkeyPatch, bench: Bench) -> None:
    patch.setattr(database, "PRAGMAS", [*database.PRAGMAS, "secure_delete=OFF"])


def _off_index(patch: pytest.MonkeyPatch, bench: Bench) -> None:
    patch.setattr(forgetting, "STATEMENTS", ())


@rule(_off_secure_delete)
def a_customer_who_was_taken_out_is_not_left_in_the_file(bench: Bench) -> bool:
    take_out(bench)
    with bench.shop.reading() as session:
        assert loader.load(session, 1).engine.customer == ""
    bench.shop.close()
    return words_left(bench.folder) == set()


@rule(_off_index)
def nor_in_the_search_index(bench: Bench) -> bool:
    take_out(bench)
    bench.shop.close()
    return words_left(bench.folder) == set()


@rule(without(FileDatabase, "_empty_journal", lambda self: True))
def nor_in_the_journal_of_a_running_program(bench: Bench) -> bool:
    take_out(bench)
    assert (bench.folder / "shop.db-wal").exists()
    return words_left(bench.folder) == set()


@rule(_off_index)
def nor_in_what_is_copied_or_exported_afterwards(bench: Bench) -> bool:
    take_out(bench)
    elsewhere = bench.folder.parent / f"{bench.folder.name}-elsewhere"
    backup.back_up(bench.folder, elsewhere / "copy.db")
    for path in ("/engines/1/export.json", "/api/engines/1"):
        answer = bench.here.get(path)
        assert answer.status_code == 200
        (elsewhere / path.replace("/", "-")).write_bytes(answer.content)
    bench.app.state.errands.apart = AtOnce()
    for name in ("engine-files.zip", "tables.zip"):
        answer = bench.here.get(f"/shop/{name}")
        assert answer.status_code == 200
        with zipfile.ZipFile(io.BytesIO(answer.content)) as held:  # what is packed shows no words
            assert len(held.namelist()) > 0
            held.extractall(elsewhere / name)
    return words_left(elsewhere) == set()


@pytest.mark.parametrize("name", RULES)
@pytest.mark.parametrize("on", [True, False], ids=["on", "off"])
def test_the_rule(bench: Bench, monkeypatch: pytest.MonkeyPatch, name: str, on: bool) -> None:
    assert RULES.holds(name, bench, monkeypatch, on=on) is on


def test_earlier_copies_that_keep_a_customer_are_told_where_one_is_taken_out(bench: Bench) -> None:
    bench.start()
    assert "earlier backup" not in bench.here.get("/engines/1/change").text
    backup.keep_one(bench.folder, bench.now)
    assert "1 earlier backup in" in bench.here.get("/engines/1/change").text
    aside = bench.folder / "set-aside" / "20261128T120000000000Z"
    aside.mkdir(parents=True)
    (aside / "shop.db").touch()
    page = bench.here.get("/engines/1/change").text
    assert "2 earlier backups in" in page
    assert str(bench.folder) in page
