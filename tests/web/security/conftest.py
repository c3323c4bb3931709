"""A bench of their own for the rules of each module."""

import shutil
from collections.abc import Iterator
from pathlib import Path

import pytest

from tests.web.security.bench import Bench


@pytest.fixture
def bench(tmp_path: Path, newly_made: Path) -> Iterator[Bench]:
    shutil.copyfile(newly_made, tmp_path / newly_made.name)
    made = Bench(tmp_path)
    yield made
    made.shop.close()
