"""The name on the network, asked for over the loopback interface by packets built from RFC 1035 and RFC 6762."""

import errno
import socket
import struct
import tempfile
import threading
from collections.abc import Iterator
from concurrent.futures import ThreadPoolExecutor
from contextlib import contextmanager
from pathlib import Path

import pytest
import zeroconf
from filelock import FileLock
from zeroconf import ServiceInfo, Zeroconf

from app.server import announcing as subject
from app.server.announcing import NAMES, Announcer, announcing
from app.server.certificates import ready
from app.server.cli import now
from app.server.network import LOOPBACK
from app.server.pairing_codes import pairing_for
from app.shop.store.database import Database
from app.web.security.middleware import KnownHost
from app.wording.message import say
from app.wording.program import cli as words

pytestmark = pytest.mark.slow

GROUP = ("224.0.0.251", 5353)
"""Where multicast DNS is asked (RFC 6762, 3)."""

ANSWERS_WITHIN = 3.0
"""How long an answer is waited for [s]: many times what a responder takes."""


def asked(name: str) -> str | None:
    """The address that answers to a name, None when nobody does: a one-shot query (RFC 6762, 5.1)."""
    labels = b"".join(bytes((len(part),)) + part.encode() for part in name.split("."))
    question = struct.pack("!6H", 7, 0, 1, 0, 0, 0) + labels + b"\0" + struct.pack("!2H", 1, 1)  # type A, class IN
    with socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as asking:
        asking.setsockopt(socket.IPPROTO_IP, socket.IP_MULTICAST_IF, socket.inet_aton(LOOPBACK))
        asking.settimeout(ANSWERS_WITHIN)
        asking.bind((LOOPBACK, 0))
        asking.sendto(question, GROUP)
        try:
            answer = asking.recv(9000)
        except TimeoutError:
            return None
    _, flags, questions, answers, *_ = struct.unpack("!6H", answer[:12])
    assert flags & 0x8000, "a query came back"
    assert answers >= 1
    record = answer[len(question) if questions else 12 :]
    kind, _, _, length = struct.unpack("!2HIH", record[2:12])  # after a pointer to the name
    assert (kind, length) == (1, 4)
    return socket.inet_ntoa(record[12:16])


@contextmanager
def another_computer(name: str) -> Iterator[None]:
    """One that has a name already, at an address that is not ours."""
    with ThreadPoolExecutor(1) as elsewhere:  # here a browser's test may have left a loop that seems to run
        network = elsewhere.submit(Zeroconf, interfaces=[LOOPBACK]).result()
    address = socket.inet_aton("127.0.0.2")
    instance = f"Other.{subject.SERVICE}"
    network.register_service(ServiceInfo(subject.SERVICE, instance, port=80, server=f"{name}.", addresses=[address]))
    try:
        yield
    finally:
        network.close()


@pytest.fixture(autouse=True)
def alone_on_the_network() -> Iterator[None]:
    """One test at a time: all workers have the same loopback interface, and would answer each other."""
    with FileLock(Path(tempfile.gettempdir()) / "evenbore-names.lock"):
        yield


@pytest.fixture
def told() -> list[str]:
    return []


def here(tmp_path: Path, told: list[str], scheme: str = "http", address: str = LOOPBACK) -> Announcer:
    """An announcer on the loopback interface."""
    return Announcer(8000, scheme, tmp_path / "network-name", told.append, address=lambda: address)


def test_the_name_is_answered_for_while_the_program_is_open(tmp_path: Path, told: list[str]) -> None:
    with announcing(here(tmp_path, told)) as announcer:
        announcer.wait()
        assert announcer.home == "http://evenbore.local:8000/"
        assert asked("evenbore.local") == LOOPBACK
        assert told == [say(words.OPEN_BY_NAME, address="http://evenbore.local:8000/")]
    assert asked("evenbore.local") is None


def test_a_name_that_another_computer_has_is_told_and_gets_a_number(tmp_path: Path, told: list[str]) -> None:
    with another_computer("evenbore.local"), announcing(here(tmp_path, told)) as announcer:
        announcer.wait()
        assert announcer.home == "http://evenbore-2.local:8000/"
        assert asked("evenbore-2.local") == LOOPBACK
        assert asked("evenbore.local") == "127.0.0.2"
        assert told[0] == say(words.NAME_TAKEN, taken="evenbore.local", name="evenbore-2.local")
    again: list[str] = []
    with announcing(here(tmp_path, again)) as announcer:
        announcer.wait()
        assert announcer.name == "evenbore-2.local"  # tablets find the shop that they were paired with
    assert again == [say(words.OPEN_BY_NAME, address="http://evenbore-2.local:8000/")]


