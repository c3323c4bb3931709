"""Two servers over one database: what one of them is told holds at the other from the next request on."""

from collections.abc import Iterator
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Any

import pytest
from fastapi import FastAPI
from starlette.testclient import TestClient

from app.shop.commands import people
from app.shop.commands.access import programs, tablets
from app.shop.commands.access.scopes import AccessScope
from app.shop.commands.live import feeds
from app.shop.errors import RejectedError
from app.shop.procedure.phases import COLD_PRESET, FIRST_FIRE
from app.shop.rejections import Rejection
from app.shop.stopwatch import Stopwatch
from app.shop.store.database import raw_connection
from app.shop.store.postgres.pairing_codes import PairingCodes
from app.shop.store.postgres.server import ServerDatabase
from app.web.application import create_app
from app.web.security.middleware import TABLET
from app.web.security.pairing import Pairing, spaced
from tests.on_a_server import Emptied
from tests.shop.yard import FOUR, check_all, engine, just_now, key, read, visit, visit_record

HOME = "http://192.168.7.20:8000"
PIN = "2580"


class Server:
    """One server, and how tablets and programs elsewhere reach it."""

    def __init__(self, shop: ServerDatabase) -> None:
        self.shop = shop
        self.seconds = 1000.0
        shop.stopwatch = Stopwatch(lambda: self.seconds)
        self.codes = Pairing(lambda: (f"{HOME}/",), ticks=lambda: self.seconds, kept=PairingCodes(shop))
        self.app: FastAPI = create_app(shop, pairing=self.codes, clock=lambda: datetime.now(UTC))

    def reached(self, scheme: str = "http", **headers: str) -> TestClient:
        """From another computer."""
        return TestClient(
            self.app,
            base_url=HOME.replace("http", scheme),
            headers={"Origin": HOME, **headers},
            client=("192.168.7.31", 40000),
            follow_redirects=False,
        )

    def pairs(self, code: str) -> bool:
        """Whether the code lets a tablet in."""
        return self.reached().post("/pair", data={"key": key(), "code": code, "name": "Bay 2"}).status_code == 303


@pytest.fixture
def two(emptied: Emptied, tmp_path: Path) -> Iterator[tuple[Server, Server]]:
    """Two servers over one empty shop."""
    first = emptied(tmp_path)
    assert isinstance(first, ServerDatabase)
    second = ServerDatabase(first.address, tmp_path)
    yield Server(first), Server(second)
    for shop in (first, second):
        shop.close()


def now() -> str:
    return datetime.now(UTC).isoformat(timespec="milliseconds")


def test_a_tablet_paired_at_one_is_let_in_and_out_at_both(two: tuple[Server, Server]) -> None:
    one, other = two
    at_both = [server.reached() for server in two]
    for tablet in at_both:
        tablet.cookies.set(TABLET, "a token")
    assert [tablet.get("/").status_code for tablet in at_both] == [303, 303]
    ident = tablets.pair(one.shop, key(), "Bay 1", "a token", now())
    assert [tablet.get("/").status_code for tablet in at_both] == [200, 200]
    tablets.remove(other.shop, key(), ident, now())
    assert [tablet.get("/").status_code for tablet in at_both] == [303, 303]


@pytest.fixture
def read_from(two: tuple[Server, Server]) -> str:
    """A visit whose round has a reading, known to both servers, and where a tablet sends the next one."""
    one, _ = two
    with just_now():
        visit_id = visit(one.shop, engine(one.shop, FOUR))
        check_all(one.shop, visit_id, COLD_PRESET)
        check_all(one.shop, visit_id, FIRST_FIRE)
        read(one.shop, visit_id, FIRST_FIRE)
    for server in two:
        visit_record(server.shop, visit_id)
    return f"/visits/{visit_id}/{FIRST_FIRE.slug}/readings"


def reading(value: str = "6.5") -> dict[str, str]:
    return {"key": key(), "round": "1", "bore": "1", "kind": "again", "value": value, "by": "KM"}


def stored(server: Server) -> int:
    with server.shop.reading() as session:
        return int(raw_connection(session).execute("SELECT count(*) FROM reading").fetchone()[0])


def test_a_reading_of_a_tablet_that_was_shut_out_at_another_is_refused(
    two: tuple[Server, Server], read_from: str
) -> None:
    """It was let in a moment ago, so that it is known; nothing is stored, and no page is shown for a wrong value."""
    one, other = two
    ident = tablets.pair(one.shop, key(), "Bay 1", "a token", now())
    tablet = other.reached()
    tablet.cookies.set(TABLET, "a token")
    assert tablet.post(read_from, data=reading()).status_code == 303
    tablets.remove(one.shop, key(), ident, now())
    for value in ("6.5", "", "6.5"):
        refused = tablet.post(read_from, data=reading(value))
        assert refused.status_code == 401
        assert "bore" not in refused.text.lower()
    assert stored(other) == 2


def test_a_reading_is_the_first_that_a_tablet_paired_at_another_sends(
    two: tuple[Server, Server], read_from: str
) -> None:
    one, other = two
    tablets.pair(one.shop, key(), "Bay 1", "a token", now())
    tablet = other.reached()
    tablet.cookies.set(TABLET, "a token")
    assert tablet.post(read_from, data=reading()).status_code == 303
    assert stored(other) == 2


