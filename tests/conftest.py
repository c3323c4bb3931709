"""What tests share: a shop of their own, and the real server over one."""

import shutil
import socket
import tempfile
import threading
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from datetime import UTC, datetime
from pathlib import Path

import pytest
import uvicorn

from app.shop.store.database import Database
from app.shop.store.upgrade import open_shop


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


@contextmanager
def serving(shop: Database, clock: Callable[[], datetime] = lambda: datetime.now(UTC)) -> Iterator[str]:
    """The address at which the real server answers for ``shop``, by ``clock``."""
    from app.web.application import create_app  # here, so that tests of the records need no pages

    with socket.create_server(("127.0.0.1", 0)) as door:
        server = uvicorn.Server(
            uvicorn.Config(create_app(shop, clock=clock), log_level="warning", access_log=False, ws="none")
        )
        thread = threading.Thread(target=server.run, kwargs={"sockets": [door]})
        thread.start()
        while thread.is_alive() and not server.started:
            time.sleep(0.01)
        try:
            yield f"http://127.0.0.1:{door.getsockname()[1]}"
        finally:
            server.should_exit = True
            thread.join()


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
