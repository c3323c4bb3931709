"""The real program among strangers: connections that wait, that ask slowly, that talk nonsense."""

import os
import re
import resource
import socket
import sys
import time
import urllib.request
from collections.abc import Callable, Iterator
from contextlib import ExitStack, contextmanager
from html import unescape
from itertools import count
from pathlib import Path

import pytest

from app.server import door
from app.server.door import Door, Guest
from app.web.error_responses import PROBLEM
from app.web.security.middleware import HEADERS
from app.wording.message import say
from app.wording.program.request_faults import PROGRAM, RequestFault, notice_of
from tests.started import Started, started

MANY = 1100
SECONDS = 0.25
TRIES = 5
FILES = 1024

pytestmark = pytest.mark.skipif(sys.platform == "win32", reason="connections are let in by the system itself")

WAITING = (
    b"",
    b"GET / HT",
    b"GET / HTTP/1.1\r\nHost: 127.0.0.1\r\nX-",
    b"POST / HTTP/1.1\r\nHost: 127.0.0.1\r\nOrigin: http://127.0.0.1\r\nContent-Length: 9\r\n\r\n1",
)

WITH_FEW_FILES = (
    "import resource, sys; from app.server.cli import main;"
    f"resource.setrlimit(resource.RLIMIT_NOFILE, ({FILES}, {FILES})); main()"
)


@pytest.fixture
def files() -> Iterator[None]:
    """Room in this process for as many connections."""
    soft, hard = resource.getrlimit(resource.RLIMIT_NOFILE)
    if hard != resource.RLIM_INFINITY and hard < MANY + 200:
        pytest.skip("this process may not open that many connections")
    resource.setrlimit(resource.RLIMIT_NOFILE, (max(soft, MANY + 200), hard))
    yield
    resource.setrlimit(resource.RLIMIT_NOFILE, (soft, hard))


@contextmanager
def program(folder: Path) -> Iterator[Started]:
    """The program as most systems start it: with room for a thousand files, no more to be had."""
    with started("serve", "--port", "0", "--data", str(folder), code=WITH_FEW_FILES) as running:
        yield running


def place_of(running: Started) -> tuple[str, int]:
    found = re.fullmatch(r"http://(.+):(\d+)/", running.address)
    assert found is not None
    return found[1], int(found[2])


def told(place: tuple[str, int], sent: bytes) -> tuple[bytes, str]:
    """Head and page that raw bytes are answered with."""
    with socket.create_connection(place, timeout=30) as wire:
        wire.sendall(sent)
        answer = b""
        while part := wire.recv(65536):
            answer += part
    head, _, page = answer.partition(b"\r\n\r\n")
    return head, unescape(page.decode())


def soonest(running: Started) -> float:
    """The shortest of a few times that the board takes [s]: a busy machine is slow now and then."""
    took = []
    for _ in range(TRIES):
        began = time.monotonic()
        urllib.request.urlopen(running.address, timeout=10).close()
        took.append(time.monotonic() - began)
    return min(took)


@pytest.mark.slow
@pytest.mark.usefixtures("files")
def test_a_thousand_connections_that_wait_keep_nobody_out(tmp_path: Path) -> None:
    with program(tmp_path) as running, ExitStack() as wires:
        soonest(running)
        for number in range(MANY):
            wire = wires.enter_context(socket.create_connection(place_of(running), timeout=10))
            wire.sendall(WAITING[number % len(WAITING)])
        assert soonest(running) < SECONDS
        assert running.stop() == 0
        assert running.process.stdout is not None
        assert "Traceback" not in running.process.stdout.read()


class Answering:
    answering = True


@pytest.fixture
def inside(monkeypatch: pytest.MonkeyPatch) -> Iterator[Door]:
    """A door with room for eight, two of them kept for the shop computer, three for each other address."""
    for name, value in (("most", lambda: 8), ("KEPT", 2), ("MOST_OF_ONE", 3)):
        monkeypatch.setattr(door, name, value)
    listening = socket.create_server(("127.0.0.1", 0))
    with Door(listening.family, listening.type, listening.proto, listening.detach()) as opened:
        opened.settimeout(5)
        yield opened


@pytest.fixture
def come(inside: Door) -> Iterator[Callable[..., Guest]]:
    """Lets connections in, in their order; their other ends are open until the test is over."""
    ends = []
    clock = count()

    def knock(address: str, *, answering: bool = False) -> Guest:
        ours, theirs = socket.socketpair()
        ends.append(theirs)
        guest = Guest(ours.family, ours.type, ours.proto, ours.detach())
        guest.address, guest.here, guest.idle_since = address, address == "127.0.0.1", next(clock)
        if answering:
            guest.protocol = Answering()  # type: ignore[assignment]
        ends.append(guest)
        guest.left = not inside.admits(guest)
        return guest

    yield knock
    for end in ends:
        end.close()


def here(*guests: Guest) -> list[bool]:
    return [guest.inside for guest in guests]


def test_an_address_that_opens_many_loses_its_own(come: Callable[..., Guest]) -> None:
    tablet = come("10.0.0.7")
    many = [come("10.0.0.9") for _ in range(6)]
    assert here(tablet, *many) == [True, False, False, False, True, True, True]


def test_an_answer_under_way_is_never_cut(come: Callable[..., Guest]) -> None:
    busy = [come("10.0.0.9", answering=True) for _ in range(3)]
    assert here(*busy, come("10.0.0.9")) == [True, True, True, False]
    busy[1].protocol = None
    assert here(*busy, come("10.0.0.9")) == [True, False, True, True]
    assert here(*busy, come("10.0.0.8")) == [True, False, True, True]


