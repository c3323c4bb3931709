"""What tests share: a shop of their own, and the real server over one."""

import gc
import os
import shutil
import sys
import tempfile
from collections.abc import Iterator, Mapping
from pathlib import Path

import hypothesis
import pytest
from playwright.sync_api import BrowserContext, ViewportSize, expect

from app.shop.store.database import Database, FileDatabase
from app.shop.store.upgrade import open_shop
from tests.at_once import WhenAsked
from tests.browser import NewContext, flags, installed
from tests.clock import working_day
from tests.on_a_server import cluster_of_tests as cluster_of_tests
from tests.on_a_server import emptied as emptied
from tests.on_a_server import runs_on_a_server
from tests.serving import serving

SIZE: ViewportSize = {"width": 1280, "height": 800}
ROOM = 4 << 30
"""Bytes free from which the shops of tests are kept in memory."""

PATIENCE = 30_000
"""Milliseconds that a page is waited for: many times what it takes, for a machine that is busy with something else."""

expect.set_options(timeout=PATIENCE)

gc.disable()  # until all is collected

MEMORY = Path("/dev/shm")
if "TMPDIR" not in os.environ and MEMORY.is_dir() and shutil.disk_usage(MEMORY).free > ROOM:
    tempfile.tempdir = os.environ["TMPDIR"] = str(MEMORY)  # a disk takes milliseconds for each of a test's commits

hypothesis.settings.register_profile("evenbore", deadline=None, derandomize="CI" in os.environ)
hypothesis.settings.load_profile("evenbore")


def pytest_addoption(parser: pytest.Parser) -> None:
    """``--store postgres`` runs the tests that take a ``shop`` on a server of their own, and no others."""
    parser.addoption("--store", choices=("file", "postgres"), default="file", help="what the records are kept in")


def pytest_collection_modifyitems(config: pytest.Config, items: list[pytest.Item]) -> None:
    """Mark what drives a browser, so that it can be left out. What takes longest goes first, then the browser's tests:
    workers that take from each other what is left then end together.
    """
    if config.getoption("store") == "postgres":
        left_out = [item for item in items if not runs_on_a_server(item)]
        config.hook.pytest_deselected(items=left_out)
        items[:] = [item for item in items if item not in set(left_out)]
    for item in items:
        if "playwright" in getattr(item, "fixturenames", ()):
            item.add_marker(pytest.mark.browser)
    slow, browser = ({item for item in items if item.get_closest_marker(name)} for name in ("slow", "browser"))
    items.sort(key=lambda item: (item not in slow, item not in browser))


def pytest_collection_finish() -> None:
    """Let an application that is handed no clock go by that of the tests, and begin no process that it has no work for.
    What is read in by now is never garbage, and is looked through no more.
    """
    gc.freeze()
    gc.set_threshold(100_000)
    gc.enable()
    if application := sys.modules.get("app.web.application"):
        application.SteadyClock = working_day  # type: ignore[attr-defined]
        application.Apart = WhenAsked  # type: ignore[attr-defined]


def newly(folder: Path) -> Path:
    """The file of an empty shop, made by the migrations as every shop is."""
    made = open_shop(folder)
    made.close()
    return made.file


@pytest.fixture(scope="session")
def newly_made(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """What every ``shop`` is a copy of, which need not be looked through again."""
    return newly(tmp_path_factory.mktemp("newly-made"))


@pytest.fixture(scope="session")
def another_made(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """What every ``other`` shop is a copy of: no two begin with the same meter."""
    return newly(tmp_path_factory.mktemp("another-made"))


def copied(made: Path, folder: Path) -> FileDatabase:
    """A shop that is a copy of another."""
    folder.mkdir(mode=0o700)
    shutil.copyfile(made, folder / made.name)
    return FileDatabase(folder)


@pytest.fixture
def shop(request: pytest.FixtureRequest, tmp_path: Path) -> Iterator[Database]:
    """An empty shop."""
    folder = tmp_path / "shop"
    opened: Database
    if request.config.getoption("store") == "postgres":
        folder.mkdir(mode=0o700)
        opened = request.getfixturevalue("emptied")(folder)
    else:
        opened = copied(request.getfixturevalue("newly_made"), folder)
    yield opened
    opened.close()


@pytest.fixture
def other(another_made: Path, tmp_path: Path) -> Iterator[Database]:
    """Another shop, in a file and empty."""
    opened = copied(another_made, tmp_path / "other")
    yield opened
    opened.close()


@pytest.fixture(scope="session")
def base_url() -> None:
    """No address is everybody's: a test opens that of its own server. The plugin's own fixture warns under pytest 9."""


@pytest.fixture(scope="session")
def browser_type_launch_args(browser_type_launch_args: Mapping[str, object]) -> dict[str, object]:
    """How pytest-playwright starts the browser, which is then one for all tests of a process."""
    return {**browser_type_launch_args, "executable_path": installed(), "args": flags()}


@pytest.fixture(scope="session")
def browser_context_args(browser_context_args: Mapping[str, object]) -> dict[str, object]:
    """A tablet held sideways, unless a test says otherwise."""
    return {**browser_context_args, "viewport": SIZE}


@pytest.fixture
def new_context(new_context: NewContext) -> NewContext:
    """Makes contexts that wait long enough for a machine that is busy with something else."""

    def patient(**options: object) -> BrowserContext:
        context = new_context(**options)
        context.set_default_timeout(PATIENCE)
        return context

    return patient


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
