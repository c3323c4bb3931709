"""Every code has words, and every word a code: the tables of messages are whole."""

import importlib
import inspect
import pkgutil
import re
from collections.abc import Iterator
from enum import StrEnum
from string import Formatter

import pytest

import app.shop
import app.sync
import app.web
from app.shop.reasons import Reason
from app.wording.message import Message, say
from app.wording.reasons import tables
from tests.wording.texts import messages

VALUE = re.compile(r"\{\w+\}")
NOT_SAID = frozenset({"SlipVerdict", "Trait"})
"""Enums whose codes are never said to a person as such: a verdict of slips is said by how sure it is, and a
trait is typed and not said."""


def enums() -> Iterator[type[StrEnum]]:
    """The enums that the program defines, by module."""
    for package in (app.shop, app.sync, app.web):
        for found in pkgutil.walk_packages(package.__path__, f"{package.__name__}."):
            for value in vars(importlib.import_module(found.name)).values():
                if inspect.isclass(value) and issubclass(value, StrEnum) and value.__module__ == found.name:
                    yield value


@pytest.mark.parametrize(
    "codes", [one for one in enums() if one.__name__ not in NOT_SAID], ids=lambda codes: codes.__name__
)
def test_every_code_has_words(codes: type[StrEnum]) -> None:
    assert set(tables()[codes]) == set(codes)


def test_every_message_fits_its_limit_and_names_its_values_once_as_text() -> None:
    found = list(messages())
    assert len(found) > 10
    for where, message in found:
        assert not message.limit or len(VALUE.sub("", message.text)) <= message.limit, where
        assert message.many != message.text, where
        assert not message.many or named(message.text) == named(message.many), where


def named(text: str) -> set[str]:
    """The values that a text names, its count aside: one may be said without the figure."""
    return {field for _, field, _, _ in Formatter().parse(text) if field} - {"count"}


def test_a_missing_value_is_an_error_of_the_program() -> None:
    with pytest.raises(KeyError):
        say(Message("Bore {bore}"))


def test_a_reason_is_told_to_programmers_by_its_code() -> None:
    class Codes(StrEnum):
        ONE = "one"

    assert str(Reason(Codes.ONE, {"bore": 3})) == "one(bore=3)"
