"""The program killed while it writes, and the power cut: what was acknowledged is there afterwards, once."""

import http.client
import os
import random
import shutil
import signal
import sys
import threading
import time
from contextlib import suppress
from pathlib import Path

import pytest

from tests.faults.bench import Ledger, Tablet, assert_whole, audit, readings_path, shop_with_visits, stored
from tests.started import started

pytestmark = pytest.mark.skipif(sys.platform == "win32", reason="stops processes by signals")

WRITES = 500
KILLS = 4
TABLETS = 4
SEED = 20261125


class Sender(threading.Thread):
    """A tablet that sends its readings one after the other and gives up at the first one without an answer."""

    def __init__(self, address: str, visit_id: int, waiting: list[dict[str, str]], ledger: Ledger) -> None:
        super().__init__()
        self.tablet = Tablet(address)
        self.path = readings_path(visit_id)
        self.waiting = waiting
        self.ledger = ledger
        self.start()

    def run(self) -> None:
        with self.tablet, suppress(OSError, http.client.HTTPException):  # the link is down; the rest goes out later
            while self.waiting:
                fields = self.waiting[0]
                if not self.ledger.note(fields["key"], self.tablet.post(self.path, fields)):
                    return
                self.waiting.pop(0)


@pytest.mark.slow
def test_a_program_killed_at_random_loses_nothing_it_acknowledged(tmp_path: Path) -> None:
    chance = random.Random(SEED)
    before = shop_with_visits(tmp_path, TABLETS, now=True)
    ledger = Ledger()
    queues = [[ledger.new_reading(number) for number in range(WRITES // TABLETS)] for _ in range(TABLETS)]
    kill_at = sorted(chance.sample(range(20, WRITES - 20), KILLS))
    for threshold in [*kill_at, None]:
        with started("serve", "--port", "0", "--data", str(tmp_path)) as program:
            senders = [Sender(program.address, 1 + n, queue, ledger) for n, queue in enumerate(queues)]
            while threshold is not None and len(ledger.acknowledged) < threshold:
                time.sleep(0.001)
            if threshold is not None:
                time.sleep(chance.uniform(0, 0.01))  # anywhere within a write
                program.process.kill()
            for sender in senders:
                sender.join()
            if threshold is None:
                assert program.stop() == 0
    assert [len(queue) for queue in queues] == [0] * TABLETS
    assert len(set(ledger.acknowledged)) == WRITES
    audit(tmp_path, before, ledger)
    assert len(stored(tmp_path)) == len(before) + WRITES


def test_a_power_cut_at_any_instant_leaves_a_whole_shop(tmp_path: Path) -> None:
    """The program is frozen at random instants and its files are copied as they lie, then opened elsewhere.

    The shared index (-shm) lives in memory and is lost with the power, so it is left behind. Each journal is also cut
    at random places, as if its end had not reached the disk: what is left has to be a beginning of what was written.
    """
    chance = random.Random(SEED)
    folder = tmp_path / "shop"
    before = shop_with_visits(folder, 2, now=True)
    ledger = Ledger()
    with started("serve", "--port", "0", "--data", str(folder)) as program:
        queues = [[ledger.new_reading(number) for number in range(5000)] for _ in range(2)]
        senders = [Sender(program.address, 1 + n, queue, ledger) for n, queue in enumerate(queues)]
        snapshots = []
        for number in range(8):
            seen = len(ledger.acknowledged)
            while len(ledger.acknowledged) < seen + 10:
                time.sleep(0.001)
            time.sleep(chance.uniform(0, 0.02))
            acknowledged = list(ledger.acknowledged)
            os.kill(program.process.pid, signal.SIGSTOP)
            snapshots.append((copied(folder, tmp_path / f"cut-{number}"), acknowledged))
            os.kill(program.process.pid, signal.SIGCONT)
        for queue in queues:
            del queue[1:]
        for sender in senders:
            sender.join()
        assert program.stop() == 0
    for place, acknowledged in snapshots:
        partial = Ledger(ledger.sent, acknowledged)
        torn(place, chance)
        audit(place, before, partial)
    audit(folder, before, ledger)


def copied(folder: Path, place: Path) -> Path:
    place.mkdir()
    for name in ("shop.db", "shop.db-wal"):
        shutil.copyfile(folder / name, place / name)
    return place


def torn(place: Path, chance: random.Random) -> None:
    """Cut copies of the journal at random places, and look at what each leaves."""
    other = place.with_name(place.name + "-torn")
    other.mkdir()
    journal = (place / "shop.db-wal").read_bytes()
    whole = None
    for cut in (len(journal), *(chance.randrange(len(journal)) for _ in range(5))):
        shutil.copyfile(place / "shop.db", other / "shop.db")
        (other / "shop.db-wal").write_bytes(journal[:cut])
        (other / "shop.db-shm").unlink(missing_ok=True)
        assert_whole(other / "shop.db")
        keys = stored(other)
        whole = whole or keys
        assert keys == whole[: len(keys)]
