"""The index of words in PostgreSQL: columns of ``search_text`` that it makes itself, see ``migrations/postgres``.

``folded`` answers for any part of a word by three letters in a row, ``words`` holds whole words without their accents,
``search_term`` every word once. The answers are those of SQLite's index, in the same order.
"""

import re
import unicodedata
from collections.abc import Collection, Sequence

from sqlmodel import Session

from app.shop.queries.word_index import Term, Wanted, cases, like
from app.shop.store.database import raw_connection

ASCII = str.maketrans({letter: letter.lower() for letter in "ABCDEFGHIJKLMNOPQRSTUVWXYZ"})
"""All that SQLite's LIKE takes for the same letter."""

LIKE = "lower((serial || ' ' || about || ' ' || owner || ' ' || jobs) COLLATE \"C\") LIKE ?"

SHORT = 3
"""A beginning of fewer letters is looked for in what the others found: the index would look through half of
itself (our judgement)."""


class ServerIndex:
    """PostgreSQL's."""

    def parts(self, session: Session, long: Sequence[str], short: Sequence[str], most: int, serial: bool) -> list[int]:
        where, sent = [], []
        for word in long:
            where.append("folded LIKE ?")
            sent.append(like(word.lower()))
            if serial:
                where.append('lower(serial COLLATE "und-x-icu") LIKE ?')
                sent.append(like(word.lower()))
        for written in map(cases, short):
            where.append(f"({' OR '.join([LIKE] * len(written))})")
            sent += [like(word.translate(ASCII)) for word in written]
        return _ids(session, where, sent, most)

    def words(self, session: Session, wanted: Wanted, most: int) -> list[int]:
        groups = [(_group(group), any(len(term.text) < SHORT for term in group)) for group in wanted]
        if not all(group for group, _ in groups):
            return []
        by_index = [group for group, short in groups if not short] or [group for group, _ in groups]
        rest = [group for group, _ in groups if group not in by_index]
        where, sent = ["words @@ ?::tsquery"], [" & ".join(by_index)]
        if rest:
            where.append("(words || ''::tsvector) @@ ?::tsquery")  # no bare column: the index is not asked
            sent.append(" & ".join(rest))
        return _ids(session, where, sent, most)

    def begins(self, session: Session, piece: str) -> bool:
        query = "SELECT 1 FROM search_term WHERE word BETWEEN ? AND ? || chr(1114111) LIMIT 1"
        return raw_connection(session).execute(query, (piece, piece)).fetchone() is not None

    def known(self, session: Session, words: Collection[str], *, beginnings: bool) -> list[str]:
        last = "one.value || chr(1114111)" if beginnings else "one.value"
        query = (
            "SELECT one.value FROM unnest(?::text[]) AS one (value) "
            f"WHERE EXISTS (SELECT 1 FROM search_term WHERE word BETWEEN one.value AND {last})"
        )
        return [str(value) for (value,) in raw_connection(session).execute(query, (sorted(words),))]


def _group(terms: Sequence[Term]) -> str:
    """The terms as a query of PostgreSQL; empty where none of them holds a letter or a digit."""
    told = [one for one in map(_term, terms) if one]
    return f"({' | '.join(told)})" if told else ""


def _term(term: Term) -> str:
    plain = "".join(sign for sign in unicodedata.normalize("NFD", term.text) if not "\u0300" <= sign <= "\u036f")
    pieces = re.findall(r"[^\W_]+", plain.lower())
    if not pieces:
        return ""
    quoted = [f"'{piece}'" for piece in pieces]
    return "(" + " <-> ".join(quoted) + (":*" if term.beginning else "") + ")"


def _ids(session: Session, where: Sequence[str], sent: Sequence[str], most: int) -> list[int]:
    query = f"SELECT id FROM search_text WHERE {' AND '.join(where)} ORDER BY id DESC LIMIT ?"
    return [int(one) for (one,) in raw_connection(session).execute(query, (*sent, most))]
