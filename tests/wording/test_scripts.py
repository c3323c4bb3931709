"""The texts of the scripts: each is there, each is used, and they come in the page's language."""

import json
import re
from gettext import NullTranslations

import pytest

from app.places import static
from app.sync.signals.settling import Unsettled
from app.wording import language
from app.wording.language import speaking
from app.wording.program import scripts
from tests.wording.pseudo import PseudoTranslations, pseudo

SOURCES = "".join(file.read_text(encoding="utf-8") for file in sorted(static().glob("*.js")))
SAID = set(re.findall(r'\bsay\(\s*"([^"]+)"', SOURCES))
LITERALS = set(re.findall(r'"([^"\n]*)"', SOURCES))
SELECTOR = re.compile(r"[\[>#]|(?:^|\s)\.\w|\bis-")


def test_every_text_that_a_script_names_is_there() -> None:
    assert len(SAID) > 30
    assert set(scripts.WORDS) >= SAID
    assert {name for name in LITERALS if name.startswith(("write-", "because-"))} <= set(scripts.WORDS)


def test_every_text_is_used() -> None:
    """By its name, or by a name that ends with what a channel lacks: ``live-${...}``."""
    lacks = {f"live-{lack}" for lack in (*Unsettled, "stale", "frozen", "refused")}
    assert "`live-${channel.missing}`" in SOURCES
    assert set(scripts.WORDS) - lacks <= LITERALS


@pytest.mark.parametrize("name", scripts.WORDS)
def test_a_script_puts_in_the_values_that_a_text_names(name: str) -> None:
    """As ``words.js`` finds them: a name in braces, and nothing else in braces."""
    for text in (scripts.WORDS[name].text, scripts.WORDS[name].many):
        assert re.sub(r"\{\w+\}", "", text).count("{") == 0
    assert ("{count}" in scripts.WORDS[name].many) == bool(scripts.WORDS[name].many)


def test_no_sentence_is_left_in_a_script() -> None:
    """Two words with a space between them, in quotes; selectors and names of classes are none."""
    code = re.sub(r"//[^\n]*|/\*.*?\*/", "", SOURCES, flags=re.DOTALL)
    quoted = [text for pair in re.findall(r'"([^"\n]*)"|`([^`\n]*)`', code) for text in pair]
    sentences = [text for text in quoted if re.search(r"[A-Za-z]{2,} [a-z]{2,}", text) and not SELECTOR.search(text)]
    assert sentences == ["use strict"]


class Polish(NullTranslations):
    """A language of three forms, which says only which of them it was asked for."""

    def gettext(self, message: str) -> str:
        return message

    def ngettext(self, msgid1: str, msgid2: str, n: int) -> str:
        few = n % 10 in (2, 3, 4) and n % 100 not in (12, 13, 14)
        return "one {count}" if n == 1 else "few {count}" if few else "many {count}"


def test_the_texts_come_by_plural_category() -> None:
    assert scripts.bundle()["write-moves"] == {"one": "{count} adjustment", "other": "{count} adjustments"}
    with speaking(Polish()):
        forms = scripts.bundle()["write-moves"]
    assert isinstance(forms, dict)
    assert {forms["one"], forms["few"], forms["other"]} == {"one {count}", "few {count}", "many {count}"}
    assert forms.get("many", forms["other"]) == "many {count}"


def test_the_texts_come_in_the_language_of_the_tablet() -> None:
    with speaking(PseudoTranslations()):
        said = scripts.bundle()
    assert said["sending"] == pseudo("Sending")
    assert said["write-bore"] == pseudo("Bore {bore}, {value}")
    assert language.current() is language.ENGLISH


def test_the_block_in_a_page_is_json_that_no_markup_can_end() -> None:
    from app.web.context import environment

    block = environment().from_string("{{ script_words()|tojson }}").render()
    assert json.loads(block) == scripts.bundle()
    assert "<" not in block
