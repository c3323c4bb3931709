"""The door of the shop: how connections are accepted, how long one may take to ask, and what nonsense is answered.

Strangers share the network. A connection that waits for its sender costs little, but a program may have only so many:
where they run out, the one that has waited longest goes. The next one is accepted, so that idle and half-sent
connections keep no person out, and an address that opens many loses its own.

Connections are counted where asyncio accepts them itself; on Windows the system does, and only the deadlines hold.
"""

import asyncio
import errno
import os
import re
import socket
import sys
import time
from collections import Counter
from collections.abc import Collection
from contextlib import suppress
from functools import cache, partial
from pathlib import Path
from typing import Any
from weakref import WeakSet

import h11
import uvicorn
from starlette.types import ASGIApp
from uvicorn.protocols.http.h11_impl import H11Protocol

from app.web.security.middleware import HEADERS, refusal
from app.web.security.origin import STREAM, at_this_computer
from app.wording.program.request_faults import RequestFault

HEADER_SECONDS = 10.0
"""How long a request's header may take [s]; one comes in a packet or two."""

LINGER_SECONDS = 1.0
"""How long what is still sent is read and thrown away after a refusal [s]: a connection that is closed with something
unread in it is reset, and its answer may be lost on the way."""

GRACE_SECONDS = 3
"""How long requests under way may take to finish when the program is told to stop [s]."""

MOST = 400
"""Connections in all. A tablet has six; a page is answered in a tenth of a second, and then they wait."""

MOST_OF_ONE = 64
"""Connections of one address over the network."""

KEPT = 50
"""Connections, of them all, that only the shop computer itself may have."""

BACKLOG = 100
"""Connections that may wait to be accepted; as many are accepted together."""

SPARE_FILES = 200
"""Files that the program opens besides: the records, their copies, its own code."""

NONE_LEFT = (errno.EMFILE, errno.ENFILE, errno.ENOBUFS, errno.ENOMEM)

START = 64
"""How much of a request is remembered, to tell a program's from a browser's [bytes]."""

FOR_PROGRAMS = re.compile(rb"[A-Za-z]+ (?:https?://[^/ ]*)?/api(?=[/? ])")


class Guest(socket.socket):
    """A connection that was accepted."""

    address = ""
    here = False
    idle_since = 0.0
    left = False
    protocol: "Patient | None" = None

    @property
    def inside(self) -> bool:
        """Whether it takes up room."""
        return not self.left and self.fileno() >= 0

    @property
    def waits(self) -> bool:
        """Whether it is its sender's turn: no whole request came that was not answered."""
        return self.protocol is None or not self.protocol.answering

    def leave(self) -> None:
        """End the connection as if its sender had; the loop that reads it does the rest."""
        self.left = True
        with suppress(OSError):
            self.shutdown(socket.SHUT_RDWR)


class Door(socket.socket):
    """A listening socket that keeps room for the next one."""

    def __init__(self, *how: Any, **further: Any) -> None:
        super().__init__(*how, **further)
        self.guests: WeakSet[Guest] = WeakSet()
        self._spare = os.open(os.devnull, os.O_RDONLY)

    def accept(self) -> tuple[socket.socket, Any]:
        """The next connection. Raises BlockingIOError when there is none, or no room for it."""
        try:
            accepted, peer = super().accept()
        except OSError as error:
            if error.errno not in NONE_LEFT:
                raise
            self._turn_one_away()
            raise BlockingIOError(errno.EAGAIN, os.strerror(errno.EAGAIN)) from None
        guest = Guest(accepted.family, accepted.type, accepted.proto, accepted.detach())
        guest.address = str(peer[0])
        guest.here = at_this_computer({"client": peer})
        guest.idle_since = time.monotonic()
        if not self.admits(guest):
            guest.close()
            raise BlockingIOError(errno.EAGAIN, os.strerror(errno.EAGAIN))
        return guest, peer

    def close(self) -> None:
        """Listen no longer."""
        if self._spare >= 0:
            os.close(self._spare)
            self._spare = -1
        super().close()

    def admits(self, guest: Guest) -> bool:
        """Accept a connection where there is room, made by sending off another that waits. Whether it was accepted."""
        if not self._room_for(guest):
            return False
        self.guests.add(guest)
        return True

    def guest_at(self, number: int) -> Guest | None:
        """The connection of that file number."""
        return next((guest for guest in self.guests if guest.fileno() == number), None)

    def _turn_one_away(self) -> None:
        """With no file left, let one in with the spare one and close it: it would knock again at once, for ever."""
        os.close(self._spare)
        with suppress(OSError):
            super().accept()[0].close()
        self._spare = os.open(os.devnull, os.O_RDONLY)
        _send_off(self.guests)

    def _room_for(self, guest: Guest) -> bool:
        inside = [other for other in self.guests if other.inside]
        strangers = [other for other in inside if not other.here]
        if not guest.here:
            same = [other for other in strangers if other.address == guest.address]
            if len(same) >= MOST_OF_ONE:
                return _send_off(same)
            if len(strangers) >= most() - KEPT:
                return _send_off(_of_the_fullest(strangers)) or _send_off(strangers)
        return len(inside) < most() or _send_off(strangers) or _send_off(inside)


def _of_the_fullest(guests: Collection[Guest]) -> list[Guest]:
    """Those of the address that has the most."""
    fullest = Counter(guest.address for guest in guests).most_common(1)[0][0]
    return [guest for guest in guests if guest.address == fullest]


def _send_off(guests: Collection[Guest]) -> bool:
    """End the one that has waited longest for its sender. Whether there was one."""
    waiting = [guest for guest in guests if guest.inside and guest.waits]
    if not waiting:
        return False
    min(waiting, key=lambda guest: guest.idle_since).leave()
    return True


