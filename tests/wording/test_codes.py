"""Every code has words, and every word a code: the tables of messages are whole."""

import importlib
import inspect
import pkgutil
from collections.abc import Iterator
from enum import StrEnum

import pytest

import app.shop
import app.sync
import app.web
from app.shop.reasons import Reason
from app.wording.message import Message, say
from app.wording.reasons import tables
from tests.wording.texts import messages

NOT_SAID: frozenset[str] = frozenset()
"""Enums whose codes are never said to a person."""


def enums() -> Iterator[type[StrEnum]]:
    """The enums that the program defines, by module."""
    for package in (app.shop, app.sync, app.web):
        for found in pkgutil.walk_packages(package.__path__, f"{package.__name__}."):
            for value in vars(importlib.import_module(found.name)).values():
                if inspect.isclass(value) and issubclass(value, StrEnum) and value.__module__ == found.name:
                    yield value


@pytest.mark.parametrize("codes", list(enums()), ids=lambda codes: codes.__name__)
def test_every_code_has_words(codes: type[StrEnum]) -> None:
    if codes.__name__ not in NOT_SAID:
        assert set(tables()[codes]) == set(codes)


def test_every_message_fits_its_limit_and_names_its_values_once_as_text() -> None:
    found = list(messages())
    assert len(found) > 10
    for where, message in found:
        assert not message.limit or len(message.text) <= message.limit, where
        assert not message.many or "{count}" in message.text + message.many, where


def test_a_missing_value_is_an_error_of_the_program() -> None:
    with pytest.raises(KeyError):
        say(Message("Bore {bore}"))


def test_a_reason_is_told_to_programmers_by_its_code() -> None:
    codes = StrEnum("codes", {"ONE": "one"})
    assert str(Reason(codes.ONE, {"bore": 3})) == "one(bore=3)"
