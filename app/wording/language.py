"""The language that is spoken: one for the tablet, one for what the customer gets (sheet and telephone).

English is the source language and the only one shipped. A translation is a ``gettext`` catalog: the page that is served
says which is current, and ``message.say`` and the templates look their text up in it.
"""

from collections.abc import Iterator
from contextlib import contextmanager
from contextvars import ContextVar
from gettext import NullTranslations

ENGLISH = NullTranslations()

_tablet: ContextVar[NullTranslations] = ContextVar("tablet", default=ENGLISH)
_customer: ContextVar[NullTranslations | None] = ContextVar("customer", default=None)
_current: ContextVar[NullTranslations | None] = ContextVar("current", default=None)


def current() -> NullTranslations:
    """The catalog in which everything is said now."""
    return _current.get() or _tablet.get()


def tag() -> str:
    """The current language as a BCP 47 tag, for the ``lang`` attribute of a page."""
    return current().info().get("language", "en").replace("_", "-")


@contextmanager
def speaking(tablet: NullTranslations, customer: NullTranslations | None = None) -> Iterator[None]:
    """Say everything inside in these catalogs; ``customer`` is the tablet's where none is given."""
    held = _tablet.set(tablet), _customer.set(customer)
    try:
        yield
    finally:
        _tablet.reset(held[0])
        _customer.reset(held[1])


@contextmanager
def to_the_customer() -> Iterator[None]:
    """Say everything inside in the customer's language, as on the sheet and over the telephone."""
    held = _current.set(_customer.get())
    try:
        yield
    finally:
        _current.reset(held)


def gettext(text: str) -> str:
    """A template's text in the current language."""
    return current().gettext(text)


def ngettext(one: str, many: str, count: int) -> str:
    """A template's text for a count in the current language."""
    return current().ngettext(one, many, count)


def pgettext(context: str, text: str) -> str:
    """A template's text, told apart by its context, in the current language."""
    return current().pgettext(context, text)


def npgettext(context: str, one: str, many: str, count: int) -> str:
    """The two of them together."""
    return current().npgettext(context, one, many, count)