def test_of_two_computers_that_start_at_once_one_takes_another_name_and_says_so(
    tmp_path: Path, told: list[str]
) -> None:
    """Neither hears the other ask; the greater address keeps the name (RFC 6762, 8.2)."""
    other: list[str] = []
    (second := tmp_path / "second").mkdir()
    with announcing(here(tmp_path, told)) as one, announcing(here(second, other, address="127.0.0.2")) as two:
        one.wait()
        two.wait()
        assert (one.name, two.name) == ("evenbore-2.local", "evenbore.local")
        assert asked("evenbore.local") == "127.0.0.2"
        assert asked("evenbore-2.local") == LOOPBACK
        assert one.hosts == {"evenbore-2.local"}
    assert told[0] == say(words.NAME_TAKEN, taken="evenbore.local", name="evenbore-2.local")
    assert other == [say(words.OPEN_BY_NAME, address="http://evenbore.local:8000/")]
    assert (tmp_path / "network-name").read_text() == "evenbore-2.local"


def test_only_the_announced_name_is_answered_to(tmp_path: Path, told: list[str]) -> None:
    announcer = here(tmp_path, told)
    guard = KnownHost(app=lambda *_: None, own=frozenset({"localhost"}), others=announcer.hosts)  # type: ignore[arg-type]
    assert not guard.knows("evenbore.local:8000")
    with announcing(announcer):
        announcer.wait()
        assert guard.knows("evenbore.local:8000")
        assert guard.knows("Evenbore.local.")
        assert not guard.knows("evenbore-2.local:8000")


def test_pairing_opens_the_name_first_and_the_number_after_it(shop: Database, tmp_path: Path, told: list[str]) -> None:
    announcer = here(tmp_path, told, "https")
    pairing = pairing_for(shop, "192.168.7.20", 8000, "https", announcer)
    assert pairing.home == "https://192.168.7.20:8000/"
    with announcing(announcer):
        announcer.wait()
        assert pairing.homes == ("https://evenbore.local:8000/", "https://192.168.7.20:8000/")
        assert pairing.address.startswith("https://evenbore.local:8000/pair#")


def test_a_certificate_covers_every_name_that_may_be_announced(tmp_path: Path) -> None:
    made = ready(tmp_path, {"bench", *NAMES}, {"127.0.0.1"}, now())
    assert made.left_out == ()


def test_a_network_that_carries_no_name_is_told_once_and_tried_again(
    tmp_path: Path, told: list[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    """And the program goes on by its number."""

    def no_multicast(**_: object) -> Zeroconf:
        raise OSError(errno.ENODEV, "No such device")

    monkeypatch.setattr(zeroconf, "Zeroconf", no_multicast)
    monkeypatch.setattr(subject, "LOOKED_AGAIN", 0.01)
    tries = threading.Semaphore(0)

    def nowhere() -> str:
        tries.release()
        return LOOPBACK

    announcer = Announcer(8000, "http", tmp_path / "network-name", told.append, address=nowhere)
    with announcing(announcer):
        announcer.wait()
        for _ in range(3):
            assert tries.acquire(timeout=30)
        assert announcer.home == ""
    assert told == [say(words.NAME_NOT_ANNOUNCED, name="evenbore.local", why="[Errno 19] No such device")]


def test_a_network_that_comes_later_gets_the_name_then(
    tmp_path: Path, told: list[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(subject, "LOOKED_AGAIN", 0.01)
    plugged_in, shown = threading.Event(), threading.Event()

    def tell(line: str) -> None:
        told.append(line)
        shown.set()

    announcer = Announcer(
        8000, "http", tmp_path / "name", tell, address=lambda: LOOPBACK if plugged_in.is_set() else None
    )
    with announcing(announcer):
        announcer.wait()
        assert announcer.home == ""
        plugged_in.set()
        assert shown.wait(30)
        assert announcer.home == "http://evenbore.local:8000/"
