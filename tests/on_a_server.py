"""Tests on a database server: which of them, and an empty shop for each in one database of each process."""

import inspect
import os
from collections.abc import Callable, Iterator
from pathlib import Path

import pytest

from app.shop.store.database import Database, FileDatabase
from tests.cluster import Cluster, cluster, programs

Emptied = Callable[[Path], Database]


def runs_on_a_server(item: pytest.Item) -> bool:
    """Whether a test takes a shop of whatever store: one that says that it takes a file is about the file."""
    if not isinstance(item, pytest.Function) or "shop" not in item.fixturenames:
        return False
    fixtures = item._fixtureinfo.name2fixturedefs.values()
    takers = [item.function, *(made[-1].func for made in fixtures)]
    return not any(
        FileDatabase in (parameter.annotation for parameter in inspect.signature(taker).parameters.values())
        for taker in takers
    )


@pytest.fixture(scope="session")
def cluster_of_tests() -> Iterator[Cluster]:
    """A server for all tests of a process. Skipped without PostgreSQL, which CI has to have."""
    if programs() is None:
        if "CI" in os.environ:
            pytest.fail("PostgreSQL is not installed")
        pytest.skip("PostgreSQL is not installed")
    with cluster() as made:
        yield made


@pytest.fixture(scope="session")
def emptied(
    cluster_of_tests: Cluster, tmp_path_factory: pytest.TempPathFactory
) -> Iterator[Callable[[Path], Database]]:
    """Hands out the one database of this process as an empty shop, over a folder for what is no record."""
    import psycopg

    from app.shop.store.postgres.opening import open_server
    from app.shop.store.postgres.server import ServerDatabase

    address = cluster_of_tests.make("tests")
    open_server(address, tmp_path_factory.mktemp("server")).close()
    with psycopg.connect(address, autocommit=True) as connection:
        names = [name for (name,) in connection.execute("SELECT tablename FROM pg_tables WHERE schemaname = 'public'")]
        names.remove("alembic_version")
        filled = [n for n in names if connection.execute(f'SELECT count(*) FROM "{n}"'.encode()).fetchone() != (0,)]
        connection.execute("CREATE SCHEMA kept")
        for name in filled:
            connection.execute(f'CREATE TABLE kept."{name}" AS TABLE "{name}"'.encode())
        anew = "; ".join(
            ["BEGIN", "SET LOCAL session_replication_role = replica"]  # no trigger, no foreign key
            + [f'DELETE FROM "{name}"' for name in names]
            + [f'INSERT INTO "{name}" SELECT * FROM kept."{name}"' for name in filled]
            + ["COMMIT"]
        ).encode()

        def empty(folder: Path) -> Database:
            connection.execute(anew, prepare=False)
            return ServerDatabase(address, folder)

        yield empty
