"""Every rejection has one message: at most two sentences, each with its period, in the words of the trade."""

import re
import string
from collections.abc import Iterator
from datetime import timedelta
from enum import StrEnum
from pathlib import Path

import pytest

import app
from app.shop.errors import RejectedError
from app.shop.exchange.codes import FileChoice, FileFault, FileQuestion, FileSide
from app.shop.reasons import because
from app.shop.rejections import Rejection
from app.sync.engine.layout import LayoutFault
from app.wording.message import Message, say
from app.wording.program.request_faults import PAGES, FieldFault, RequestFault
from app.wording.reasons import figure, in_words, problems_in_words, sentence_of, tables

ENUMS = (Rejection, LayoutFault, FileChoice, FileFault, FileQuestion, FileSide, RequestFault, FieldFault)
SENTENCES = (Rejection, LayoutFault, RequestFault, FieldFault)
"""Those whose messages are whole sentences; the others are questions, options, and phrases inside one."""

FORBIDDEN = re.compile(
    r"belongs? here|of that name|of that number|no such|\bthere is\b|somebody|nobody|whoever|meanwhile|by itself|"
    r"\bkept?\b|\bblades?\b|\bthou\b|rev/min|litre|neighbour|\bmay not\b|\bplease\b|\boops\b|;",
    re.IGNORECASE,
)

SAMPLES = {"wait": timedelta(seconds=30)}


def of(enum: type[StrEnum]) -> dict[StrEnum, Message]:
    """The table of an enum, which holds messages only."""
    return {code: words for code, words in tables()[enum].items() if isinstance(words, Message)}


def messages() -> Iterator[tuple[StrEnum, Message]]:
    for enum in ENUMS:
        yield from of(enum).items()


def every_text() -> list[str]:
    pages = [text for notice in PAGES.values() for text in (notice.title.text, notice.sentence.text)]
    return [*(message.text for _, message in messages()), *pages]


def values_of(text: str) -> set[str]:
    return {name for _, name, _, _ in string.Formatter().parse(text) if name}


@pytest.mark.parametrize("enum", ENUMS)
def test_every_code_has_a_message_and_every_message_a_code(enum: type[StrEnum]) -> None:
    assert set(of(enum)) == set(enum)


RETIRED = {"TRAINING_FLOW_ONLY"}
"""Codes that were published and are said no more; programs may still know them."""


def test_every_code_is_used() -> None:
    """A code that no line of the program names is dead, and so is its message."""
    home = Path(app.__file__).parent
    tables = {home / "wording" / name for name in ("rejections.py", "engine_files.py")}
    sources = "\n".join(path.read_text() for path in home.rglob("*.py") if path not in tables)
    for enum in (Rejection, LayoutFault, FileFault, FileQuestion, FileSide, FileChoice):
        unused = [one.name for one in enum if f"{enum.__name__}.{one.name}" not in sources]
        assert set(unused) <= RETIRED, enum


@pytest.mark.parametrize("enum", SENTENCES)
def test_a_message_is_one_or_two_sentences(enum: type[StrEnum]) -> None:
    for code, message in of(enum).items():
        assert message.text.endswith("."), code
        assert len(re.findall(r"[.?!](?: |$)", message.text)) <= 2, code
        assert message.text[0].isupper() or message.text[0] == "“", code
        assert len(message.text) <= 170, code


def test_a_page_has_a_title_without_and_a_sentence_with_a_period() -> None:
    for fault, notice in PAGES.items():
        assert not notice.title.text.endswith("."), fault
        assert notice.sentence.text.endswith("."), fault
        assert len(re.findall(r"[.?!](?: |$)", notice.sentence.text)) <= 2, fault


def test_no_message_has_a_word_of_the_old_voice() -> None:
    assert [text for text in every_text() if FORBIDDEN.search(text)] == []


def test_a_figure_and_its_unit_are_not_parted() -> None:
    parted = re.compile(r"\} (?:\{(?:other_)?unit\}|turns|flats|%|MB|kB)")
    assert [text for text in every_text() if parted.search(text)] == []


