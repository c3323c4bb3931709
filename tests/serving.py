"""The real server over a shop, in a thread of this process."""

import socket
import threading
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from datetime import datetime

from app.shop.store.database import Database
from tests.clock import working_day


@contextmanager
def serving(shop: Database, clock: Callable[[], datetime] | None = None) -> Iterator[str]:
    """The address at which the real server answers for ``shop``, by ``clock``, by default that of ``tests.clock``."""
    from app.server.door import server_of  # here, so that tests of the records need no pages
    from app.web.application import create_app

    with socket.create_server(("127.0.0.1", 0)) as door:
        app = create_app(shop, clock=clock or working_day())
        server, own_door = server_of(app, door)
        thread = threading.Thread(target=server.run, kwargs={"sockets": [own_door]})
        thread.start()
        while thread.is_alive() and not server.started:
            time.sleep(0.01)
        try:
            yield f"http://127.0.0.1:{door.getsockname()[1]}"
        finally:
            server.should_exit = True
            thread.join()
