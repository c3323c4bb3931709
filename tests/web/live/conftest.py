"""A shop open to the network, one for each test."""

import shutil
from collections.abc import Iterator
from pathlib import Path

import pytest

from tests.web.security.bench import Bench


@pytest.fixture
def bench(tmp_path: Path, newly_made: Path) -> Iterator[Bench]:
    shutil.copyfile(newly_made, tmp_path / newly_made.name)
    made = Bench(tmp_path)
    made.start()
    yield made
    made.shop.close()
