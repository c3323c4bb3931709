"""The table of findings as its migrations make it: what the database itself refuses, and rows from before 0030."""

from pathlib import Path

import pytest
from sqlalchemy.exc import DataError, IntegrityError

from app.shop.cross_check import findings
from app.shop.cross_check.findings import NewFindings, ShownAt
from app.shop.store.database import Database, FileDatabase
from app.shop.store.integrity import examine
from app.shop.store.upgrade import open_shop
from tests.shop.past import Past
from tests.shop.store.opening import ask, run
from tests.shop.yard import AT, FOUR, heat_soaked, key

INSERT = (
    "INSERT INTO finding (key, payload, seal, visit_id, bore, bank, kind, value, word, why, unit, source, after_move, "
    "\"by\", at, supersedes_id) VALUES ('{key}', '', '', {visit}, {bore}, '{bank}', '{kind}', {value}, {word}, {why}, "
    "'', 'tablet', 0, 'KM', '{at}', {before})"
)

SINCE = (("reading", "alike REAL"), ("visit", "site_id INTEGER"), ("meter", "site_id INTEGER"))
"""Columns that the tables of then had not yet."""


def statement(**other: object) -> str:
    usual = {"visit": 1, "bore": 3, "bank": "", "kind": "spray", "value": "NULL", "word": "'moved'", "why": "NULL"}
    return INSERT.format(**{**usual, "before": "NULL", "at": AT, "key": key(), **other})


@pytest.fixture
def found(shop: Database) -> Database:
    """A shop with one finding."""
    visit_id = heat_soaked(shop, FOUR)
    findings.add(shop, visit_id, key(), NewFindings("spray", (ShownAt(3, word="moved"),), "", "KM"), AT)
    return shop


def test_a_row_that_says_one_thing_of_one_place_is_stored(found: FileDatabase) -> None:
    with found.writing() as session:
        run(session, statement())
    assert ask(found.file, "SELECT count(*) FROM finding") == 2


@pytest.mark.parametrize(
    "wrong",
    [
        {"word": "NULL"},
        {"value": "1.5"},
        {"why": "'cannot'"},
        {"bank": "A"},
        {"visit": 99},
        {"before": 99},
        {"value": "'much'", "word": "NULL"},
    ],
)
def test_the_database_refuses_what_says_nothing_two_things_or_of_two_places(
    found: Database, wrong: dict[str, object]
) -> None:
    with found.writing() as session, pytest.raises((IntegrityError, DataError)):
        run(session, statement(**wrong))


def test_one_row_is_taken_back_once(found: Database) -> None:
    with found.writing() as session:
        run(session, statement(before=1, word="NULL", why="'taken-back'"))
    with found.writing() as session, pytest.raises(IntegrityError):
        run(session, statement(before=1, word="NULL", why="'taken-back'"))


@pytest.mark.parametrize("change", ["UPDATE finding SET word = 'still'", "DELETE FROM finding"])
def test_rows_are_only_ever_added(found: Database, change: str) -> None:
    with found.writing() as session, pytest.raises(IntegrityError):
        run(session, change)


def test_rows_carry_a_hash_of_what_they_say(found: FileDatabase) -> None:
    assert ask(found.file, "SELECT length(seal) >= 16 FROM finding") == 1
    assert ask(found.file, "SELECT after_reading = (SELECT max(id) FROM reading) FROM finding") == 1


def test_a_shop_from_before_the_table_and_one_from_before_its_last_column_open(scripts: Path, tmp_path: Path) -> None:
    (tmp_path / "aside").mkdir()
    later = {one.name[:4]: one for one in (scripts / "versions").glob("0*.py") if one.name >= "0026"}
    aside = {number: one.rename(tmp_path / "aside" / one.name) for number, one in later.items()}
    open_shop(tmp_path / "old", scripts).close()
    for number in sorted(one for one in aside if one < "0030"):
        aside[number].rename(scripts / "versions" / aside[number].name)
    shop = open_shop(tmp_path / "old", scripts)
    assert ask(shop.file, "SELECT count(*) FROM finding") == 0
    with shop.writing() as session:
        for table, column in SINCE:
            run(session, f"ALTER TABLE {table} ADD COLUMN {column}")  # what is written with knows it
    Past(shop, FOUR).visit([6.5] * 4)
    with shop.writing() as session:
        for table, column in SINCE:
            run(session, f"ALTER TABLE {table} DROP COLUMN {column.partition(' ')[0]}")
        run(session, statement())
    shop.close()
    for number in sorted(one for one in aside if one >= "0030"):
        aside[number].rename(scripts / "versions" / aside[number].name)
    shop = open_shop(tmp_path / "old", scripts)
    assert ask(shop.file, "SELECT word FROM finding WHERE after_reading IS NULL") == "moved"
    with shop.writing() as session, pytest.raises(IntegrityError):
        run(session, "DELETE FROM finding")
    shop.close()
    assert examine(shop.file) is not None
