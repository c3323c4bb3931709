"""What a search asks of the index of an engine's words, and which index that is."""

import sqlite3
from collections.abc import Collection, Sequence
from typing import NamedTuple, Protocol

from sqlmodel import Session

from app.shop.store.database import raw_connection


class Term(NamedTuple):
    """Words in a row, whole, or with ``beginning`` the last of them as the beginning of one."""

    text: str
    beginning: bool


Wanted = Sequence[Sequence[Term]]
"""Every group has to be met, each by any of its terms."""


class WordIndex(Protocol):
    """The index of one engine of records. What is found are ids, newest first."""

    def parts(self, session: Session, long: Sequence[str], short: Sequence[str], most: int, serial: bool) -> list[int]:
        """Engines in which every word is a part of something, with ``serial`` the long ones of the serial number.

        ``short`` are words of one or two letters, which the index does not hold.
        """

    def words(self, session: Session, wanted: Wanted, most: int) -> list[int]:
        """Engines in which words occur, accents aside."""

    def begins(self, session: Session, piece: str) -> bool:
        """Whether a word somewhere in the shop begins like this."""

    def known(self, session: Session, words: Collection[str], *, beginnings: bool) -> list[str]:
        """Those that are words somewhere in the shop, or begin one."""


def index_of(session: Session) -> WordIndex:
    """The index of the records that a session is of."""
    if isinstance(raw_connection(session), sqlite3.Connection):
        from app.shop.queries.word_index_of_file import FileIndex

        return FileIndex()
    from app.shop.queries.word_index_of_server import ServerIndex

    return ServerIndex()


def cases(word: str) -> list[str]:
    """A word in the cases that it is written in: the databases know those of the letters of English alone.

    >>> cases("Äö"), cases("ab")
    (['ÄÖ', 'Äö', 'äö'], ['ab'])
    """
    return [word] if word.isascii() else sorted({word, word.lower(), word.upper(), word.title()})


def like(word: str) -> str:
    r"""The pattern of whatever holds ``word``, its signs taken as they are by ``ESCAPE '\'``."""
    for sign in "\\%_":
        word = word.replace(sign, f"\\{sign}")
    return f"%{word}%"