@pytest.mark.parametrize("code", list(Rejection))
def test_the_values_written_behind_a_code_are_those_of_its_message(code: Rejection) -> None:
    """What a verb hands over is written behind the code; a message may leave some of it out."""
    source = (Path(app.__file__).parent / "shop" / "rejections.py").read_text()
    line = re.search(rf"^    {code.name} = .*$", source, re.MULTILINE)
    assert line is not None
    said = line[0].partition("#")[2]
    for name in values_of(of(Rejection)[code].text):
        assert re.search(rf"\b{name}\b", said), name


@pytest.mark.parametrize(
    ("reason", "said"),
    [
        (because(Rejection.OUT_OF_RANGE, low=300.0, high=3000.0, unit="rpm"), "Enter 300 to 3000\u00a0rpm."),
        (because(Rejection.OUT_OF_RANGE, low=-40, high=90.0, unit="°C"), "Enter −40 to 90\u00a0°C."),
        (
            because(Rejection.FEELERS_OUT_OF_RANGE, low=0.0005, high=0.06, unit="in"),
            "Enter 0.0005 to 0.06\u00a0in for all feelers together.",
        ),
        (because(Rejection.TOO_LONG, most=120), "Enter at most 120 characters."),
        (
            because(Rejection.NOT_A_THICKNESS, typed="three", examples=(2.0, 2.5, 3.0)),
            "“three” is not a thickness. Enter numbers, such as 2, 2.5, 3.",
        ),
        (because(Rejection.TOO_MANY_TRIES, wait=timedelta(seconds=0.2)), "Too many wrong PINs. Try again in 1 second."),
        (
            because(Rejection.TOO_MANY_TRIES, wait=timedelta(seconds=89)),
            "Too many wrong PINs. Try again in 89 seconds.",
        ),
        (because(Rejection.TOO_MANY_TRIES, wait=timedelta(hours=1)), "Too many wrong PINs. Try again in 60 minutes."),
        (
            because(Rejection.VISIT_OPEN),
            "This engine has an open visit. Continue it, or sign it off first.",
        ),
        (
            because(Rejection.STALE_FORM),
            "This page is out of date and nothing was saved. Reload it and enter the value again.",
        ),
        (
            because(
                Rejection.FILE_CONTRADICTS_ITSELF,
                faults=(
                    because(FileFault.LAYOUT, fitting=1, fault=LayoutFault.JOINT_COUNT),
                    because(FileFault.VISIT, visit=2, fault=because(FileFault.NO_COUPLER_SCREW, near=2, far=3)),
                ),
            ),
            "The file contradicts itself, and nothing was imported: the layout of fitting 1 is not possible "
            "(joint-count), visit 2: coupler 2-3 has no screw.",
        ),
    ],
)
def test_values_are_said_in_the_sentence(reason: object, said: str) -> None:
    assert in_words(reason) == said  # type: ignore[arg-type]


def test_a_rejection_is_worded_by_field_and_as_a_whole_each_sentence_once() -> None:
    missing = because(Rejection.NUMBER_MISSING)
    rejected = RejectedError({"low": missing, "high": missing, "by": because(Rejection.INITIALS_MISSING)})
    assert problems_in_words(rejected)["high"] == "Enter a number."
    assert sentence_of(rejected) == "Enter a number. Enter the initials of the person who did it."
    assert str(rejected) == "number-missing; number-missing; initials-missing"


@pytest.mark.parametrize(("number", "said"), [(30.0, "30"), (1830.0, "1830"), (100_000.0, "100000"), (-0.5, "−0.5")])
def test_a_figure_has_the_places_that_it_has(number: float, said: str) -> None:
    assert figure(number) == said


def test_a_message_can_be_said_with_any_value_that_it_names() -> None:
    for _, message in messages():
        values = {name: SAMPLES.get(name, "7") for name in values_of(message.text)}
        assert "{" not in say(message, **values)
