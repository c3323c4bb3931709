"""The glossary holds: no text for a person contains a word that it forbids, and its own rows are whole.

The words that have no right meaning in the program at all are forbidden in docstrings and comments too.
"""

import re
import tomllib
from collections.abc import Sequence
from functools import cache
from pathlib import Path

import pytest

import app.wording
from tests.wording.texts import Text, of_code, of_interface, texts

TERMS = tomllib.loads((Path(next(iter(app.wording.__path__))) / "terms.toml").read_text())
FORBIDDEN = TERMS["forbidden"]


@cache
def for_people() -> tuple[Text, ...]:
    """What is read on a screen, on paper, over the telephone, or by who writes a program for the interface."""
    return (*texts(), *of_interface())


@cache
def for_programmers() -> tuple[Text, ...]:
    """What is read beside the code."""
    return tuple(of_code())


def found(among: Sequence[Text], word: str, unless: str = "") -> list[Text]:
    """The texts with a word, those left out in which it means something else."""
    pattern = re.compile(rf"(?<![\w-])(?:{word})(?![\w-])", re.IGNORECASE)
    allowed = re.compile(unless, re.IGNORECASE) if unless else None
    return [one for one in among if pattern.search(one.text) and not (allowed and allowed.search(one.text))]


@pytest.mark.parametrize("row", FORBIDDEN, ids=lambda row: row["word"])
def test_no_text_contains_a_forbidden_word(row: dict[str, str]) -> None:
    assert [f"{one.where}: {one.text}" for one in found(for_people(), row["word"], row.get("unless", ""))] == []


@pytest.mark.parametrize("row", [row for row in FORBIDDEN if row.get("docstrings")], ids=lambda row: row["word"])
def test_no_docstring_contains_a_word_that_has_no_right_meaning(row: dict[str, str]) -> None:
    assert [f"{one.where}: {one.text}" for one in found(for_programmers(), row["word"], row.get("unless", ""))] == []


def test_a_forbidden_word_would_be_found() -> None:
    """The search sees words in messages, in templates and in what describes the interface: words that are there."""
    where = [one.where for one in found(for_people(), "engine|engines")]
    assert any(one.startswith("app.wording.") for one in where)
    assert any(one.endswith(".html") for one in where)
    assert any(one.startswith("interface/paths/") for one in where)


def test_a_forbidden_word_would_be_found_beside_the_code() -> None:
    """Docstrings and comments are seen, names of the code and examples in them are not."""
    assert found(for_programmers(), "engine|engines")
    assert found(for_programmers(), r"# .*our judgement")
    assert not found(for_programmers(), "displacement_cc")


@pytest.mark.parametrize("row", TERMS["term"], ids=lambda row: row["screen"] or row["code"])
def test_a_term_has_a_word_and_a_meaning(row: dict[str, str]) -> None:
    assert row["screen"] or row["code"]
    assert row["meaning"] or not row["screen"] or row["avoid"]