def test_strangers_leave_room_for_the_shop_computer(come: Callable[..., Guest]) -> None:
    strangers = [come(f"10.0.0.{number}", answering=True) for number in range(9)]
    assert sum(here(*strangers)) == 6
    own = [come("127.0.0.1", answering=True) for _ in range(3)]
    assert here(*own) == [True, True, False]
    strangers[3].protocol = None
    assert here(come("127.0.0.1"), strangers[3]) == [True, False]


def test_of_strangers_who_fill_the_shop_the_one_with_most_connections_loses_one(come: Callable[..., Guest]) -> None:
    tablet = come("10.0.0.7")
    many = [come("10.0.0.9") for _ in range(3)]
    others = [come(f"10.0.0.{number}") for number in (1, 2, 3)]
    assert here(tablet, *many, *others) == [True, False, True, True, True, True, True]


def test_with_no_file_left_nobody_knocks_for_ever(inside: Door, come: Callable[..., Guest]) -> None:
    idle = come("10.0.0.7")
    with socket.create_connection(inside.getsockname(), timeout=5) as wire:
        free = os.dup(0)
        os.close(free)
        soft, hard = resource.getrlimit(resource.RLIMIT_NOFILE)
        resource.setrlimit(resource.RLIMIT_NOFILE, (free, hard))
        try:
            with pytest.raises(BlockingIOError):
                inside.accept()
        finally:
            resource.setrlimit(resource.RLIMIT_NOFILE, (soft, hard))
        assert wire.recv(1) == b""
    assert not idle.inside
    with socket.create_connection(inside.getsockname(), timeout=5):
        inside.accept()[0].close()


def test_fewer_are_let_in_where_the_system_lends_few_files(monkeypatch: pytest.MonkeyPatch) -> None:
    limits = [(100, 300)]
    monkeypatch.setattr(resource, "getrlimit", lambda _: limits[-1])
    monkeypatch.setattr(resource, "setrlimit", lambda _, wanted: limits.append(wanted))
    door.most.cache_clear()
    assert door.most() == 300 - door.SPARE_FILES
    limits.append((100, 5000))
    door.most.cache_clear()
    assert (door.most(), limits[-1][0]) == (door.MOST, door.MOST + door.SPARE_FILES)
    door.most.cache_clear()


@pytest.mark.parametrize(
    ("sent", "status", "fault"),
    [
        (b"nonsense\r\n\r\n", 400, RequestFault.BAD_REQUEST),
        (b"GET / HTTP/1.1\r\n\r\n", 400, RequestFault.BAD_REQUEST),
        (b"\x16\x03\x01\x02\x00", 400, RequestFault.BAD_REQUEST),
        (b"GET / HTTP/1.1\r\nHost: a\r\nbroken header\r\n\r\n", 400, RequestFault.BAD_REQUEST),
        (b"GET / HTTP/1.1\r\nHost: a\r\nContent-Length: x\r\n\r\n", 400, RequestFault.BAD_REQUEST),
        (b"GET /" + b"x" * 100_000 + b" HTTP/1.1\r\n", 431, RequestFault.HEADER_TOO_LONG),
        (b"GET /api/visits HTTP/1.1\r\nX: " + b"x" * 100_000, 431, RequestFault.HEADER_TOO_LONG),
        (b"POST /api HTTP/1.1\r\nHost: a\r\nContent-Length: -1\r\n\r\n", 400, RequestFault.BAD_REQUEST),
    ],
)
def test_what_is_no_request_is_answered_as_every_refusal_is(
    nonsense_at: tuple[str, int], sent: bytes, status: int, fault: RequestFault
) -> None:
    head, page = told(nonsense_at, sent)
    assert head.startswith(b"HTTP/1.1 %d " % status)
    lines = head.lower().split(b"\r\n")
    for name, value in {**HEADERS, b"cache-control": b"no-store", b"connection": b"close"}.items():
        assert name + b": " + value.lower() in lines
    if b" /api" in sent:
        assert f"content-type: {PROBLEM}".encode() in lines
        assert say(PROGRAM[fault], methods="") in page
    else:
        assert say(notice_of(fault).sentence) in page
        assert say(notice_of(fault).title) in page


@pytest.fixture(scope="module")
def nonsense_at(tmp_path_factory: pytest.TempPathFactory) -> Iterator[tuple[str, int]]:
    with started("serve", "--port", "0", "--data", str(tmp_path_factory.mktemp("shop"))) as running:
        yield place_of(running)


SOON = """
from functools import partial
import uvicorn
from app.server import cli, door
door.HEADER_SECONDS, door.LINGER_SECONDS = 0.3, 0.1
uvicorn.Config = partial(uvicorn.Config, timeout_keep_alive=1)
cli.main()
"""
"""The program with deadlines that a test can wait for."""


def test_a_header_has_a_deadline_from_its_first_byte(tmp_path: Path) -> None:
    with started("serve", "--port", "0", "--data", str(tmp_path), code=SOON) as running:
        place = place_of(running)
        assert told(place, b"") == (b"", "")
        head, page = told(place, b"GET / HTTP/1.1\r\nHost: ")
        assert head.startswith(b"HTTP/1.1 408 ")
        assert say(notice_of(RequestFault.TOO_SLOW).sentence) in page
        whole = b"GET / HTTP/1.1\r\nHost: 127.0.0.1\r\n\r\n"
        head, page = told(place, whole + b"GET / HT")
        assert head.startswith(b"HTTP/1.1 200 ")
        assert running.stop() == 0
