"""Engine files that no shop wrote, sent to the real program: refused soon, and another tablet reads on meanwhile."""

import http.client
import json
import sys
import threading
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path
from urllib.parse import urlsplit

import pytest

from app.shop.exchange.imports import LARGEST
from tests.faults.bench import Ledger, Tablet, audit, readings_path, shop_with_visits
from tests.started import Started, started

pytestmark = pytest.mark.skipif(sys.platform != "linux", reason="asks /proc what the program takes")

SECONDS = 2.0
MEGABYTES = 100
READING_SECONDS = 0.25
TRIES = 3
"""A busy machine is slow now and then; a hole is there every time."""

MEBIBYTE = 1024 * 1024
REAL = json.loads((Path(__file__).parent.parent / "shop" / "exchange" / "engine-5.json").read_text())
HEAD = '{"format":"evenbore-engine","version":5,'


def filled(unit: str, size: int) -> str:
    """``unit`` as often as it takes to make ``size`` bytes, between commas."""
    return ",".join([unit] * (size // (len(unit.encode()) + 1)))


def of_visits(unit: str, size: int) -> str:
    """A file whose visits are ``unit``s."""
    return f'{HEAD}"visits":[{filled(unit, size - 60)}]}}'


def real_but(**changed: object) -> str:
    """The text of a real file with parts of its first visit exchanged."""
    visits = [{**REAL["visits"][0], **changed}]
    return json.dumps({**REAL, "visits": visits}, separators=(",", ":"))


HOSTILE: dict[str, Callable[[], str]] = {
    "visits, 29 kB": lambda: of_visits("{}", 29_000),
    "visits, 300 kB": lambda: of_visits("{}", 300_000),
    "visits, 12 MB": lambda: of_visits("{}", LARGEST),
    "arrays, 12 MB": lambda: of_visits("[]", LARGEST),
    "numbers, 12 MB": lambda: of_visits("1.5", LARGEST),
    "words, 12 MB": lambda: of_visits('"é"', LARGEST),
    "readings, 250 kB": lambda: real_but(readings=[{}] * 80_000),
    "fields, 1 MB": lambda: HEAD + ",".join(f'"{number}":0' for number in range(90_000)) + "}",
    "figures": lambda: real_but(hardware={str(number): 0 for number in range(50_000)}),
    "deep": lambda: HEAD + '"visits":' + "[" * 5_000_000,
    "one number": lambda: HEAD + '"visits":' + "9" * 11_000_000 + "}",
    "one text": lambda: HEAD + '"visits":"' + "\U0001f527" * 2_900_000 + '"}',
    "escapes": lambda: HEAD + '"visits":"' + "\\n" * 5_900_000 + '"}',
    "infinity": lambda: real_but(readings=[{**REAL["visits"][0]["readings"][0], "value": "@"}]).replace('"@"', "1e999"),
    "keys": lambda: real_but(checks=REAL["visits"][0]["checks"] * 3_500),
}


@dataclass
class Looked:
    """What came of sending one file: the page, what the program took, and how long readings took meanwhile [s]."""

    status: int
    page: str
    seconds: float
    megabytes: float
    readings: list[float]

    @property
    def within(self) -> bool:
        """Whether it cost nobody anything."""
        late = sorted(self.readings)[int(0.95 * len(self.readings))]
        return self.seconds < SECONDS and self.megabytes < MEGABYTES and late < READING_SECONDS


def megabytes_at_most(program: Started) -> float:
    """The most that the program has had in memory since its mark was put back."""
    status = Path(f"/proc/{program.process.pid}/status").read_text()
    return int(status.partition("VmHWM:")[2].split()[0]) / 1024


def put_mark_back(program: Started) -> float:
    """Forget the most that was taken so far; what is taken now."""
    Path(f"/proc/{program.process.pid}/clear_refs").write_text("5")
    return megabytes_at_most(program)


def send(program: Started, text: bytes) -> tuple[int, str]:
    """A file sent to be looked at."""
    origin = program.address.rstrip("/")
    wire = http.client.HTTPConnection(urlsplit(origin).netloc, timeout=60)
    part = b'--x\r\nContent-Disposition: form-data; name="file"; filename="engine.json"\r\n\r\n'
    headers = {"Origin": origin, "Content-Type": "multipart/form-data; boundary=x", "Connection": "close"}
    wire.request("POST", "/exchange/look", part + text + b"\r\n--x--\r\n", headers)
    answer = wire.getresponse()
    return answer.status, answer.read().decode()


@contextmanager
def reading_on(program: Started, ledger: Ledger, took: list[float]) -> Iterator[None]:
    """Another tablet that stores readings, one after the other, until the block is left; at least twenty."""
    over = threading.Event()

    def read() -> None:
        with Tablet(program.address) as tablet:
            while not over.is_set() or len(took) < 20:
                fields = ledger.new_reading(len(ledger.sent))
                began = time.monotonic()
                assert ledger.note(fields["key"], tablet.post(readings_path(1), fields))
                took.append(time.monotonic() - began)

    reader = threading.Thread(target=read)
    reader.start()
    try:
        yield
    finally:
        over.set()
        reader.join()


def look(program: Started, ledger: Ledger, text: bytes) -> Looked:
    """Send a file while another tablet reads."""
    before = put_mark_back(program)
    took: list[float] = []
    with reading_on(program, ledger, took):
        began = time.monotonic()
        status, page = send(program, text)
        seconds = time.monotonic() - began
    return Looked(status, page, seconds, megabytes_at_most(program) - before, took)


@pytest.mark.slow
def test_no_file_costs_the_others_anything(tmp_path: Path) -> None:
    before = shop_with_visits(tmp_path, now=True)
    ledger = Ledger()
    with started("serve", "--port", "0", "--data", str(tmp_path)) as program:
        look(program, ledger, b"{}")
        for name, made in HOSTILE.items():
            text = made().encode()[:LARGEST]
            for tried in range(TRIES):
                looked = look(program, ledger, text)
                assert looked.status == 422, (name, looked.status)
                if looked.within or tried == TRIES - 1:
                    break
            assert looked.within, (name, looked.seconds, looked.megabytes, sorted(looked.readings)[-5:])
        assert program.stop() == 0
    audit(tmp_path, before, ledger)
