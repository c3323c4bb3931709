"""From a reason's code to its sentence: every enum of codes has a table of messages, and one place looks them up."""

import importlib
import pkgutil
from collections.abc import Callable, Mapping
from enum import StrEnum
from functools import cache

import app.wording
from app.shop.errors import RejectedError
from app.shop.reasons import Reason
from app.wording.message import Message, say

Worded = Message | Callable[[Reason], str]
"""The words of a code: a message that takes the reason's values, or a function where a value has words of its own."""

TABLES: dict[type[StrEnum], Mapping[StrEnum, Worded]] = {}
"""The words by the enum of their codes; each module of words adds its own. A test shows that each table is whole."""


def in_words(reason: Reason | str) -> str:
    """A reason as a sentence. Values that are reasons, or tuples of them, are said first and joined by commas."""
    if isinstance(reason, str):
        return reason
    words = tables()[type(reason.code)][reason.code]
    if not isinstance(words, Message):
        return words(reason)
    return say(words, **{name: _value(value) for name, value in reason.values.items()})


@cache
def tables() -> Mapping[type[StrEnum], Mapping[StrEnum, Worded]]:
    """All tables, once every module of words has been read."""
    for found in pkgutil.iter_modules(app.wording.__path__, "app.wording."):
        importlib.import_module(found.name)
    return TABLES


def problems_in_words(rejected: RejectedError) -> dict[str, str]:
    """What is wrong, by field, as sentences."""
    return {field: in_words(reason) for field, reason in rejected.problems.items()}


def sentence_of(rejected: RejectedError) -> str:
    """Everything that is wrong as one text."""
    return "; ".join(problems_in_words(rejected).values())


def _value(value: object) -> object:
    if isinstance(value, Reason):
        return in_words(value)
    if isinstance(value, tuple) and value and all(isinstance(one, Reason) for one in value):
        return ", ".join(in_words(one) for one in value)
    return value
