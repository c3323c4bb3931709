"""What a cross-check found goes out in an engine's file and into the tables, and comes in again as it was."""

import json
from typing import Any

import pytest
from sqlmodel import select

from app.shop.cross_check import findings
from app.shop.cross_check.findings import NewFindings, ShownAt
from app.shop.cross_check.weighing import cross_check, stored
from app.shop.errors import RejectedError
from app.shop.exchange.codes import FileFault
from app.shop.exchange.imports import bring_in, read
from app.shop.exchange.tables import columns, tidy
from app.shop.exchange.versions import v6
from app.shop.record import loader
from app.shop.rejections import Rejection
from app.shop.store.database import Database
from app.shop.store.tables import FindingRow
from tests.shop.exchange.files import out
from tests.shop.rejections import rejects
from tests.shop.yard import AT, V8, engine, heat_soaked, key, visit

VACUUM = NewFindings("vacuum", tuple(ShownAt(bore, value=38.0 - 9 * (bore == 3)) for bore in range(1, 9)), "kPa", "KM")
MIST = NewFindings("spray", (ShownAt(3, word="moved"),), "", "KM")
REPAIR = NewFindings("repaired", (ShownAt(3, word="leak"),), "", "KM")


def found(shop: Database) -> int:
    """A visit with a leak that was found and repaired, one test that cannot be made, and one entry taken back."""
    visit_id = heat_soaked(shop, V8)
    findings.add_all(shop, visit_id, key(), (VACUUM, MIST), AT)
    findings.cannot(shop, visit_id, key(), "smoke", "KM", AT)
    findings.take_back(shop, visit_id, key(), 9, "TB", AT)
    findings.add(shop, visit_id, key(), MIST, AT)
    findings.add(shop, visit_id, key(), REPAIR, AT)
    return visit_id


def test_findings_are_the_same_and_weigh_the_same_in_the_other_shop(shop: Database, other: Database) -> None:
    visit_id = heat_soaked(shop, V8)
    assert "findings" not in json.loads(out(shop))["visits"][0]
    bring_in(other, read(out(shop)), {})
    findings.add_all(shop, visit_id, key(), (VACUUM, MIST), AT)
    engine_id = bring_in(other, read(out(shop)), {})
    assert out(other, engine_id) == out(shop)
    told = []
    for one in (shop, other):
        with one.reading() as session:
            told.append(cross_check(session, loader.load(session, visit_id)).diagnosis)
    assert told[0] == told[1]
    assert (told[0].standing[0].cause, told[0].standing[0].bore) == ("leak", 2)


def test_what_was_taken_back_and_repaired_comes_in_as_such(shop: Database, other: Database) -> None:
    found(shop)
    bring_in(other, read(out(shop)), {})
    assert out(other) == out(shop)


def test_a_finding_from_before_the_first_reading_and_move_stays_before_them(shop: Database, other: Database) -> None:
    visit_id = visit(shop, engine(shop))
    findings.add(shop, visit_id, key(), MIST, AT)
    bring_in(other, read(out(shop)), {})
    for one in (shop, other):
        with one.reading() as session:
            (row,) = session.exec(select(FindingRow)).all()
            assert (row.after_reading, row.after_move) == (0, 0)


def test_a_finding_that_says_something_else_is_refused(shop: Database, other: Database) -> None:
    found(shop)
    bring_in(other, read(out(shop)), {})
    file = json.loads(out(shop))
    file["visits"][0]["findings"][0]["value"] = 12.5
    file["seals"] = []
    with pytest.raises(RejectedError) as refused:
        bring_in(other, read(json.dumps(file)), {})
    differs = refused.value.problems["file"]
    assert differs.code is Rejection.FILE_ENTRY_DIFFERS
    assert differs.values == {"kind": "finding", "key": file["visits"][0]["findings"][0]["key"][:8]}


@pytest.mark.parametrize(
    "wrong",
    [
        {"kind": "balance"},
        {"bore": 99},
        {"bank": "A"},
        {"bore": None, "bank": "Z"},
        {"unit": "lambda"},
        {"word": "moved"},
        {"value": None},
        {"value": None, "word": "moved"},
        {"kind": "spray"},
        {"kind": "repaired", "value": None, "word": "balance"},
    ],
)
def test_a_finding_that_cannot_be_is_named(shop: Database, wrong: dict[str, Any]) -> None:
    found(shop)
    file = json.loads(out(shop))
    file["visits"][0]["findings"][0] |= wrong
    with pytest.raises(RejectedError) as refused:
        read(json.dumps(file))
    faults = refused.value.problems["file"].values["faults"]
    assert FileFault.FINDING in [fault.values["fault"].code for fault in faults]


def test_a_finding_that_supersedes_nothing_is_named(shop: Database) -> None:
    found(shop)
    file = json.loads(out(shop))
    file["visits"][0]["findings"][0]["supersedes"] = key()
    with rejects(Rejection.FILE_CONTRADICTS_ITSELF):
        read(json.dumps(file))


def test_the_table_says_what_stands(shop: Database) -> None:
    visit_id = found(shop)
    with shop.reading() as session:
        record = loader.load(session, visit_id)
        rows = list(tidy.findings(record, stored(session, visit_id)))
    heads = columns.names(columns.FINDINGS)
    table = [dict(zip(heads, row, strict=True)) for row in rows]
    assert [(row["kind"], row["word"], row["why"], row["stands"]) for row in table[8:]] == [
        ("spray", "moved", None, False),
        ("smoke", None, "cannot", True),
        ("spray", None, "taken-back", False),
        ("spray", "moved", None, True),
        ("repaired", "leak", None, True),
    ]
    assert (str(table[2]["value"]), table[2]["unit"], table[2]["bore"]) == ("29", "kPa", 3)


def test_no_column_is_forgotten() -> None:
    same = {"supersedes_id": "supersedes"}
    held = {same.get(name, name) for name in FindingRow.model_fields} - {"id", "seal", "visit_id"}
    assert held == set(v6.Finding.model_fields)


def test_a_finding_that_was_superseded_is_superseded_once_only(shop: Database) -> None:
    found(shop)
    file = json.loads(out(shop))
    rows = file["visits"][0]["findings"]
    taken_back = next(row for row in rows if row.get("supersedes"))
    rows.append({**taken_back, "key": key()})
    file["seals"] = []
    with rejects(Rejection.FILE_CONTRADICTS_ITSELF):
        read(json.dumps(file))
