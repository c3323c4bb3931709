"""The glossary holds: no text for a person contains a word that it forbids, and its own rows are whole."""

import re
import tomllib
from pathlib import Path

import pytest

import app.wording
from tests.wording.texts import Text, texts

TERMS = tomllib.loads((Path(next(iter(app.wording.__path__))) / "terms.toml").read_text())
FORBIDDEN = TERMS["forbidden"]


def found(word: str, unless: str = "") -> list[Text]:
    """The texts with a word, those left out in which it means something else."""
    pattern = re.compile(rf"(?<![\w-])(?:{word})(?![\w-])", re.IGNORECASE)
    allowed = re.compile(unless, re.IGNORECASE) if unless else None
    return [one for one in texts() if pattern.search(one.text) and not (allowed and allowed.search(one.text))]


@pytest.mark.parametrize("row", FORBIDDEN, ids=lambda row: row["word"])
def test_no_text_contains_a_forbidden_word(row: dict[str, str]) -> None:
    assert [f"{one.where}: {one.text}" for one in found(row["word"], row.get("unless", ""))] == []


def test_a_forbidden_word_would_be_found() -> None:
    """The search sees words in messages and in templates: words that are certainly there."""
    where = {one.where.partition(".")[0] for one in found("bore|bores|engine|engines")}
    assert "app" in where
    assert any(one.where.endswith(".html") for one in found("engine|engines"))


@pytest.mark.parametrize("row", TERMS["term"], ids=lambda row: row["screen"] or row["code"])
def test_a_term_has_a_word_and_a_meaning(row: dict[str, str]) -> None:
    assert row["screen"] or row["code"]
    assert row["meaning"] or not row["screen"] or row["avoid"]
