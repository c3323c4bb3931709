"""The index of words in SQLite, full-text tables kept by triggers: see the migration that made them.

``search_part`` holds every three letters in a row and answers for any part of a word; ``search_word`` holds whole words
without their accents; ``search_term`` lists every word once.
"""

import json
from collections.abc import Collection, Sequence

from sqlmodel import Session

from app.shop.queries.word_index import Term, Wanted, cases, like
from app.shop.store.database import raw_connection

WORDS = "SELECT rowid FROM search_word WHERE search_word MATCH ? ORDER BY rowid DESC LIMIT ?"
PARTS = "SELECT rowid FROM search_part WHERE search_part MATCH ? ORDER BY rowid DESC"
LIKE = "serial || ' ' || about || ' ' || owner || ' ' || jobs LIKE ? ESCAPE '\\'"


class FileIndex:
    """SQLite's."""

    def parts(self, session: Session, long: Sequence[str], short: Sequence[str], most: int, serial: bool) -> list[int]:
        where, sent = [], []
        if long:
            where.append(f"id IN ({PARTS})")
            sent.append(("serial : " if serial else "") + "(" + " AND ".join(map(_quoted, long)) + ")")
        for written in map(cases, short):
            where.append(f"({' OR '.join([LIKE] * len(written))})")
            sent += map(like, written)
        if not short:
            return _ids(session, f"{PARTS} LIMIT ?", *sent, most)
        query = f"SELECT id FROM search_text WHERE {' AND '.join(where)} ORDER BY id DESC LIMIT ?"
        return _ids(session, query, *sent, most)

    def words(self, session: Session, wanted: Wanted, most: int) -> list[int]:
        groups = (" OR ".join(map(_term, group)) for group in wanted)
        return _ids(session, WORDS, " AND ".join(f"({group})" for group in groups), most)

    def begins(self, session: Session, piece: str) -> bool:
        query = "SELECT 1 FROM search_term WHERE word BETWEEN ? AND ? || char(0x10FFFF) LIMIT 1"
        return raw_connection(session).execute(query, (piece, piece)).fetchone() is not None

    def known(self, session: Session, words: Collection[str], *, beginnings: bool) -> list[str]:
        last = "one.value || char(0x10FFFF)" if beginnings else "one.value"
        query = (
            "SELECT one.value FROM json_each(?) AS one "
            f"WHERE EXISTS (SELECT 1 FROM search_term WHERE word BETWEEN one.value AND {last})"
        )
        return [str(value) for (value,) in raw_connection(session).execute(query, (json.dumps(sorted(words)),))]


def _term(term: Term) -> str:
    return _quoted(term.text) + "*" * term.beginning


def _quoted(word: str) -> str:
    return '"' + word.replace('"', '""') + '"'


def _ids(session: Session, query: str, *sent: str | int) -> list[int]:
    return [int(one) for (one,) in raw_connection(session).execute(query, sent)]
