"""One sentence or label as it is kept, and how it is said: in the language that is current, with its values put in."""

from dataclasses import dataclass
from typing import Any

from app.wording.language import current


@dataclass(frozen=True, slots=True)
class Message:
    """English text with named values, which is also what translations are looked up by.

    ``many`` is the form for a ``count`` other than one. ``limit`` is how many characters fit where room is short, 0 for
    no limit; tests hold the longest examples to it. ``context`` tells equal English words apart for a translator, and
    ``note`` tells them what a value is.
    """

    text: str
    many: str = ""
    limit: int = 0
    context: str = ""
    note: str = ""


def pattern(message: Message, count: int = 1) -> str:
    """A message in the current language before its values are put in, in the form for a count."""
    language = current()
    if message.many and message.context:
        return language.npgettext(message.context, message.text, message.many, count)
    if message.many:
        return language.ngettext(message.text, message.many, count)
    return language.pgettext(message.context, message.text) if message.context else language.gettext(message.text)


def say(message: Message, **values: Any) -> str:
    """A message in the current language. Raises KeyError for a value that it names and is not given.

    >>> say(Message("Bore {bore} is too open."), bore=3)
    'Bore 3 is too open.'
    >>> bores = Message("{count} bore open", many="{count} bores open")
    >>> say(bores, count=1), say(bores, count=4)
    ('1 bore open', '4 bores open')
    """
    return pattern(message, values["count"] if message.many else 1).format_map(values)
