"""Files in and out through the pages: looked at first, conflicts chosen by a person, nothing stored before."""

import html
import re
from collections.abc import Iterator
from pathlib import Path

import httpx2 as httpx
import pytest
from starlette.testclient import TestClient

from app.shop.commands import engines
from app.shop.exchange.codes import FileQuestion
from app.shop.record import loader
from app.shop.rejections import Rejection
from app.shop.store.database import Database
from app.shop.store.upgrade import open_shop
from app.web.application import create_app
from app.web.pages.engine.exchange import download, packed, unpacked
from tests.shop.past import Past
from tests.shop.rejections import on_page

ORIGIN = "http://127.0.0.1"
EVEN = [6.5] * 8


@pytest.fixture
def other(tmp_path: Path) -> Iterator[Database]:
    opened = open_shop(tmp_path / "other")
    yield opened
    opened.close()


def client(shop: Database) -> TestClient:
    return TestClient(create_app(shop), base_url=ORIGIN, headers={"Origin": ORIGIN}, follow_redirects=False)


def exported(shop: Database) -> bytes:
    with client(shop) as out:
        answer = out.get("/engines/1/export.json")
    assert answer.status_code == 200
    assert answer.headers["content-disposition"] == 'attachment; filename="31-0217.json"'
    return bytes(answer.content)


def look(to: TestClient, file: bytes) -> httpx.Response:
    return to.post("/exchange/look", files={"file": ("engine.json", file, "application/json")})


def hidden(page: str) -> dict[str, str]:
    return {name: html.unescape(v) for name, v in re.findall(r'type="hidden" name="([^"]+)" value="([^"]*)"', page)}


def count(shop: Database) -> int:
    with shop.reading() as session:
        return engines.count(session)


def test_a_file_is_looked_at_first_and_then_brought_in(shop: Database, other: Database) -> None:
    past = Past(shop)
    past.visit(EVEN, EVEN)
    file = exported(shop)
    with client(other) as to:
        looked = look(to, file)
        assert looked.status_code == 200
        adds = "1 engine, 1 hardware record, 1 visit, 2 rounds, 18 readings, 1 adjustment, 1 check, 1 sign-off"
        assert f"New here: {adds}." in looked.text
        assert count(other) == 0
        brought = to.post("/exchange", data=hidden(looked.text))
        assert brought.status_code == 303
        assert "Engine 31-0217" in to.get(brought.headers["location"]).text
        again = look(to, file)
        assert "Everything in this file is already on record" in again.text
        assert to.post("/exchange", data=hidden(again.text)).headers["location"] == brought.headers["location"]
    assert count(other) == 1


def test_a_conflict_is_shown_and_chosen(shop: Database, other: Database) -> None:
    for one in (shop, other):
        Past(one).visit(EVEN, EVEN)
    file = exported(shop)
    with client(other) as to:
        looked = look(to, file)
        assert on_page(FileQuestion.SAME_ENGINE, serial="31-0217") in looked.text
        refused = to.post("/exchange", data=hidden(looked.text))
        assert refused.status_code == 409
        meter = re.search(r'name="(meter-[^"]+)"', refused.text)
        assert meter is not None
        joined = to.post("/exchange", data={**hidden(refused.text), "same": "join", meter[1]: "apart"})
        assert joined.status_code == 409
        assert on_page(FileQuestion.NUMBERS) in joined.text
        kept = hidden(joined.text)
        assert kept["same"] == "join"
        done = to.post("/exchange", data={**kept, "numbers": "append"})
        assert done.status_code == 303
    with other.reading() as session:
        assert len(loader.of_engine(session, 1)) == 2


@pytest.mark.parametrize(
    ("file", "code"),
    [(b"", Rejection.FILE_MISSING), (b"\xff\xfe", Rejection.FILE_MISSING), (b"{}", Rejection.FILE_NOT_AN_ENGINE)],
)
def test_what_is_no_file_is_said_beside_the_form(other: Database, file: bytes, code: Rejection) -> None:
    with client(other) as to:
        answer = look(to, file)
    assert answer.status_code == 422
    assert on_page(code) in answer.text


def test_a_large_file_is_taken_and_a_larger_one_is_not(other: Database) -> None:
    with client(other) as to:
        assert look(to, b" " * 2_000_000).status_code == 422
        assert look(to, b" " * 17_000_000).status_code == 413


@pytest.mark.parametrize("held", ["", "x", "AAAA", packed(b"x" * 200)[:-8]])
def test_a_page_that_lost_its_file_says_so(other: Database, held: str) -> None:
    with client(other) as to:
        answer = to.post("/exchange", data={"held": held})
    assert answer.status_code == 422
    assert on_page(Rejection.FILE_LOST) in answer.text


def test_what_is_packed_comes_out_again() -> None:
    assert unpacked(packed("Élan ".encode() * 1000)) == "Élan ".encode() * 1000


def test_a_name_that_no_system_takes_is_made_one_that_all_do() -> None:
    header = download("", '../x"\r\nSet-Cookie: a=b/Ä.json', "text/csv").headers["content-disposition"]
    assert header == 'attachment; filename="_x_Set-Cookie_ a_b_.json"'


def test_readings_come_as_a_table(shop: Database) -> None:
    Past(shop).visit(EVEN, EVEN)
    with client(shop) as to:
        answer = to.get("/engines/1/readings.csv")
    assert answer.headers["content-type"].startswith("text/csv")
    assert len(answer.text.splitlines()) == 19
