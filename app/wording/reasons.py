"""From a reason's code to its sentence: every enum of codes has a table of messages, and one place looks them up."""

from collections.abc import Mapping
from enum import StrEnum

from app.shop.errors import RejectedError
from app.shop.reasons import Reason
from app.wording.message import Message, say

TABLES: dict[type[StrEnum], Mapping[StrEnum, Message]] = {}
"""The messages by the enum of their codes. A test shows that each is whole."""


def in_words(reason: Reason | str) -> str:
    """A reason as a sentence. Values that are reasons, or tuples of them, are said first and joined by commas."""
    if isinstance(reason, str):
        return reason
    values = {name: _value(value) for name, value in reason.values.items()}
    return say(TABLES[type(reason.code)][reason.code], **values)


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
