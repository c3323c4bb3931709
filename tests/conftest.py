"""What tests share: a shop of their own, and the real server over one."""

import shutil
import tempfile
from collections.abc import Iterator
from pathlib import Path

import pytest

from app.shop.store.database import Database
from app.shop.store.upgrade import open_shop
from tests.serving import serving


@pytest.fixture(scope="session")
def newly_made(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The file of an empty shop, made by the migrations as every shop is."""
    made = open_shop(tmp_path_factory.mktemp("newly-made"))
    made.close()
    return made.file


@pytest.fixture
def shop(tmp_path: Path, newly_made: Path) -> Iterator[Database]:
    """An empty shop: a copy of the one that the migrations made, since they take longer than most tests."""
    folder = tmp_path / "shop"
    folder.mkdir(mode=0o700)
    shutil.copyfile(newly_made, folder / newly_made.name)
    opened = open_shop(folder)
    yield opened
    opened.close()


@pytest.fixture
def server(shop: Database) -> Iterator[str]:
    """The address of a server over the empty shop of this test."""
    with serving(shop) as address:
        yield address


@pytest.fixture
def open_path() -> Iterator[Path]:
    """A folder that anybody may go down to, which pytest's own are not."""
    with tempfile.TemporaryDirectory() as made:
        Path(made).chmod(0o755)
        yield Path(made)
