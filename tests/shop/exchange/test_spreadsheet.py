"""Readings as a table for a spreadsheet: every one of them, and no text that would be taken for a formula."""

import csv
import io

import pytest

from app.shop.exchange.exports import readings_csv, table_csv
from app.shop.record import loader
from app.shop.store.database import Database
from app.shop.store.tables import ReadingRow
from tests.shop.exchange.files import EVEN, SLIPPED
from tests.shop.past import Past
from tests.shop.yard import AT, key, visit_record


def test_readings_for_a_spreadsheet(shop: Database) -> None:
    visit_id = Past(shop).visit(SLIPPED, EVEN, by="=KM()")
    with shop.writing() as session:
        old = visit_record(shop, visit_id).rounds[0].entered[0]
        session.add(
            ReadingRow(
                key=key(), payload="", round_id=old.round_id, bore=1, kind="turn", value=6.25, unit="kg/h",
                why='=HYPERLINK("http://x","y")', by="KM", at=AT, supersedes_id=old.ident,
            )
        )  # fmt: skip
    with shop.reading() as session:
        found = list(csv.DictReader(io.StringIO(readings_csv(list(reversed(loader.of_engine(session, 1))), str.upper))))
    assert len(found) == 19
    assert [row["stands"] for row in found[:1]] == ["no"]
    corrected = next(row for row in found if row["why"])
    assert corrected["why"] == '\'=HYPERLINK("HTTP://X","Y")'  # worded by what is handed in, and marked as text
    assert float(corrected["value"]) == 6.25


@pytest.mark.parametrize("text", ["=1+1", "+1", "-1", "@SUM(A1)", "\t=1", "\r=1", " =1"])
def test_no_text_is_taken_for_a_formula(text: str) -> None:
    """The beginnings that OWASP names for CSV injection."""
    (_, (cell,)) = list(csv.reader(io.StringIO(table_csv(["x"], [(text,)]), newline="")))
    assert cell == "'" + text


def test_a_number_stays_a_number() -> None:
    assert table_csv(["x", "y"], [(-1.5, None)]) == "x,y\r\n-1.5,\r\n"
