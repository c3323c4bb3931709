"""From a reason's code to its sentence: every enum of codes has a table of messages, and one place looks them up."""

from collections.abc import Mapping
from datetime import timedelta
from enum import StrEnum
from typing import Any

from app.shop.errors import RejectedError
from app.shop.exchange.codes import FileChoice, FileFault, FileQuestion, FileSide
from app.shop.reasons import Reason
from app.shop.rejections import Rejection
from app.sync.engine.layout import LayoutFault
from app.wording.engine_files import FILE_CHOICES, FILE_FAULTS, FILE_QUESTIONS, FILE_SIDES
from app.wording.message import Message, say
from app.wording.rejections import LAYOUT_FAULTS, REJECTIONS
from app.wording.request_faults import FIELDS, PROGRAM, FieldFault, RequestFault

TABLES: dict[type[StrEnum], Mapping[Any, Message]] = {
    Rejection: REJECTIONS,
    LayoutFault: LAYOUT_FAULTS,
    FileChoice: FILE_CHOICES,
    FileFault: FILE_FAULTS,
    FileQuestion: FILE_QUESTIONS,
    FileSide: FILE_SIDES,
    RequestFault: PROGRAM,
    FieldFault: FIELDS,
}
"""The messages by the enum of their codes. A test shows that each is whole."""


SECONDS = Message("{count} second", many="{count} seconds")
MINUTES = Message("{count} minute", many="{count} minutes")


def in_words(reason: Reason | str) -> str:
    """A reason as a sentence. Its values are said first: reasons by their messages, tuples joined by commas."""
    if isinstance(reason, str):
        return reason
    values = {name: _value(value) for name, value in reason.values.items()}
    return say(TABLES[type(reason.code)][reason.code], **values)


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
    """A time as a person waits for it: in seconds, in minutes from one and a half on; one second at the least.

    >>> duration(timedelta(seconds=30)), duration(timedelta(minutes=2))
    ('30 seconds', '2 minutes')
    """
    seconds = max(1, round(time.total_seconds()))
    return say(SECONDS, count=seconds) if seconds < 90 else say(MINUTES, count=round(seconds / 60))


def _value(value: object) -> object:
    if isinstance(value, Reason):
        return in_words(value)
    if isinstance(value, tuple):
        return ", ".join(str(_value(one)) for one in value)
    if isinstance(value, timedelta):
        return duration(value)
    return figure(value) if isinstance(value, int | float) else value
