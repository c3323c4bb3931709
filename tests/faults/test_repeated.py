"""Every request sent twice, one after the other and at once; and a server restarted between a request and its retry."""

import uuid
from collections.abc import Callable, Iterator, Mapping
from concurrent.futures import ThreadPoolExecutor
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path

import pytest

from app.shop.assessment.progress import items_of, progress
from app.shop.procedure.items import Phase
from app.shop.procedure.phases import PHASES
from app.shop.procedure.read_order import next_reading
from app.shop.store.database import Database
from app.shop.store.upgrade import open_shop
from tests.faults.bench import Answer, Ledger, Tablet, assert_whole, audit, readings_path, rows_of, shop_with_visits
from tests.serving import serving
from tests.shop.yard import visit_record

Send = Callable[[str, Mapping[str, str]], list[Answer]]


@contextmanager
def once(address: str) -> Iterator[Send]:
    with Tablet(address) as tablet:
        yield lambda path, fields: [tablet.post(path, fields)]


@contextmanager
def twice(address: str) -> Iterator[Send]:
    with Tablet(address) as tablet:
        yield lambda path, fields: [tablet.post(path, fields), tablet.post(path, fields)]


@contextmanager
def twice_at_once(address: str) -> Iterator[Send]:
    with Tablet(address) as one, Tablet(address) as other, ThreadPoolExecutor(2) as threads:
        yield lambda path, fields: list(threads.map(lambda tablet: tablet.post(path, fields), (one, other)))


@dataclass
class Job:
    """A whole job on a four in line, by its forms. Each form has to be answered alike however often it is sent."""

    shop: Database
    sends: Send

    def send(self, path: str, **fields: str) -> str:
        answers = self.sends(path, {"key": str(uuid.uuid4()), **fields})
        assert {(answer.status, answer.next) for answer in answers} == {(303, answers[0].next)}, answers
        assert len({answer.saved for answer in answers}) == 1
        return answers[0].next or ""

    def do(self) -> None:
        engine = self.send(
            "/engines", serial="31-9", displacement="2.0", displacement_unit="L", idle_speed="850", a_bores="1 2 3 4"
        )
        visit = self.send(
            f"{engine}/visits", place="test cell", job="7", why="First sync", by="KM", meter="1", intake="filter-off"
        )
        for phase in PHASES:
            self.phase(visit, phase)
        assert self.send(f"{visit}/sign-off", name="Kim Marlow") == f"{visit}/sheet"
        self.send(f"{engine}/fitting", why="Measured", a_bores="1 2 3 4", bore_diameter="48.2")

    def phase(self, visit: str, phase: Phase) -> None:
        items = {
            item.slug: "on" if item.kind == "tick" else f"{(item.low + item.high) / 2:g}"
            for item in items_of(visit_record(self.shop, 1), phase)
        }
        for ago in ("20", "10") if phase.rounds == "fine" else ():
            self.send(f"{visit}/{phase.slug}/checks", by="KM", coolant="84", oil="84", ago=ago)
        if phase.rounds == "fine":
            items |= {"coolant": "84", "oil": "84"}
        if items:
            self.send(f"{visit}/{phase.slug}/checks", by="KM", **items)
        self.read(visit, phase)
        if "blade" in phase.moves:
            self.send(f"{visit}/{phase.slug}/rounds")
            self.read(visit, phase)
            self.send(f"{visit}/{phase.slug}/moves", kind="blade", place="2-3", leaf="3", by="KM")
        if next(standing for standing in progress(visit_record(self.shop, 1)) if standing.phase is phase).missing:
            self.send(f"{visit}/{phase.slug}/overrides", why="Shown to an apprentice", override_by="KM")

    def read(self, visit: str, phase: Phase) -> None:
        while (now := next_reading(visit_record(self.shop, 1), phase)).bore is not None:
            self.send(
                f"{visit}/{phase.slug}/readings",
                round=str(now.round_number),
                bore=str(now.bore),
                kind=now.kind,
                value="6.5",
                by="KM",
            )


def test_every_form_sent_twice_is_stored_once_and_answered_alike(tmp_path: Path) -> None:
    counts = {}
    for sends in (once, twice, twice_at_once):
        folder = tmp_path / sends.__name__
        shop = open_shop(folder)
        with serving(shop) as address, sends(address) as send:
            Job(shop, send).do()
        shop.close()
        assert_whole(folder / "shop.db")
        counts[sends.__name__] = rows_of(folder)
    assert counts["once"] == counts["twice"] == counts["twice_at_once"]
    for table in ("engine", "fitting", "visit", "round", "reading", "move", "check", "override", "sign_off"):
        assert counts["once"][table] > 0, table


@pytest.mark.parametrize("answer_arrived", [True, False])
def test_a_server_restarted_between_a_request_and_its_retry(tmp_path: Path, answer_arrived: bool) -> None:
    """A tablet that never saw the answer sends again; so does one that saw it and lost its own note of it."""
    before = shop_with_visits(tmp_path)
    ledger = Ledger()
    fields = ledger.new_reading(0)
    for attempt in range(3):
        shop = open_shop(tmp_path)
        with serving(shop) as address, Tablet(address) as tablet:
            answer = tablet.post(readings_path(1), fields)
            if answer_arrived or attempt == 2:
                assert ledger.note(fields["key"], answer)
        shop.close()
    assert set(ledger.acknowledged) == {fields["key"]}
    audit(tmp_path, before, ledger)