def test_a_reading_asks_who_has_access_in_the_message_that_stores_it(
    two: tuple[Server, Server], read_from: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    one, other = two
    tablets.pair(one.shop, key(), "Bay 1", "a token", now())
    tablet = other.reached()
    tablet.cookies.set(TABLET, "a token")
    tablet.get("/")
    went: list[str] = []
    for name in ("answer", "reading", "writing", "_send"):
        real = getattr(ServerDatabase, name)

        def noting(self: ServerDatabase, *told: object, name: str = name, real: Any = real) -> Any:
            went.append(name)
            return real(self, *told)

        monkeypatch.setattr(ServerDatabase, name, noting)
    assert tablet.post(read_from, data=reading()).status_code == 303
    assert went == ["_send"]
    went.clear()
    tablets.move(one.shop, key(), 1, None, now())
    went.clear()
    assert tablet.post(read_from, data=reading()).status_code == 303
    assert went[0] == "_send"
    assert {"answer", "reading"} < set(went)
    assert stored(other) == 3


def test_a_program_is_let_in_and_out_at_both(two: tuple[Server, Server]) -> None:
    one, other = two
    token = programs.let_one_in(one.shop, key(), "Bench", {AccessScope.READ}, 30, datetime.now(UTC))
    at_both = [server.reached("https", Authorization=f"Bearer {token}") for server in two]
    for program in at_both:
        del program.headers["Origin"]
    assert [program.get("/api/engines").status_code for program in at_both] == [200, 200]
    programs.shut_out(other.shop, key(), 1, now())
    assert [program.get("/api/engines").status_code for program in at_both] == [401, 401]


def test_a_feed_is_let_in_and_out_at_both(two: tuple[Server, Server]) -> None:
    one, other = two
    ident = feeds.add(one.shop, key(), "Bench", "a token", now())
    other.reached().get("/")
    assert other.app.state.feeders.admits("a token")
    feeds.withdraw(one.shop, key(), ident, now())
    other.reached().get("/")
    assert not other.app.state.feeders.admits("a token")


def test_the_shop_computer_pairs_tablets_that_open_another_server(two: tuple[Server, Server]) -> None:
    """Its own server is open to itself only, and says so without calling the whole group's door shut."""
    one, other = two
    told: list[str] = []
    codes = Pairing(show=lambda code, address: told.append(code), kept=PairingCodes(one.shop))
    app = create_app(one.shop, pairing=codes, clock=lambda: datetime.now(UTC))
    here = TestClient(app, base_url=HOME, headers={"Origin": HOME}, client=("127.0.0.1", 9))
    before = here.get("/tablets").text
    assert "Only this computer has access" not in before
    assert "They open another one of the same database" in before
    page = here.post("/tablets/code").text
    assert spaced(codes.code) in page
    assert "<svg" not in page.partition("Pair a tablet")[2].partition("</section>")[0], "there is no address to draw"
    assert told == [], "a terminal would show a code without an address"
    assert other.pairs(codes.code)


def test_a_code_shown_at_one_is_good_at_the_other_once(two: tuple[Server, Server]) -> None:
    one, other = two
    one.codes.new()
    code = one.codes.code
    assert other.pairs(code)
    assert not other.pairs(code)
    assert not one.pairs(code)
    one.codes.new()
    assert one.pairs(one.codes.code)


def test_a_new_code_ends_the_one_before_and_time_ends_both(two: tuple[Server, Server]) -> None:
    one, other = two
    one.codes.new()
    before = one.codes.code
    one.codes.new()
    assert not other.pairs(before)
    code = one.codes.code
    with one.shop.writing() as session:
        raw_connection(session).execute("UPDATE pairing_code SET good_until = good_until - 601")
    assert not other.pairs(code)


def test_the_records_hold_no_code_that_could_be_read(two: tuple[Server, Server]) -> None:
    one, _ = two
    one.codes.new()
    with one.shop.reading() as session:
        ((kept,),) = raw_connection(session).execute("SELECT hash FROM pairing_code").fetchall()
    assert one.codes.code not in kept
    assert len(kept) == 64


def test_wrong_codes_block_an_address_at_the_other_for_as_long_as_a_code_lasts(two: tuple[Server, Server]) -> None:
    one, other = two
    for _ in range(5):
        assert not other.pairs("ABCDEFGH")
    one.codes.new()
    assert not other.pairs(one.codes.code)
    other.seconds += 601
    one.codes.new()
    assert other.pairs(one.codes.code)


def refusal(server: Server, pin: str) -> Rejection | None:
    """Why a PIN was not taken."""
    try:
        people.prove(server.shop, "Kim", pin, now())
    except RejectedError as refused:
        return Rejection(refused.problems["pin"].code)
    return None


def test_wrong_pins_at_one_make_the_other_wait_too(two: tuple[Server, Server]) -> None:
    one, other = two
    people.add(one.shop, key(), "Kim", PIN, PIN, now())
    other.seconds += timedelta(hours=8).total_seconds()  # it has been open for long
    for _ in range(5):
        assert refusal(one, "9999") is Rejection.PIN_WRONG
    assert refusal(other, PIN) is Rejection.TOO_MANY_TRIES
    other.seconds += 31
    assert refusal(other, "9999") is Rejection.PIN_WRONG
    one.seconds += 31  # enough for five wrong ones, not for six
    assert refusal(one, PIN) is Rejection.TOO_MANY_TRIES
    one.seconds += 61
    assert refusal(one, PIN) is None
    assert refusal(other, PIN) is None
