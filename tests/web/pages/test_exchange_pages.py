"""Files in and out through the pages: looked at first, conflicts chosen by a person, nothing stored before."""

import html
import io
import json
import random
import re
import zipfile

import httpx2 as httpx
import pytest
from starlette.testclient import TestClient

from app.shop.exchange import several
from app.shop.exchange.codes import FileQuestion
from app.shop.exchange.exports import engine_file
from app.shop.exchange.import_work import packed, unpacked
from app.shop.record import loader
from app.shop.rejections import Rejection
from app.shop.stopwatch import Allowance
from app.shop.store.database import Database
from app.web.application import create_app
from app.web.pages.engine.data_out import download
from app.web.security.pairing import Pairing
from tests.faults.bench import rows_of
from tests.shop.exchange.files import EVEN, SLIPPED, one_first_meter
from tests.shop.past import Past
from tests.shop.rejections import on_page
from tests.shop.yard import AT, key
from tests.web.exchanging import ORIGIN, client, count, exported, hidden, look


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
    one_first_meter(shop, other)
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
    [(b"", Rejection.FILE_MISSING), (b"\xff\xfe", Rejection.FILE_NOT_AN_ENGINE), (b"{}", Rejection.FILE_NOT_AN_ENGINE)],
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


def packages(shop: Database) -> tuple[httpx.Response, httpx.Response]:
    with client(shop) as out:
        return out.get("/shop/engine-files.zip"), out.get("/shop/tables.zip")


def test_every_table_of_an_engine_comes_for_a_spreadsheet(shop: Database) -> None:
    Past(shop).visit(SLIPPED, EVEN)
    with client(shop) as to:
        moves = to.get("/engines/1/moves.csv")
        assert moves.headers["content-disposition"] == 'attachment; filename="31-0217 moves.csv"'
        assert len(moves.text.splitlines()) == 2
        assert "coolant" in to.get("/engines/1/checks.csv").text
        assert to.get("/engines/1/people.csv").status_code == 404
        for kind in ("readings", "moves", "checks"):
            assert f'href="/engines/1/{kind}.csv"' in to.get("/engines/1/paper").text


def test_a_whole_shop_goes_out_and_comes_in_again(shop: Database, other: Database) -> None:
    for serial in ("31-0217", "22-0098", "18/0264"):
        Past(shop, serial=serial).visit(SLIPPED, EVEN)
    files, tables = packages(shop)
    assert set(zipfile.ZipFile(io.BytesIO(tables.content)).namelist()) >= {"datapackage.json", "readings.csv"}
    with client(other) as to:
        looked = look(to, files.content)
        assert looked.text.count("New here: 1 engine") == 3
        assert count(other) == 0
        brought = to.post("/exchange/several", data=hidden(looked.text))
        assert "3 engines imported" in brought.text
        assert count(other) == 3
        again = look(to, files.content)
        assert again.text.count("Already on record") == 3
        assert "3 engines imported" in to.post("/exchange/several", data=hidden(again.text)).text
    assert packages(other)[0].status_code == 200
    with shop.reading() as mine, other.reading() as theirs:
        for engine_id in (1, 2, 3):
            assert engine_file(mine, engine_id, AT) == engine_file(theirs, engine_id, AT)


def test_of_several_files_the_sound_ones_are_imported(shop: Database, other: Database) -> None:
    """One is none, one has a question of its own, and one meter is asked about for all of them."""
    one_first_meter(shop, other)
    Past(other).visit(EVEN, EVEN)
    for serial in ("31-0217", "22-0098", "22-0099"):
        Past(shop, serial=serial).visit(SLIPPED, EVEN)
    made = io.BytesIO(packages(shop)[0].content)
    with zipfile.ZipFile(made, "a") as to_add:
        to_add.writestr("other.json", "{}")
    with client(other) as to:
        looked = look(to, made.getvalue())
        assert on_page(Rejection.FILE_NOT_AN_ENGINE) in looked.text
        assert "Import this file alone" in looked.text
        assert "Import 2 engines" in looked.text
        refused = to.post("/exchange/several", data=hidden(looked.text))
        assert refused.status_code == 409
        meter = re.search(r'name="(meter-[^"]+)"', refused.text)
        assert meter is not None
        assert count(other) == 1
        brought = to.post("/exchange/several", data={**hidden(refused.text), meter[1]: "same"})
        assert "2 engines imported" in brought.text
    assert count(other) == 3


def test_a_file_may_wait_in_its_page_however_badly_it_is_packed(other: Database) -> None:
    held = packed(random.Random(5).randbytes(1536 * 1024))
    assert len(held) > 2_000_000
    with client(other) as to:
        answer = to.post("/exchange", data={"held": held})
    assert answer.status_code == 422
    assert on_page(Rejection.FILE_NOT_AN_ENGINE) in answer.text


def out_of_time(patch: pytest.MonkeyPatch, after: int) -> None:
    """Let work have time for so many parts."""
    left = iter([False] * after)
    patch.setattr(Allowance, "over", property(lambda _: next(left, True)))


