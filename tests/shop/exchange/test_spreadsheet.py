"""Records as tables: read back by pandas with the types of their dictionary, and no text taken for a formula."""

import csv
import io
import json
import re
import zipfile
from datetime import datetime
from typing import Any

import pandas
import pytest

from app.shop.commands import checks
from app.shop.cross_check import findings
from app.shop.cross_check.findings import NewFindings, ShownAt
from app.shop.exchange.tables import columns, tidy
from app.shop.exchange.tables.columns import Column
from app.shop.exchange.tables.data_package import TABLES, descriptor, write_tables
from app.shop.exchange.tables.tidy import CellWords, figure, local, table_csv
from app.shop.procedure.phases import COLD_PRESET
from app.shop.record import loader
from app.shop.stopwatch import Allowance
from app.shop.store.database import Database
from app.shop.store.tables import ReadingRow
from tests.shop.exchange.files import EVEN, SLIPPED, with_codes
from tests.shop.past import Past
from tests.shop.yard import AT, FOUR, engine, key, visit, visit_record

WORDS = CellWords(str.upper, str, lambda item, number: item.choices[int(number)])

PUBLISHED = (
    "visit", "place", "job", "opened_at", "meter", "round", "phase", "opening_m", "bore", "kind", "value", "unit",
    "stands", "why", "by", "at", "from_above", "engine_rev_per_min",
)  # fmt: skip
"""The columns of ``readings.csv`` as first published: they keep their names and their places."""

DTYPES = {"string": "string", "integer": "Int64", "number": "float64", "boolean": "boolean"}
"""What pandas calls the types of a Table Schema, with room for an empty cell in all of them."""


def filled(shop: Database) -> None:
    """Two engines: one of two banks that slipped and whose texts look like formulas, one with codes and skips."""
    past = Past(shop, serial="-31/0001")
    visit_id = past.visit(SLIPPED, EVEN, by="=KM()")
    past.visit(EVEN, SLIPPED, air={"air-pressure": 101.3, "air-temperature": 21.5})
    old = visit_record(shop, visit_id).rounds[0].entered[0]
    with shop.writing() as session:
        session.add(
            ReadingRow(
                key=key(), payload="", round_id=old.round_id, bore=1, kind="turn", value=6.25, unit="kg/h",
                why='=HYPERLINK("http://x","y")', by="KM", at=AT, supersedes_id=old.ident,
            )
        )  # fmt: skip
    engine_id = with_codes(shop)
    shown = (ShownAt(2, value=31.5, spread=0.07), ShownAt(3, value=-0.5))
    with shop.reading() as session:
        newest = loader.of_engine(session, engine_id)[0].visit.ident
    findings.add(shop, newest, key(), NewFindings("vacuum", shown, "kPa", "=KM()"), AT)


def package(shop: Database) -> zipfile.ZipFile:
    made = io.BytesIO()
    with shop.reading() as session:
        write_tables(session, made, WORDS, AT, Allowance())
    return zipfile.ZipFile(made)


def read_by(schema: dict[str, Any], text: bytes) -> pandas.DataFrame:
    """A table read by nothing but what the dictionary says of it. Raises ValueError where a cell is not of its type."""
    of = {field["name"]: field for field in schema["fields"]}
    frame = pandas.read_csv(
        io.BytesIO(text),
        dtype={name: DTYPES[field["type"]] for name, field in of.items() if field["type"] in DTYPES},
        true_values=["yes"],
        false_values=["no"],
        na_values=schema["missingValues"],
        keep_default_na=False,
    )
    assert list(frame.columns) == list(of)
    for name, field in of.items():
        if field["type"] == "datetime":
            format = "ISO8601" if field["format"] == "default" else field["format"]
            frame[name] = pandas.to_datetime(frame[name], format=format)
    return frame


