"""A shop on a server of the tests' own, beside one in a file."""

from collections.abc import Iterator
from pathlib import Path

import pytest

from app.shop.store.database import Database
from tests.on_a_server import Emptied


@pytest.fixture
def server_shop(emptied: Emptied, tmp_path: Path) -> Iterator[Database]:
    """An empty shop on a server."""
    folder = tmp_path / "beside"
    folder.mkdir()
    opened = emptied(folder)
    yield opened
    opened.close()


@pytest.fixture
def address(cluster_of_tests: object, tmp_path: Path) -> str:
    """The address of an empty database, made for this test alone."""
    from tests.cluster import Cluster

    assert isinstance(cluster_of_tests, Cluster)
    return cluster_of_tests.make(f"test_{tmp_path.name}_{abs(hash(tmp_path)):x}"[:60])
