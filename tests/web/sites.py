"""A group of sites as pages are asked by it: the shop computer and a tablet at each site, on one store."""

from collections.abc import Iterator
from dataclasses import dataclass, replace

import pytest
from fastapi import FastAPI
from starlette.testclient import TestClient

from app.shop.commands import engines
from app.shop.commands.access import tablets
from app.shop.store.database import Database
from app.shop.store.tables import Tablet
from app.web.application import create_app
from app.web.security.pairing import Pairing
from tests.shop.yard import FACTS, FOUR, engine, key

HOME = "http://192.168.7.20:8000"
OWNERS = {"N-1": "Ottokar", "S-1": "Wendelmayer"}


@dataclass
class Group:
    """Two sites and a head office on one store: the shop computer, and a tablet at each."""

    shop: Database
    app: FastAPI
    codes: Pairing
    here: TestClient
    engines: dict[str, int]
    visits: dict[str, int]

    def client(self, address: str) -> TestClient:
        return TestClient(
            self.app, base_url=HOME, headers={"Origin": HOME}, client=(address, 9), follow_redirects=False
        )

    def tablet(self, name: str, room: int | None) -> TestClient:
        """A tablet that is paired and given a room, through the pages."""
        client = self.client("192.168.7.31")
        self.codes.new()
        assert client.post("/pair", data={"key": key(), "code": self.codes.code, "name": name}).status_code == 303
        if room is not None:
            self.move(name, room)
        return client

    def move(self, name: str, room: int) -> None:
        tablet = [one for one in self.listed() if one.name == name][-1]
        moved = self.here.post(f"/tablets/{tablet.id}/room", data={"key": key(), "room": str(room)})
        assert moved.status_code == 303

    def listed(self) -> list[Tablet]:
        with self.shop.reading() as session:
            return tablets.let_in(session)

    def hide(self, *, on: bool = True) -> None:
        version = self.here.get("/sites").text.split('name="version" value="', 1)[1].split('"', 1)[0]
        sent = {"key": key(), "version": version, "by": "KM", **({"hide_customers": "1"} if on else {})}
        assert self.here.post("/sites/customers", data=sent).status_code == 303


@pytest.fixture
def plain(shop: Database) -> Iterator[Group]:
    """A shop before it has sites."""
    codes = Pairing(lambda: (f"{HOME}/",))
    app = create_app(shop, pairing=codes)
    here = TestClient(app, base_url=HOME, headers={"Origin": HOME}, client=("::1", 9), follow_redirects=False)
    with here:
        yield Group(shop, app, codes, here, {}, {})


@pytest.fixture
def group(plain: Group) -> Group:
    """Sites 1 and 2, and 3 as head office, each with a room; an engine with an open visit at each of the first two."""
    for number, name in enumerate(("North", "South", "Office"), 1):
        sent = {"key": key(), "name": name, "by": "KM", **({"head_office": "1"} if name == "Office" else {})}
        assert plain.here.post("/sites", data=sent).status_code == 303
        room = {"key": key(), "name": f"{name} bench", "by": "KM"}
        assert plain.here.post(f"/sites/{number}/rooms", data=room).status_code == 303
    for number, (serial, owner) in enumerate(OWNERS.items(), 1):
        ident = engine(plain.shop, FOUR, serial)
        engines.change(plain.shop, ident, 1, replace(FACTS, serial=serial, customer=owner))
        plain.engines[serial] = ident
        tablet = plain.tablet(f"Setter {number}", number)
        said = {"place": "test cell", "job": "1184", "why": "First sync", "by": "KM", "meter_id": 1}
        opened = tablet.post(f"/api/engines/{ident}/visits", json={"key": key(), **said})
        assert opened.status_code == 201, opened.text
        plain.visits[serial] = opened.json()["id"]
    return plain