@pytest.mark.parametrize(
    ("column", "written"),
    [
        (Column("stands", "boolean", ""), {"trueValues": ["yes"], "falseValues": ["no"]}),
        (Column("at", "datetime", ""), {"format": "default"}),
        (Column("at_local", "datetime", ""), {"format": "%Y-%m-%d %H:%M:%S"}),
        (Column("value", "number", "", "kg/h"), {"unit": "kg/h"}),
    ],
    ids=lambda one: one.name if isinstance(one, Column) else "",
)
def test_a_field_says_how_its_cells_are_written_and_nothing_of_other_kinds(
    column: Column, written: dict[str, object]
) -> None:
    """Properties of fields of a Table Schema (Data Package 2.0)."""
    own = {"name": column.name, "type": column.kind, "description": "", "constraints": {}}
    assert column.field() == own | written


def test_pandas_reads_every_table_with_the_types_of_the_dictionary(shop: Database) -> None:
    filled(shop)
    held = package(shop)
    told = json.loads(held.read("datapackage.json"))
    assert set(held.namelist()) == {"datapackage.json", *(one["path"] for one in told["resources"])}
    frames = {one["name"]: read_by(one["schema"], held.read(one["path"])) for one in told["resources"]}
    for resource in told["resources"]:
        frame, schema = frames[resource["name"]], resource["schema"]
        assert len(frame)
        for field in schema["fields"]:
            column, limits = frame[field["name"]], field["constraints"]
            assert not limits.get("required") or column.notna().all(), field["name"]
            assert set(column.dropna()) <= set(limits.get("enum", column.dropna())), field["name"]
        if "primaryKey" in schema:
            assert not frame.duplicated(schema["primaryKey"]).any()
        for link in schema.get("foreignKeys", ()):
            there = frames[link["reference"]["resource"]][link["reference"]["fields"]].drop_duplicates()
            assert len(frame.merge(there, on=link["fields"])) == len(frame), resource["name"]
    assert {name: len(frame) for name, frame in frames.items()}["engines"] == 2
    times = frames["readings"]
    assert (times["at"].dt.tz_convert(datetime.now().astimezone().tzinfo).dt.tz_localize(None).dt.floor("s")
            == times["at_local"]).all()  # fmt: skip


def test_figures_and_verdicts_are_those_of_the_record(shop: Database) -> None:
    """Coupler 2–3 opened two plates: 7.75 is 13.8 % above the average of 6.81; the estimate draws it nearer."""
    Past(shop).visit(SLIPPED, EVEN)
    with shop.reading() as session:
        (record,) = loader.of_engine(session, 1)
    rows = [dict(zip(columns.names(columns.READINGS), row, strict=True)) for row in tidy.readings(record, WORDS)]
    found = [row for row in rows if row["round"] == 1 and row["kind"] == "turn"]
    assert [row["verdict"] for row in found if row["bore"] in (3, 4)] == ["more air"] * 2
    assert [float(str(row["air_percent"])) for row in found if row["bore"] == 3] == [pytest.approx(13.8, abs=2)]
    assert {len(str(row["air_percent"]).partition(".")[2]) for row in found} == {1}  # to a tenth
    assert str(found[0]["value"]) == "6.50"
    assert {row["verdict"] for row in rows if row["kind"] == "closing"} == {None}
    (move,) = (dict(zip(columns.names(columns.MOVES), row, strict=True)) for row in tidy.moves(record))
    assert (str(move["amount"]), move["unit"], move["near"], move["far"]) == ("0.003", "in", 2, 3)


def test_readings_for_a_spreadsheet(shop: Database) -> None:
    filled(shop)
    found = list(csv.DictReader(io.StringIO(package(shop).read("readings.csv").decode())))
    assert found[0]["stands"] == "no"
    corrected = next(row for row in found if "HYPER" in row["why"])
    assert corrected["why"] == '\'=HYPERLINK("HTTP://X","Y")'  # worded by what is handed in, and marked as text
    assert float(corrected["value"]) == 6.25
    assert all(re.fullmatch(r"\d{4}-\d\d-\d\d \d\d:\d\d:\d\d", row["at_local"]) for row in found)


def test_columns_that_were_published_keep_their_names_and_places() -> None:
    assert columns.names(columns.READINGS)[: len(PUBLISHED)] == PUBLISHED


