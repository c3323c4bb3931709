"""Files that take longer than one answer: worked on apart, fetched once, given up when nobody asks."""

import re
import threading

import pytest
from fastapi.responses import PlainTextResponse

from app.shop.apart import Apart, GivenUpError, Wanted
from app.shop.exchange import import_work
from app.shop.exchange.import_work import packed
from app.shop.reasons import because
from app.shop.rejections import Rejection
from app.shop.store.codes import Unavailable
from app.shop.store.database import Database, FileDatabase, ShopUnavailableError
from app.web.errands import MOST, Errands
from tests import broken_work
from tests.faults.bench import rows_of
from tests.shop.exchange.files import EVEN, SLIPPED
from tests.shop.past import Past
from tests.shop.rejections import on_page
from tests.waiting import until
from tests.web.exchanging import client, count, exported, fetched, hidden, look


def test_what_takes_longer_than_an_answer_is_fetched_once(shop: Database, other: Database) -> None:
    Past(shop).visit(SLIPPED, EVEN)
    file = exported(shop)
    with client(other) as to:
        errands: Errands = to.app.state.errands  # type: ignore[attr-defined]
        errands.patience = 0.0
        with errands.turn:
            waiting = look(to, file)
            assert waiting.status_code == 202
            again = re.findall('href="(/exchange/answers/[^"]+)"', waiting.text)[0]
            assert waiting.headers["refresh"] == f"1; url={again}"
            assert to.get(again).status_code == 202
        errands.patience = 60.0
        assert "31-0217" in to.get(again).text
        assert on_page(Rejection.FILE_LOST) in to.get(again).text


def test_no_more_files_are_worked_on_than_the_shop_has_room_for(shop: Database, other: Database) -> None:
    Past(shop).visit(SLIPPED, EVEN)
    file = exported(shop)
    with client(other) as to:
        errands: Errands = to.app.state.errands  # type: ignore[attr-defined]
        errands.patience = 0.0
        with errands.turn:
            tickets = [errands.begin(lambda _: PlainTextResponse("done")) for _ in range(MOST)]
            refused = look(to, file)
            assert refused.status_code == 422
            assert on_page(Rejection.FILE_TAKES_TOO_LONG) in refused.text
        errands.patience = 60.0
        assert errands.answer(tickets[0]) is not None
        assert "31-0217" in look(to, file).text


def test_a_mishap_in_work_that_takes_long_is_told_where_it_is_fetched() -> None:
    errands = Errands()

    def breaks(_: Wanted) -> PlainTextResponse:
        raise ShopUnavailableError(because(Unavailable.DISK_FULL))

    ticket = errands.begin(breaks)
    with pytest.raises(ShopUnavailableError):
        errands.answer(ticket)
    with pytest.raises(KeyError):
        errands.answer(ticket)


def test_work_that_nobody_asks_for_any_more_is_given_up() -> None:
    """It is asked for once and never again, as by a tablet that was closed."""
    errands, given_up = Errands(patience=0.0, let_go=0.2), threading.Event()

    def goes_on(wanted: Wanted) -> PlainTextResponse:
        until(lambda: not wanted())
        given_up.set()
        raise GivenUpError

    assert errands.answer(errands.begin(goes_on)) is None
    assert given_up.wait(60.0)


def test_work_that_waited_until_nobody_asked_for_it_is_not_begun() -> None:
    errands, begun = Errands(patience=0.0, let_go=0.0), list[bool]()

    def notes(_: Wanted) -> PlainTextResponse:
        begun.append(True)
        return PlainTextResponse("done")

    with errands.turn:
        ticket = errands.begin(notes)
    with pytest.raises(GivenUpError):
        until(lambda: errands.answer(ticket))
    assert not begun


def test_a_page_that_asks_too_late_is_told(other: Database) -> None:
    with client(other) as to:
        errands: Errands = to.app.state.errands  # type: ignore[attr-defined]
        errands.patience, errands.let_go = 0.0, -100.0  # however often it is asked for
        with errands.turn:
            waiting = look(to, b"{}")
        errands.patience = 60.0
        assert on_page(Rejection.FILE_TAKES_TOO_LONG) in fetched(to, waiting).text


@pytest.mark.slow
def test_a_process_of_its_own_looks_and_drafts(shop: FileDatabase, other: Database) -> None:
    """As the program does it: one file looked at, asked about, brought in; many at once."""
    for serial in ("31-0217", "22-0098"):
        Past(shop, serial=serial).visit(SLIPPED, EVEN)
    file = exported(shop)
    with client(shop) as out:
        several = out.get("/shop/engine-files.zip").content
    with client(other, apart=True) as to:
        assert to.get("/exchange").status_code == 200
        looked = fetched(to, look(to, file))
        assert "1 engine, 1 hardware record, 1 visit" in looked.text
        brought = fetched(to, to.post("/exchange", data=hidden(looked.text)))
        assert brought.headers["location"] == "/engines/1"
        listed = fetched(to, look(to, several))
        assert listed.status_code == 200
        told = hidden(listed.text) | dict.fromkeys(re.findall(r'name="(meter-[^"]+)"', listed.text), "same")
        assert "2 engines imported" in fetched(to, to.post("/exchange/several", data=told)).text
        assert on_page(Rejection.FILE_NOT_AN_ENGINE) in fetched(to, look(to, b"{}")).text
    assert count(other) == 2
    assert rows_of(other.folder)["reading"] == rows_of(shop.folder)["reading"]


@pytest.mark.slow
def test_work_that_is_ended_half_way_stores_nothing(
    shop: Database, other: Database, monkeypatch: pytest.MonkeyPatch
) -> None:
    Past(shop).visit(SLIPPED, EVEN)
    file = exported(shop)
    before = rows_of(other.folder)
    with client(other, apart=True) as to:
        for work, seconds, code in (
            (broken_work.stops, 600.0, Rejection.FILE_NEEDS_MORE_MEMORY),
            (broken_work.hangs, 2.0, Rejection.FILE_TAKES_TOO_LONG),
        ):
            monkeypatch.setattr(import_work, "bring", work)
            to.app.state.errands.apart = Apart(seconds=seconds)  # type: ignore[attr-defined]
            answer = fetched(to, to.post("/exchange", data={"held": packed(file)}))
            assert answer.status_code == 422
            assert on_page(code) in answer.text
            assert rows_of(other.folder) == before
