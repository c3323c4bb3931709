"""Engines handed over while the line is cut and programs are killed: nothing twice, nothing missing, all seals hold."""

import os
import signal
from collections.abc import Iterator
from pathlib import Path

import pytest

from app.shop.store.database import Database, FileDatabase, raw_connection
from app.shop.store.row_hashes import check
from app.shop.store.upgrade import open_shop
from tests.at_once import AtOnce
from tests.shop.exchange.two_stores import handed, line_to, places, receiving, seals
from tests.shop.past import Past

EVEN, SLIPPED = [6.5] * 8, [6.5, 6.5, 7.75, 7.75, 6.5, 6.5, 6.5, 6.5]
CUTS = 10
SEED = 20_260


@pytest.fixture(autouse=True)
def _in_this_process(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("app.web.application.Apart", AtOnce)


@pytest.fixture
def office(tmp_path: Path) -> Iterator[Database]:
    opened = open_shop(tmp_path / "office")
    yield opened
    opened.close()


def keys(shop: Database) -> dict[str, list[str]]:
    """The keys of all rows of what an engine's file holds, by table."""
    tables = ("engine", "fitting", "visit", "round", "reading", "move", "check", "override", "sign_off")
    with shop.reading() as session:
        wire = raw_connection(session)
        return {t: sorted(key for (key,) in wire.execute(f'SELECT key FROM "{t}"')) for t in tables}


def test_cut_at_ten_places_and_begun_again_nothing_is_there_twice_or_missing(
    shop: FileDatabase, office: Database
) -> None:
    pasts = [Past(shop, serial=serial) for serial in ("31-0217", "22-0098", "22-0099")]
    for past in pasts:
        past.visit(SLIPPED, EVEN)
    pasts[0].visit(EVEN, signed=False)
    turns = list[int]()
    folder = shop.folder
    with receiving(office) as to, line_to(to.to) as line:
        through = type(to)(line.address, to.token)
        line.cuts = places(CUTS, there=9_000, back=900, seed=SEED)
        sender: Database = shop
        while line.cuts:
            turns.append(handed(sender, through))
            sender.close()
            sender = FileDatabase(folder)  # as after a restart: nothing is kept in memory
            if len(turns) == CUTS // 2:
                pasts[1].shop = sender
                pasts[1].visit(SLIPPED, EVEN)
        left = handed(sender, through)
        assert handed(sender, through) == 0, "all is acknowledged"
    assert turns == [-1] * CUTS
    assert left == len(pasts)
    assert keys(office) == keys(sender)
    assert seals(office) == seals(sender)
    with office.reading() as session:
        assert check(raw_connection(session)).broken == ()
    sender.close()


def test_a_sender_killed_at_any_step_goes_on_where_it_was(shop: FileDatabase, office: Database) -> None:
    """kill -9 right before and right after each of its writes: what was not acknowledged is sent again, once stored."""
    for serial in ("31-0217", "22-0098"):
        Past(shop, serial=serial).visit(SLIPPED, EVEN)
    folder = shop.folder
    shop.close()
    with receiving(office) as to:
        for write in range(6):
            child = os.fork()
            if child == 0:
                _die_at(folder, to, write)
            _, status = os.waitpid(child, 0)
            assert os.WIFSIGNALED(status) or os.WEXITSTATUS(status) == 0
        again = FileDatabase(folder)
        handed(again, to)
        assert handed(again, to) == 0
    assert keys(office) == keys(again)
    assert seals(office) == seals(again)
    again.close()


def _die_at(folder: Path, to: object, write: int) -> None:
    """In a child: hand over, and be killed around the write of that number."""
    sender = FileDatabase(folder)
    real, begun = sender.writing, iter(range(100))

    def writing() -> object:
        at = next(begun)
        if at == write // 2 and write % 2 == 0:
            os.kill(os.getpid(), signal.SIGKILL)
        if at == write // 2 + 1 and write % 2:
            os.kill(os.getpid(), signal.SIGKILL)
        return real()

    sender.writing = writing  # type: ignore[assignment,method-assign]
    handed(sender, to)  # type: ignore[arg-type]
    os._exit(0)