def test_files_for_which_there_is_no_time_are_named(
    shop: Database, other: Database, monkeypatch: pytest.MonkeyPatch
) -> None:
    for serial in ("31-0217", "22-0098", "22-0099"):
        Past(shop, serial=serial).visit(SLIPPED, EVEN)
    files = packages(shop)[0].content
    with client(other) as to:
        looked = look(to, files)
        with monkeypatch.context() as patch:
            out_of_time(patch, 2)
            assert look(to, files).text.count(on_page(Rejection.FILE_WITHOUT_TIME)) == 1
        monkeypatch.setattr(Allowance, "over", property(lambda _: count(other) == 2))
        brought = to.post("/exchange/several", data=hidden(looked.text))
        assert "2 engines imported" in brought.text
        assert brought.text.count(on_page(Rejection.FILE_WITHOUT_TIME)) == 1
        assert count(other) == 2


def test_of_several_files_the_one_whose_time_ends_half_way_is_not_imported_at_all(
    shop: Database, other: Database, monkeypatch: pytest.MonkeyPatch
) -> None:
    for serial in ("31-0217", "22-0098"):
        Past(shop, serial=serial).visit(SLIPPED, EVEN)
    files = packages(shop)[0].content
    with client(other) as to:
        looked = look(to, files)
        out_of_time(monkeypatch, 2 + 1 + 5)  # looked at again, then the first one begun
        brought = to.post("/exchange/several", data=hidden(looked.text))
        assert brought.text.count(on_page(Rejection.FILE_WITHOUT_TIME)) == 2
    assert count(other) == 0


@pytest.mark.parametrize("here", [False, True])
def test_a_file_that_takes_too_long_is_given_up_with_nothing_of_it_stored(
    shop: Database, other: Database, monkeypatch: pytest.MonkeyPatch, here: bool
) -> None:
    past = Past(shop)
    past.visit(SLIPPED, EVEN)
    first = exported(shop)
    past.visit(SLIPPED, EVEN)
    longer = exported(shop)
    with client(other) as to:
        if here:
            to.post("/exchange", data={"held": packed(first)})
        before = rows_of(other.folder)
        with monkeypatch.context() as patch:
            out_of_time(patch, 10)
            answers = [to.post("/exchange", data={"held": packed(longer)})]
            if here:
                answers.append(look(to, longer))
        for answer in answers:
            assert answer.status_code == 422
            assert on_page(Rejection.FILE_TAKES_TOO_LONG) in answer.text
        assert rows_of(other.folder) == before
        told = {"held": packed(longer), f"meter-{json.loads(longer)['meters'][0]['key']}": "same"}
        assert to.post("/exchange", data=told, follow_redirects=False).status_code == 303
    assert rows_of(other.folder)["visit"] == 2


def test_a_shop_that_takes_too_long_to_write_is_given_up(shop: Database, monkeypatch: pytest.MonkeyPatch) -> None:
    for serial in ("31-0217", "22-0098"):
        Past(shop, serial=serial)
    out_of_time(monkeypatch, 1)
    assert packages(shop)[0].status_code == 503
    out_of_time(monkeypatch, 1)
    assert packages(shop)[1].status_code == 503


@pytest.mark.parametrize("sent", [b"PK\x03\x04 and no more", b"PK\x05\x06"])
def test_a_broken_zip_is_said_beside_the_form(other: Database, sent: bytes) -> None:
    with client(other) as to:
        answer = look(to, sent)
    assert answer.status_code == 422
    assert on_page(Rejection.FILE_NOT_AN_ENGINE) in answer.text


def test_a_zip_that_grows_without_end_is_not_taken_apart(other: Database) -> None:
    made = io.BytesIO()
    with zipfile.ZipFile(made, "w", zipfile.ZIP_DEFLATED) as to_fill:
        for number in range(5):
            to_fill.writestr(f"{number}.json", b" " * (16 * 1024 * 1024))
    with client(other) as to:
        answer = look(to, made.getvalue())
    assert answer.status_code == 422
    assert "48\u00a0MB" in html.unescape(answer.text)


def test_a_zip_of_more_entries_than_files_is_not_listed(other: Database, monkeypatch: pytest.MonkeyPatch) -> None:
    made = io.BytesIO()
    with zipfile.ZipFile(made, "w") as to_fill:
        for number in range(several.MOST_ENTRIES + 1):
            to_fill.writestr(str(number), b"")
    monkeypatch.setattr(zipfile, "ZipFile", None)
    with client(other) as to:
        answer = look(to, made.getvalue())
    assert answer.status_code == 422
    assert "500" in answer.text


def test_a_whole_shop_leaves_at_the_shop_computer_only(shop: Database) -> None:
    codes = Pairing(lambda: (f"{ORIGIN}/",))
    app = create_app(shop, pairing=codes)
    with TestClient(app, base_url=ORIGIN, headers={"Origin": ORIGIN}, client=("192.168.1.9", 40000)) as tablet:
        codes.new()
        assert tablet.post("/pair", data={"code": codes.code, "name": "Bench", "key": key()}).status_code == 200
        assert tablet.get("/shop").status_code == 200
        for path in ("/shop/tables.zip", "/shop/engine-files.zip"):
            assert tablet.get(path).status_code == 403


def test_programs_get_the_same_file(shop: Database) -> None:
    Past(shop).visit(EVEN, EVEN)
    file = json.loads(exported(shop))
    with client(shop) as to:
        told = to.get("/api/engines/1/file").json()
        assert to.get("/api/engines/2/file").json()["code"] == "no-such-engine"
    assert {**told, "exported_at": ""} == {**file, "exported_at": ""}
