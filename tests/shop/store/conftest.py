"""A closed shop with rows in it, and migrations that a test may add to."""

import shutil
from pathlib import Path

import pytest
from alembic.config import Config
from alembic.script import ScriptDirectory

from app.places import migrations
from app.shop.store.upgrade import open_shop
from tests.shop.store.opening import ENGINE, run


@pytest.fixture
def scripts(tmp_path: Path) -> Path:
    """A copy of the program's migrations that a test may add to."""
    return Path(shutil.copytree(migrations(), tmp_path / "scripts", ignore=shutil.ignore_patterns("__pycache__")))


@pytest.fixture
def head(scripts: Path) -> str:
    """The newest revision that the program has."""
    config = Config()
    config.set_main_option("script_location", str(scripts))
    newest = ScriptDirectory.from_config(config).get_current_head()
    assert newest is not None
    return newest


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    """A folder with a closed shop of three engines in it."""
    shop = open_shop(tmp_path / "shop")
    with shop.writing() as session:
        for key in ("a", "b", "c"):
            run(session, ENGINE.format(key=key))
    shop.close()
    return shop.folder
