"""What two servers of one database wrote is told in one order, at whichever of them a reader asks."""

import random
import threading
from collections.abc import Iterator
from itertools import islice
from pathlib import Path

import httpx2
import pytest

from app.shop.queries.changes import newest_change
from app.shop.store.postgres.server import ServerDatabase
from app.shop.store.tables import MeterDue
from tests.on_a_server import Emptied
from tests.serving import serving
from tests.shop.yard import AT, key
from tests.web.api.reader import told

EACH = 500
"""Changes that each of the two writes, beside the other."""


@pytest.fixture
def both(emptied: Emptied, tmp_path: Path) -> Iterator[tuple[ServerDatabase, ServerDatabase]]:
    """Two servers over one empty shop."""
    first = emptied(tmp_path)
    assert isinstance(first, ServerDatabase)
    second = ServerDatabase(first.address, tmp_path)
    yield first, second
    first.close()
    second.close()


def write(shop: ServerDatabase, times: int = EACH) -> None:
    for _ in range(times):
        with shop.writing() as session:
            one = key()
            session.add(MeterDue(key=one, payload=one, meter_id=1, due="2027-05-01", why="", by="KM", at=AT))


def test_a_reader_that_is_cut_off_and_goes_to_the_other_server_misses_none(
    both: tuple[ServerDatabase, ServerDatabase],
) -> None:
    """A thousand commits of two servers; the reader is cut off at random and asks either of them to go on."""
    chance, cut = random.Random(7), 0
    with both[0].reading() as session:
        before = newest_change(session)
    seen = [before]
    with serving(both[0]) as one, serving(both[1]) as other, httpx2.Client(timeout=60) as client:
        writers = [threading.Thread(target=write, args=(shop,)) for shop in both]
        for writer in writers:
            writer.start()
        while seen[-1] < before + 2 * EACH:
            headers = {"Last-Event-ID": str(seen[-1])}
            with client.stream("GET", f"{chance.choice((one, other))}/api/events", headers=headers) as stream:
                for change in islice(told(stream.iter_lines()), chance.randrange(1, 120)):
                    seen.append(change["seq"])
                    if seen[-1] == before + 2 * EACH:
                        break
            cut += 1
        for writer in writers:
            writer.join()
    assert seen == list(range(before, before + 2 * EACH + 1))
    assert cut > 5


def test_a_stream_at_one_tells_at_once_what_the_other_wrote(both: tuple[ServerDatabase, ServerDatabase]) -> None:
    one, other = both
    with (
        serving(one) as address,
        httpx2.Client(base_url=address, timeout=9) as client,  # shorter than a stream is silent, or lasts
        client.stream("GET", "/api/events", params={"after": 1}) as stream,
    ):
        lines = stream.iter_lines()
        assert next(lines) == "id: 1"
        write(other, 1)
        assert next(told(lines))["kind"] == "meter-due"
