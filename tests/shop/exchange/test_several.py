"""Several files at once: which are taken out of a zip, and how large they may be together."""

import base64
import io
import zipfile

import pytest

from app.shop.errors import RejectedError
from app.shop.exchange import several
from app.shop.exchange.import_work import bring_several
from app.shop.exchange.imports import carry_on
from app.shop.exchange.several import FileLooked, Named
from app.shop.reasons import Reason, because
from app.shop.rejections import Rejection
from app.shop.stopwatch import Allowance
from app.shop.store.database import Database
from tests.shop.exchange.files import EVEN, one_first_meter, out
from tests.shop.past import Past
from tests.shop.rejections import rejects

MEBIBYTE = 2**20


def zip_of(*files: Named) -> bytes:
    made = io.BytesIO()
    with zipfile.ZipFile(made, "w", zipfile.ZIP_DEFLATED) as to:
        for name, held in files:
            to.writestr(name, held)
    return made.getvalue()


TOO_LARGE = because(Rejection.FILES_TOO_LARGE, most=48, files=500)


def refused(sent: bytes) -> Reason:
    with pytest.raises(RejectedError) as raised:
        several.unzipped("sent.zip", sent)
    (problem,) = raised.value.problems.values()
    return problem


def test_what_is_no_zip_is_the_file_that_it_is() -> None:
    assert several.unzipped("one.json", b"{}") == [("one.json", b"{}")]


def test_the_engine_files_of_a_zip_come_out_in_its_order_and_nothing_else_does() -> None:
    sent = zip_of(("b.json", b"1"), ("read me.txt", b"-"), ("a/c.json", b"2"))
    assert several.unzipped("sent.zip", sent) == [("b.json", b"1"), ("a/c.json", b"2")]


def test_what_was_zipped_comes_out_again_under_names_of_its_own() -> None:
    files = [("x/engine.json", b"1"), ("engine.json", b"2")]
    assert several.unzipped("", several.zipped(files)) == [("0/engine.json", b"1"), ("1/engine.json", b"2")]


def test_five_hundred_files_and_48_mb_together_are_taken_and_no_more() -> None:
    one = ("0.json", b" " * (24 * MEBIBYTE))
    assert len(several.unzipped("", zip_of(one, ("1.json", b" " * (24 * MEBIBYTE))))) == 2
    assert refused(zip_of(one, ("1.json", b" " * (24 * MEBIBYTE + 1)))) == TOO_LARGE
    assert len(several.unzipped("", zip_of(*((f"{n}.json", b"") for n in range(500))))) == 500
    assert refused(zip_of(*((f"{n}.json", b"") for n in range(501)))) == TOO_LARGE


def test_a_broken_zip_is_no_engine_file() -> None:
    assert refused(zip_of(("a.json", b"1"))[:40]).code is Rejection.FILE_NOT_AN_ENGINE


def test_each_of_several_is_looked_at_and_the_wrong_one_named(shop: Database, other: Database) -> None:
    Past(shop).visit(EVEN, EVEN)
    good = out(shop).encode()
    with other.reading() as session:
        batch = several.look(session, [("a.json", good), ("b.json", b"{}"), ("c.json", good)], Allowance())
    first, wrong, last = batch.files
    assert (first.name, first.serial, first.waits, first.problem) == ("a.json", "31-0217", False, None)
    assert first.adds["visit"] == last.adds["visit"] == 1
    assert (wrong.name, wrong.serial, wrong.waits) == ("b.json", "", False)
    assert wrong.problem is not None
    assert wrong.problem.code is Rejection.FILE_NOT_AN_ENGINE
    assert batch.ready == 2
    assert batch.conflicts == ()


def test_what_a_page_held_of_several_is_brought_in_and_told(shop: Database, other: Database) -> None:
    Past(shop).visit(EVEN, EVEN)
    held = base64.b64encode(several.zipped([("one.json", out(shop).encode()), ("two.json", b"{")])).decode()
    told = carry_on(other, bring_several(other.where, held, {}))
    one, wrong = told.files
    assert (one.serial, one.engine_id, wrong.engine_id) == ("31-0217", 1, None)
    assert out(other) == out(shop)
    with rejects(Rejection.FILE_LOST):
        carry_on(other, bring_several(other.where, held[:-8], {}))


def test_a_file_with_a_question_of_its_own_waits(shop: Database, other: Database) -> None:
    """The same serial here and in the file, and another meter: one question is the engine's, one is asked once."""
    one_first_meter(shop, other)
    for one in (shop, other):
        Past(one).visit(EVEN, EVEN)
    with other.reading() as session:
        batch = several.look(session, [("a.json", out(shop).encode())], Allowance())
    assert batch.files[0].waits
    assert batch.ready == 0
    assert [one.name.split("-")[0] for one in batch.conflicts] == ["meter"]


def test_a_file_for_which_no_time_is_left_is_named(shop: Database, other: Database) -> None:
    Past(shop).visit(EVEN, EVEN)
    with other.reading() as session:
        batch = several.look(session, [("a.json", out(shop).encode())], Allowance(seconds=0.0))
    assert batch.files == (FileLooked("a.json", problem=because(Rejection.FILE_WITHOUT_TIME)),)
