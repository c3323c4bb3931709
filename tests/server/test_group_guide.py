"""README's steps for a group on a database server, done as they stand there."""

import re
import subprocess
from collections.abc import Iterator
from pathlib import Path

import psycopg
import pytest

from app.server.place import ShopPlace
from app.shop.store.database import ShopUnavailableError, raw_connection
from app.shop.store.postgres.codes import ServerProblem
from app.shop.store.postgres.dump import dump, programs_for
from app.shop.store.postgres.opening import RUNS
from app.shop.store.tables import EVIDENCE
from tests.cluster import Cluster
from tests.shop.store.opening import ENGINE
from tests.shop.store.postgres.damaging import refused

README = (Path(__file__).parent.parent.parent / "README.md").read_text()
(SQL,) = re.findall(r"^```sql\n(.*?)^```$", README, re.MULTILINE | re.DOTALL)
OWNER, DATABASE, OTHER = "evenbore", "evenbore", "other"


@pytest.fixture
def operated(cluster_of_tests: Cluster) -> Iterator[Cluster]:
    """A server on which an operator did what the guide says first."""
    with psycopg.connect(cluster_of_tests.address(), autocommit=True) as connection:
        for statement in filter(str.strip, SQL.split(";")):
            connection.execute(statement.encode())
        try:
            yield cluster_of_tests
        finally:
            for name in (DATABASE, OTHER):
                connection.execute(f"DROP DATABASE IF EXISTS {name} WITH (FORCE)".encode())
            connection.execute(f"DROP ROLE {OWNER}".encode())
            connection.execute(f"DROP ROLE IF EXISTS {RUNS}".encode())


def place(operated: Cluster, role: str, folder: Path, database: str = DATABASE) -> ShopPlace:
    return ShopPlace(folder, operated.address(database, role))


def added(operated: Cluster, folder: Path, database: str = DATABASE) -> None:
    """An engine is stored by who runs the program, who may not take it out."""
    shop = place(operated, RUNS, folder, database).open()
    try:
        with shop.writing() as session:
            raw_connection(session).execute(ENGINE.format(key="a"))
        with pytest.raises(ShopUnavailableError) as caught, shop.writing() as session:
            raw_connection(session).execute("DELETE FROM engine")
        assert caught.value.reason.code is ServerProblem.RIGHTS
    finally:
        shop.close()


def test_the_owner_makes_the_tables_and_who_runs_the_program_adds(operated: Cluster, tmp_path: Path) -> None:
    place(operated, OWNER, tmp_path).open().close()
    added(operated, tmp_path)


def test_a_role_that_came_after_the_tables_has_its_rights_from_the_next_start_of_the_owner(
    operated: Cluster, tmp_path: Path
) -> None:
    """It was told to start the program once as the owner, which gave it nothing."""
    with psycopg.connect(operated.address(), autocommit=True) as connection:
        connection.execute(f"DROP ROLE {RUNS}".encode())
        place(operated, OWNER, tmp_path).open().close()
        connection.execute(f"CREATE ROLE {RUNS} LOGIN".encode())
    with pytest.raises(ShopUnavailableError) as caught:
        place(operated, RUNS, tmp_path).open()
    assert caught.value.reason.code is ServerProblem.RIGHTS
    place(operated, OWNER, tmp_path).open().close()
    added(operated, tmp_path)


def test_a_backup_of_the_owner_is_verified_and_restored_into_another_database(
    operated: Cluster, tmp_path: Path
) -> None:
    place(operated, OWNER, tmp_path).open().close()
    made = dump(place(operated, OWNER, tmp_path).server, tmp_path / "shop.dump")
    assert (made.rows, made.unproved) == (1, None)  # the meter that every shop begins with
    with psycopg.connect(operated.address(), autocommit=True) as connection:
        again = re.sub("DATABASE evenbore", f"DATABASE {OTHER}", SQL.split(";")[2])
        connection.execute(again.encode())
    restored = operated.address(OTHER, OWNER)
    subprocess.run([str(programs_for(14).restore), f"--dbname={restored}", str(made.file)], check=True)
    added(operated, tmp_path, OTHER)
    with psycopg.connect(operated.address(OTHER, RUNS), autocommit=True) as connection:
        for table in EVIDENCE:
            refused(connection, table, psycopg.errors.InsufficientPrivilege)
