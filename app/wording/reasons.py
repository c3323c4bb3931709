"""From a reason's code to its sentence: every enum of codes has a table of messages, and one place looks them up."""

import importlib
import pkgutil
from collections.abc import Callable, Mapping
from datetime import timedelta
from enum import StrEnum
from functools import cache

import app.wording
from app.shop.errors import RejectedError
from app.shop.reasons import Reason
from app.wording.message import Message, pattern, say

Worded = Message | Callable[[Reason], str]
"""The words of a code: a message that takes the reason's values, or a function where a value has words of its own."""

TABLES: dict[type[StrEnum], Mapping[StrEnum, Worded]] = {}
"""The words by the enum of their codes; each module of words adds its own. A test shows that each table is whole."""

SECONDS = Message("{count} second", many="{count} seconds")
MINUTES = Message("{count} minute", many="{count} minutes")
HOURS = Message("{count} hour", many="{count} hours")
DAYS = Message("{count} day", many="{count} days")


def in_words(reason: Reason) -> str:
    """A reason as a sentence. Its values are said first: reasons by their words, tuples joined by commas."""
    words = tables()[type(reason.code)][reason.code]
    if not isinstance(words, Message):
        return words(reason)
    return told(words, reason)


def told(words: Message, reason: Reason) -> str:
    """A message with the values of a reason."""
    said = {name: _value(value) for name, value in reason.values.items()}
    return pattern(words, reason.values["count"] if words.many else 1).format_map(said)


@cache
def tables() -> Mapping[type[StrEnum], Mapping[StrEnum, Worded]]:
    """All tables, once every module of words has been read."""
    for found in pkgutil.walk_packages(app.wording.__path__, "app.wording."):
        importlib.import_module(found.name)
    return TABLES


def problems_in_words(rejected: RejectedError) -> dict[str, str]:
    """What is wrong, by field, as sentences."""
    return {field: in_words(reason) for field, reason in rejected.problems.items()}


def sentence_of(rejected: RejectedError) -> str:
    """Everything that is wrong as one text, each sentence once."""
    return " ".join(dict.fromkeys(problems_in_words(rejected).values()))


def figure(number: float) -> str:
    """A figure with the places that it has, and a minus sign where it is below 0.

    >>> figure(100_000.0), figure(0.0005), figure(-40)
    ('100000', '0.0005', '−40')
    """
    return f"{number:.10g}".replace("-", "\u2212")


def duration(time: timedelta) -> str:
    """A time as a person waits for it: in seconds, minutes, hours or days; one second at the least.

    >>> duration(timedelta(seconds=30)), duration(timedelta(minutes=2)), duration(timedelta(days=2))
    ('30 seconds', '2 minutes', '2 days')
    """
    seconds = max(1, round(time.total_seconds()))
    for unit, message in ((86400, DAYS), (3600, HOURS)):
        if seconds >= 2 * unit:
            return say(message, count=round(seconds / unit))
    return say(SECONDS, count=seconds) if seconds < 90 else say(MINUTES, count=round(seconds / 60))


def _value(value: object) -> object:
    if isinstance(value, Reason):
        return in_words(value)
    if isinstance(value, tuple):
        return ", ".join(str(_value(one)) for one in value)
    if isinstance(value, timedelta):
        return duration(value)
    return figure(value) if isinstance(value, int | float) else value
