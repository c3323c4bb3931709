"""Two shops, of which one hands engines over to the other's server, and a line between them that can be cut."""

import random
import socket
import threading
from collections.abc import Iterator
from contextlib import closing, contextmanager, suppress
from dataclasses import dataclass, field
from datetime import UTC, datetime

from sqlmodel import col, select

from app.server.handing_over import LineError, one_turn
from app.shop.commands.access.programs import let_one_in
from app.shop.commands.access.scopes import AccessScope
from app.shop.exchange.exports import engine_file
from app.shop.exchange.handing.setting import Receiver
from app.shop.store.database import Database
from app.shop.store.tables import Engine
from tests.serving import serving
from tests.shop.yard import AT, key

ALWAYS = threading.Event()
"""Nothing stops a turn."""


def clock() -> datetime:
    """The time of the sender."""
    return datetime.fromisoformat(AT)


def token_of(shop: Database, *scopes: AccessScope, name: str = "North yard") -> str:
    """A token of another shop's program."""
    return let_one_in(shop, key(), name, {*scopes} or {AccessScope.HAND_OVER}, 30, datetime.now(UTC))


@contextmanager
def receiving(office: Database, *scopes: AccessScope) -> Iterator[Receiver]:
    """The office's server, for a sender that has a token for it."""
    token = token_of(office, *scopes)
    with serving(office, lambda: datetime.now(UTC)) as address:
        yield Receiver(address, token)


def handed(shop: Database, to: Receiver) -> int:
    """One turn of the sender; -1 where the line was cut."""
    try:
        return one_turn(shop, to, clock, ALWAYS)
    except LineError:
        return -1


def seals(shop: Database) -> dict[str, dict[str, str]]:
    """By engine's key, the seals of all its parts but those of its meters, whose keys may be a shop's own."""
    with shop.reading() as session:
        rows = session.exec(select(Engine).order_by(col(Engine.id))).all()
        files = {row.key: engine_file(session, row.ident, AT) for row in rows}
    return {
        engine: {one.key: one.seal for one in file.seals if one.key not in {m.key for m in file.meters}}
        for engine, file in files.items()
    }


@dataclass
class Line:
    """Passes bytes between a sender and ``target``, and hangs up on each connection after as many of what goes there,
    or of what comes back, as ``cuts`` says next: (bytes there, bytes back), None for no cut. Without more it passes."""

    target: tuple[str, int]
    cuts: list[tuple[int | None, int | None]] = field(default_factory=list)
    address: str = ""
    passed: tuple[int, int] = (0, 0)
    """Bytes of the last connection, there and back."""

    def serve(self, near: socket.socket) -> None:
        """One connection."""
        there, back = self.cuts.pop(0) if self.cuts else (None, None)
        with closing(near), closing(socket.create_connection(self.target)) as far:
            pump = threading.Thread(target=self._pump, args=(near, far, there))
            pump.start()
            count = self._pump(far, near, back)
            pump.join()
            self.passed = (self.passed[0], count)

    def _pump(self, source: socket.socket, sink: socket.socket, most: int | None) -> int:
        count = 0
        try:
            while chunk := source.recv(4096):
                chunk = chunk if most is None else chunk[: most - count]
                sink.sendall(chunk)
                count += len(chunk)
                if most is not None and count >= most:
                    break
        except OSError:
            pass
        for one in (source, sink):
            with suppress(OSError):
                one.shutdown(socket.SHUT_RDWR)
        return count


@contextmanager
def line_to(address: str) -> Iterator[Line]:
    """A line to the server at an address."""
    host, port = address.removeprefix("http://").split(":")
    with socket.create_server(("127.0.0.1", 0)) as door:
        line = Line((host, int(port)), address=f"http://127.0.0.1:{door.getsockname()[1]}")

        def accept() -> None:
            while True:
                try:
                    near, _ = door.accept()
                except OSError:
                    return
                line.serve(near)

        thread = threading.Thread(target=accept, daemon=True)
        thread.start()
        yield line
        door.shutdown(socket.SHUT_RDWR)
    thread.join()


def places(count: int, there: int, back: int, seed: int) -> list[tuple[int | None, int | None]]:
    """So many random places to cut at: half of them on the way there, the others on the way back."""
    chance = random.Random(seed)
    return [(chance.randrange(1, there), None) if at % 2 else (None, chance.randrange(0, back)) for at in range(count)]