@cache
def most() -> int:
    """Connections in all, fewer where the system lends this program few files."""
    try:
        import resource
    except ImportError:
        return MOST
    soft, hard = resource.getrlimit(resource.RLIMIT_NOFILE)
    wanted = MOST + SPARE_FILES
    if soft != resource.RLIM_INFINITY and soft < wanted:
        soft = wanted if hard == resource.RLIM_INFINITY else min(wanted, hard)
        with suppress(OSError, ValueError):
            resource.setrlimit(resource.RLIMIT_NOFILE, (soft, hard))
        soft = resource.getrlimit(resource.RLIMIT_NOFILE)[0]
    return MOST if soft == resource.RLIM_INFINITY else max(2 * KEPT, min(MOST, soft - SPARE_FILES))


class Patient(H11Protocol):
    """The server's protocol, with a deadline for a request's header and a page for what cannot be read."""

    def __init__(self, *how: Any, door: Door, **further: Any) -> None:
        super().__init__(*how, **further)
        self._door = door
        self._guest: Guest | None = None
        self._deadline: asyncio.TimerHandle | None = None
        self._start = b""
        self._left = False

    @property
    def answering(self) -> bool:
        """Whether a whole request came and its answer is not yet out."""
        return self._asked and not self.cycle.more_body

    @property
    def _asked(self) -> bool:
        return self.cycle is not None and not self.cycle.response_complete

    def connection_made(self, transport: Any) -> None:
        """A connection was accepted."""
        super().connection_made(transport)
        self._guest = self._door.guest_at(transport.get_extra_info("socket").fileno())
        if self._guest is not None:
            self._guest.protocol = self
        self._deadline = self.loop.call_later(HEADER_SECONDS, self._too_slow)

    def data_received(self, data: bytes) -> None:
        """More of a request came."""
        if self._left:
            return
        if not self._asked:
            self._start = (self._start + data)[:START]
            if self._deadline is None:
                self._deadline = self.loop.call_later(HEADER_SECONDS, self._too_slow)
        super().data_received(data)
        if self._asked:
            self._no_deadline()

    def on_response_complete(self) -> None:
        """An answer is out; the keep-alive limit runs from here."""
        self._no_deadline()
        self._start = b""
        if self._guest is not None:
            self._guest.idle_since = time.monotonic()
        super().on_response_complete()

    def connection_lost(self, exc: Exception | None) -> None:
        """The connection ended."""
        self._no_deadline()
        if self._guest is not None:
            self._guest.protocol = None
        super().connection_lost(exc)

    def shutdown(self) -> None:
        """The program ends: what was not sent whole by now is not waited for, nor a stream that would go on."""
        streams = self.cycle is not None and self.cycle.scope["path"] == STREAM
        if streams or (self._asked and not self.answering):
            self._hang_up()
        else:
            super().shutdown()

    def send_400_response(self, msg: str) -> None:
        """What is no HTTP, called while its error is handled."""
        too_long = getattr(sys.exception(), "error_status_hint", 400) == 431
        self._refuse(431, RequestFault.HEADER_TOO_LONG) if too_long else self._refuse(400, RequestFault.BAD_REQUEST)

    def _too_slow(self) -> None:
        self._deadline = None
        if self._start:
            self._refuse(408, RequestFault.TOO_SLOW)
        else:
            self.transport.close()

    def _no_deadline(self) -> None:
        if self._deadline is not None:
            self._deadline.cancel()
            self._deadline = None

    def _refuse(self, status: int, fault: RequestFault) -> None:
        """Answer with the page that all refusals have, and hang up; only hang up in the middle of an answer."""
        self._no_deadline()
        if self.conn.our_state in (h11.IDLE, h11.SEND_RESPONSE):
            page = refusal({"path": "/api" if FOR_PROGRAMS.match(self._start) else ""}, status, fault)
            headers = [*self.server_state.default_headers, *page.raw_headers, *HEADERS.items()]
            headers += [(b"cache-control", b"no-store"), (b"connection", b"close")]
            for event in (
                h11.Response(status_code=status, headers=headers),
                h11.Data(data=bytes(page.body)),
                h11.EndOfMessage(),
            ):
                self.transport.write(self.conn.send(event) or b"")
        self._hang_up(linger=True)

    def _hang_up(self, *, linger: bool = False) -> None:
        if self.cycle is not None:
            self.cycle.disconnected = True
            self.cycle.message_event.set()
        self._left = True
        if linger and self.transport.can_write_eof():
            self.transport.write_eof()
            self.loop.call_later(LINGER_SECONDS, self.transport.close)
        else:
            self.transport.close()


def server_of(app: ASGIApp, listening: socket.socket, certificate: Path | None = None) -> tuple[uvicorn.Server, Door]:
    """A server of ``app``, and the door that it is to be run at: ``listening``, which goes on to listen on its own.

    Parameters: ``certificate``, a PEM file with its key, for https.
    """
    own = listening.dup()
    door = Door(own.family, own.type, own.proto, own.detach())
    protocol: Any = partial(Patient, door=door)
    config = uvicorn.Config(
        app,
        http=protocol,
        ws="none",
        log_level="error",  # what a stranger sends fills no log
        access_log=False,
        server_header=False,
        proxy_headers=False,  # nothing stands in front; a header must not change the scheme that Origin is held to
        backlog=BACKLOG,
        timeout_graceful_shutdown=GRACE_SECONDS,
        ssl_certfile=certificate,
    )
    return uvicorn.Server(config), door