@pytest.mark.parametrize("text", ["=1+1", "+1", "-1", "@SUM(A1)", "\t=1", "\r=1", " =1"])
def test_no_text_is_taken_for_a_formula(text: str) -> None:
    """The beginnings that OWASP names for CSV injection."""
    (_, (cell,)) = list(csv.reader(io.StringIO(table_csv(["x"], [(text,)]), newline="")))
    assert cell == "'" + text


def test_a_number_stays_a_number() -> None:
    assert table_csv(["x", "y", "z"], [(-1.5, None, figure(-0.125))]) == "x,y,z\r\n-1.5,,-0.125\r\n"


@pytest.mark.parametrize(
    ("value", "places", "shown"),
    [(0.0007619999999999999, 0, "0.000762"), (7.62e-05, 0, "0.0000762"), (6.5, 2, "6.50"), (850, 0, "850"),
     (0.1 + 0.2, 0, "0.3"), (-0.0625, 0, "-0.0625"), (1200, 0, "1200"), (0, 0, "0")],
)  # fmt: skip
def test_figures_carry_no_digits_of_binary_arithmetic(value: float, places: int, shown: str) -> None:
    assert str(figure(value, places)) == shown


def test_a_time_is_told_twice() -> None:
    at = "2026-09-03T12:05:07.250+00:00"
    assert datetime.fromisoformat(local(at)).astimezone() == datetime.fromisoformat(at).replace(microsecond=0)


@pytest.mark.parametrize(
    ("table", "told"),
    [
        (
            columns.READINGS,
            "visit place opened_at meter round phase opening_m bore kind unit stands at from_above engine at_local "
            "opening_in",
        ),
        (columns.HOURS, "engine visit phase recorded_minutes minutes corrected"),
        (columns.FINDINGS, "engine visit kind source stands at at_local"),
        (columns.VISITS, "engine visit place opened_at opened_at_local meter meter_unit"),
        (columns.MOVES, "engine visit move phase kind amount unit advised stands taken_back at at_local"),
        (columns.CHECKS, "engine visit phase item stands taken_back at at_local"),
    ],
)
def test_what_a_row_cannot_be_without_is_required_of_it(table: tuple[Column, ...], told: str) -> None:
    """What is typed may be left empty, and what comes later is. The meter of a visit is one with a unit; a move is of a
    bank or a bore, as its kind is; a check may have no figure, and neither may a reading or a finding.
    """
    required = [one["name"] for column in table if (one := column.field())["constraints"].get("required")]
    assert required == told.split()


def test_a_check_with_a_figure_has_the_unit_of_its_item_and_one_without_has_none(shop: Database) -> None:
    visit_id = visit(shop, engine(shop, FOUR))
    said: dict[str, float | None] = {"wide-open": None, "preset-turns": 1.0}
    checks.record(shop, visit_id, key(), COLD_PRESET.slug, said, "KM", AT)
    rows = [
        dict(zip(columns.names(columns.CHECKS), row, strict=True))
        for row in tidy.checks(visit_record(shop, visit_id), WORDS)
    ]
    shown = {row["item"]: (row["value"], row["unit"]) for row in rows}
    assert shown == {"wide-open": (None, ""), "preset-turns": (1, "turns")}


def test_the_dictionary_describes_every_column() -> None:
    """The properties that the Data Package standard, version 2.0, asks of a tabular resource."""
    told = descriptor(AT)
    assert told["$schema"] == "https://datapackage.org/profiles/2.0/datapackage.json"
    for resource in told["resources"]:
        assert {"name", "path", "schema"} <= set(resource)
        assert re.fullmatch(r"[a-z0-9._-]+", resource["name"])
        for field in resource["schema"]["fields"]:
            assert field["description"].endswith(".")
            assert field["type"] not in ("number",) or field["unit"]
            if field.get("unit", "").startswith("column:"):
                assert field["unit"].removeprefix("column:") in [f["name"] for f in resource["schema"]["fields"]]


@pytest.mark.parametrize("of", [of for of, _ in TABLES.values()])
def test_no_column_has_the_name_of_another(of: tuple[Column, ...]) -> None:
    assert len(set(columns.names(of))) == len(of)
