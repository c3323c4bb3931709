"""A backup of a database is read to its end, and its rows proved, before it counts as one."""

import subprocess
from collections.abc import Callable
from pathlib import Path

import psycopg
import pytest
import typer

from app.server.commands import backup_commands
from app.server.place import ShopPlace
from app.shop.reasons import Reason
from app.shop.store.codes import Unavailable
from app.shop.store.database import ShopUnavailableError
from app.shop.store.postgres import dump as dumping
from app.shop.store.postgres.codes import ServerProblem
from app.shop.store.postgres.dump import dump, programs_for
from app.shop.store.postgres.opening import open_server
from app.shop.store.postgres.proof import look
from app.shop.store.postgres.server import ServerDatabase
from app.shop.store.tables import EVIDENCE
from tests.cluster import Cluster
from tests.shop.store.postgres.damaging import WRONG, behind_its_back
from tests.shop.store.postgres.damaging import refused as only_added
from tests.shop.yard import heat_soaked


def databases(shop: ServerDatabase) -> set[str]:
    """The names of all databases of the server."""
    with psycopg.connect(shop.address) as connection:
        return {str(name) for (name,) in connection.execute("SELECT datname FROM pg_database")}


def refused(address: str, target: Path) -> Reason:
    """Why no backup is made; nothing is left of it."""
    with pytest.raises(ShopUnavailableError) as caught:
        dump(address, target)
    assert not list(target.parent.glob(".evenbore-*"))
    return caught.value.reason


def test_a_backup_is_proved_and_restores_into_the_same_shop(
    server_shop: ServerDatabase, address: str, tmp_path: Path
) -> None:
    heat_soaked(server_shop)
    before = databases(server_shop)
    made = dump(server_shop.address, tmp_path / "shop.dump")
    sound = look(server_shop).sound
    assert (made.rows, made.unproved) == (sound, None)
    assert databases(server_shop) == before
    restore = [str(programs_for(14).restore), "--no-owner", "--exit-on-error", f"--dbname={address}", str(made.file)]
    subprocess.run(restore, check=True)
    again = open_server(address, tmp_path)
    assert isinstance(again, ServerDatabase)
    assert look(again).sound == sound
    with psycopg.connect(address, autocommit=True) as connection:
        for table in EVIDENCE:
            only_added(connection, table, psycopg.errors.IntegrityConstraintViolation)
    again.close()


def test_rows_that_were_changed_make_no_backup(server_shop: ServerDatabase, tmp_path: Path) -> None:
    heat_soaked(server_shop)
    behind_its_back(server_shop, WRONG)
    before = databases(server_shop)
    found = refused(server_shop.address, tmp_path / "shop.dump")
    assert (found.code, found.values["why"]) == (ServerProblem.DUMP_FAILED, "reading 3")
    assert not (tmp_path / "shop.dump").exists()
    assert databases(server_shop) == before


def cut(content: bytes) -> bytes:
    return content[: len(content) * 2 // 3]


def flipped(content: bytes) -> bytes:
    """One bit is another in the middle of the last rows, which are packed."""
    at = content.rindex(b"\x78\x9c") + 8  # where zlib's packing begins (RFC 1950, section 2.2)
    return content[:at] + bytes([content[at] ^ 1]) + content[at + 1 :]


@pytest.mark.parametrize("spoilt", [cut, flipped])
def test_a_backup_that_was_cut_or_changed_is_none(
    server_shop: ServerDatabase, tmp_path: Path, monkeypatch: pytest.MonkeyPatch, spoilt: Callable[[bytes], bytes]
) -> None:
    heat_soaked(server_shop)
    run = dumping._run

    def spoil(program: Path, *arguments: str) -> None:
        run(program, *arguments)
        if program.name == "pg_dump":
            (file,) = tmp_path.glob(".evenbore-*")
            file.write_bytes(spoilt(file.read_bytes()))

    monkeypatch.setattr(dumping, "_run", spoil)
    assert refused(server_shop.address, tmp_path / "shop.dump").code is ServerProblem.DUMP_FAILED


def test_what_cannot_be_backed_up_is_refused_in_words(
    server_shop: ServerDatabase, address: str, tmp_path: Path
) -> None:
    assert refused(address, tmp_path / "a.dump").code is ServerProblem.NOTHING_THERE
    (tmp_path / "b.dump").write_text("a person's own")
    assert refused(server_shop.address, tmp_path / "b.dump").code is Unavailable.BACKUP_EXISTS
    assert (tmp_path / "b.dump").read_text() == "a person's own"
    with pytest.raises(ShopUnavailableError) as caught:
        programs_for(999)
    assert caught.value.reason.code is ServerProblem.NO_DUMP


def test_who_may_make_no_database_has_it_read_and_is_told(
    cluster_of_tests: Cluster, server_shop: ServerDatabase, tmp_path: Path
) -> None:
    with psycopg.connect(server_shop.address, autocommit=True) as owner:
        owner.execute("CREATE ROLE copies LOGIN")
        owner.execute("GRANT pg_read_all_data TO copies")
    try:
        made = dump(cluster_of_tests.address("tests", "copies"), tmp_path / "shop.dump")
        assert made.unproved is not None
        assert made.unproved.code is ServerProblem.DUMP_NOT_PROVED
        assert made.file.stat().st_size > 0
    finally:
        with psycopg.connect(server_shop.address, autocommit=True) as owner:
            owner.execute("DROP ROLE copies")


def test_the_command_saves_one_and_leaves_restoring_to_the_operator(
    server_shop: ServerDatabase, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    place = ShopPlace.typed(server_shop.address)
    backup_commands.backup(place, tmp_path)
    (made,) = tmp_path.glob("*.dump")
    told = capsys.readouterr().out
    assert "Rows verified: 1." in told
    assert made.name in told
    with pytest.raises(typer.Exit):
        backup_commands.restore(made, place)
    assert "pg_restore into an empty database" in capsys.readouterr().err
