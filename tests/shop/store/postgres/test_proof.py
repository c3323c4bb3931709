"""What is proved of the records on a server: by a check, by a program that starts, in the night by one of several."""

import threading
from collections.abc import Callable
from datetime import UTC, datetime, timedelta
from pathlib import Path

import psycopg
import pytest

from app.server.commands.backup_commands import MEGABYTE
from app.shop.reasons import Reason
from app.shop.store.codes import Damage
from app.shop.store.database import raw_connection
from app.shop.store.postgres import proof
from app.shop.store.postgres.codes import ServerProblem
from app.shop.store.postgres.server import PROVE, ServerDatabase
from app.shop.store.proof import proving
from app.shop.store.proof.proving import Proved
from app.wording.program.server_records import facts_of, problems_of
from tests.shop.store.postgres.damaging import WRONG, behind_its_back
from tests.shop.yard import FOUR, engine, heat_soaked
from tests.waiting import until

NOW = datetime(2026, 11, 25, 12, 0, tzinfo=UTC)
GONE = "DELETE FROM reading WHERE id = 3"


def known(shop: ServerDatabase) -> dict[str, Proved]:
    """Up to where the tables are proved."""
    with shop.reading() as session:
        return proving.known(raw_connection(session))


def proved_while_open(shop: ServerDatabase, now: datetime, when: Callable[[], bool]) -> list[Reason]:
    """Run what proves rows until something came of it; what it told."""
    told: list[Reason] = []
    with proof.proving_nightly(shop, lambda: now, told.append):
        until(lambda: when() or bool(told))
    return told


def test_a_check_makes_every_hash_again_and_says_what_it_looked_at(server_shop: ServerDatabase) -> None:
    heat_soaked(server_shop)
    found = proof.look(server_shop)
    assert found.damage is None
    assert found.sound > 10
    with psycopg.connect(server_shop.address) as connection:
        size = connection.execute("SELECT pg_database_size(current_database())").fetchone()
    assert size is not None
    assert found.size == pytest.approx(size[0], abs=MEGABYTE)
    assert any(str(found.sound) in line for line in facts_of(found))
    assert problems_of(found) == []


def test_a_check_names_the_rows_that_were_changed(server_shop: ServerDatabase) -> None:
    heat_soaked(server_shop)
    behind_its_back(server_shop, WRONG)
    found = proof.look(server_shop)
    assert found.damage is not None
    assert found.damage.code is ServerProblem.ROWS_CHANGED
    (told,) = problems_of(found)
    assert "reading 3" in told
    assert found.server in told


def test_a_start_proves_the_rows_since_the_last_proof(server_shop: ServerDatabase) -> None:
    heat_soaked(server_shop)
    assert proved_while_open(server_shop, NOW, lambda: bool(known(server_shop))) == []
    before = known(server_shop)
    engine(server_shop, FOUR, serial="22-0098")
    proved_while_open(server_shop, NOW, lambda: known(server_shop)["fitting"] != before["fitting"])
    after = known(server_shop)
    assert after["fitting"].up_to == before["fitting"].up_to + 1
    assert after["reading"].whole_at == before["reading"].whole_at


def test_a_row_that_is_gone_is_told_by_the_next_start(server_shop: ServerDatabase) -> None:
    heat_soaked(server_shop)
    proved_while_open(server_shop, NOW, lambda: bool(known(server_shop)))
    behind_its_back(server_shop, GONE)
    (told,) = proved_while_open(server_shop, NOW, lambda: False)
    assert told.code is ServerProblem.ROWS_CHANGED
    found = told.values["found"]
    assert isinstance(found, Reason)
    assert found.code is Damage.ROWS_GONE
    assert told in server_shop.noticed


def test_the_night_proves_all_rows_and_finds_one_that_was_changed_after_its_proof(server_shop: ServerDatabase) -> None:
    heat_soaked(server_shop)
    proved_while_open(server_shop, NOW, lambda: bool(known(server_shop)))
    later = NOW + timedelta(days=2)
    whole = later.isoformat(timespec="seconds")
    proved_while_open(server_shop, later, lambda: {one.whole_at for one in known(server_shop).values()} == {whole})
    behind_its_back(server_shop, WRONG)
    assert proved_while_open(server_shop, later, lambda: known(server_shop)["reading"].whole_at == whole) == []
    (told,) = proved_while_open(server_shop, later + timedelta(days=1), lambda: False)
    assert told.code is ServerProblem.ROWS_CHANGED
    assert known(server_shop) == {}


def test_one_program_of_several_proves(
    server_shop: ServerDatabase, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """While another holds the proof, this one makes none; it does once the other let go of it."""
    monkeypatch.setattr(proof, "LOOK_AGAIN_SECONDS", 0.05)
    other, asked = ServerDatabase(server_shop.address, tmp_path), threading.Semaphore(0)
    alone = server_shop.alone

    def counted(task: int):  # type: ignore[no-untyped-def]
        asked.release()
        return alone(task)

    monkeypatch.setattr(server_shop, "alone", counted)
    with other.alone(PROVE) as mine:
        assert mine
        with proof.proving_nightly(server_shop, lambda: NOW, lambda _: None):
            for _ in range(3):
                assert asked.acquire(timeout=60)
            assert known(server_shop) == {}
    with proof.proving_nightly(server_shop, lambda: NOW, lambda _: None):
        until(lambda: bool(known(server_shop)))
    other.close()
