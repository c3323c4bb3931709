"""Finding an engine by whatever part of it a person remembers, typing errors forgiven.

The index of words (``word_index``) is kept by triggers: it answers for any part of a word, for whole words without
their accents, and lists every word once, so that a mistyped one can be corrected by looking up its few hundred
neighbors.
"""

import re
import unicodedata
from collections.abc import Sequence
from dataclasses import dataclass

from sqlmodel import Session

from app.shop.at_site import told_where
from app.shop.queries.word_index import Term, WordIndex, index_of, like
from app.shop.store.database import raw_connection

MOST_WORDS, LONGEST_WORD = 8, 40  # our judgement
FORGIVEN_FROM = 4
"""Letters from which on one wrong, missing, extra or swapped letter is forgiven (our judgement)."""
FEW = 5
"""With fewer engines than this found by one word as typed, those found nearly as typed follow; several words that
occur together are hardly mistyped (our judgement)."""
LETTERS = "abcdefghijklmnopqrstuvwxyz0123456789"
PARTING = "-_/.,;:()#"
SEPARATORS = re.compile(rf"[\s{re.escape(PARTING)}]+")
APOSTROPHES = re.compile("['`\u00b4\u2018\u2019\u02bc]")
SPELLED = re.compile(r"[^\W_]+(['`\u00b4\u2018\u2019\u02bc][^\W_]*)*")
TAG = re.compile(r"([0-9a-f]{4})-?([0-9a-f]{4})")
BARE = "replace(" * len(PARTING) + "serial_folded" + "".join(f", '{sign}', '')" for sign in PARTING)
"""A serial number without the signs that part it, which are stamped, written and typed in every way."""
BY_BARE_SERIAL = f"""SELECT id FROM (SELECT id, serial_folded FROM engine ORDER BY id DESC LIMIT ?) newest
WHERE {BARE} LIKE ? ESCAPE '\\' ORDER BY id DESC LIMIT ?"""
NEWEST = 10_000
"""Engines whose serial numbers are looked through one by one: all of a shop, the newest of a group (our judgement)."""

LOOKED_THROUGH = 1000
"""Engines found that are looked through for customers who are not told (our judgement)."""
WITHOUT_CUSTOMER = """SELECT e.id, CASE WHEN {told} THEN 1 ELSE 0 END, t.serial, t.about, e.vehicle, t.jobs,
substr(e.key, 1, 8), substr(e.key, 1, 4) || '-' || substr(e.key, 5, 4)
FROM engine e JOIN search_text t ON t.id = e.id WHERE e.id IN ({several})"""
SHEET_CODE = "EVENBORE"
"""How the code of a handover sheet begins; its version and the tag follow (``web.presenters.paper.left_code``)."""
SCANNED = (
    re.compile(r"/tag/([0-9a-f]{4}-?[0-9a-f]{4})/?\s*$", re.IGNORECASE),
    re.compile(rf"^\s*{SHEET_CODE} \d+ TAG ([0-9a-f]{{4}}-?[0-9a-f]{{4}})\b", re.IGNORECASE),
)
"""What the codes of tags and of sheets say, with the tag in them."""


@dataclass(frozen=True, slots=True)
class Hits:
    """Ids of the engines found as typed, and of those found when one letter of a word is taken for another."""

    exact: tuple[int, ...]
    near: tuple[int, ...]


def tag_of(key: str) -> str:
    """What stands on an engine's tag: the first eight digits of its key, the same in every shop it is known in.

    >>> tag_of("3f2a91c0-7b1e-4c7e-9c55-0d3a5e1f2b4c")
    '3f2a-91c0'
    """
    return f"{key[:4]}-{key[4:8]}"


def by_tag(session: Session, tag: str) -> tuple[int, ...]:
    """The engines that carry a tag: one, or none, or very rarely two."""
    found = TAG.fullmatch(tag.strip().lower())
    if found is None:
        return ()
    begins = found[1] + found[2]
    return _ids(session, "SELECT id FROM engine WHERE key BETWEEN ? AND ? ORDER BY id DESC", begins, begins + "~")


def scanned(typed: str) -> str:
    """The tag in the text of a code on paper; empty where it is no such text.

    >>> scanned("EVENBORE 1 TAG 3F2A-91C0 ENGINE 31-0217 / LEFT 2026-11-27"), scanned("31-0217")
    ('3F2A-91C0', '')
    """
    found = (pattern.search(typed) for pattern in SCANNED)
    return next((one[1] for one in found if one), "")


def find(session: Session, typed: str, most: int = 30) -> Hits:
    """The engines in which every word typed occurs, in any order; the one of that serial or tag first, then newest.

    An engine whose customer is another site's is found by what else is known of it.
    """
    if not told_where("e.id"):
        return _find(session, typed, most)
    hits = _find(session, typed, LOOKED_THROUGH)
    told = _told(session, (*hits.exact, *hits.near), typed)
    exact = tuple(one for one in hits.exact if one in told)[:most]
    return Hits(exact, tuple(one for one in hits.near if one in told)[: most - len(exact)])


def _told(session: Session, found: Sequence[int], typed: str) -> set[int]:
    """Those of the engines found that are so without the customers that are not told."""
    where = ", ".join("?" * len(found))
    rows = raw_connection(session).execute(WITHOUT_CUSTOMER.format(several=where, told=told_where("e.id")), found)
    words = [_folded(word) for word in ([scanned(typed)] if scanned(typed) else typed.split())]
    bare = _unparted("".join(words))
    return {
        int(engine)
        for engine, told, serial, *texts in rows
        if told
        or all(word in _folded(" ".join(map(str, (serial, *texts)))) for word in words)
        or (len(bare) >= FORGIVEN_FROM and bare in _unparted(_folded(str(serial))))
    }


def _folded(text: str) -> str:
    """Text without accents and in small letters."""
    return "".join(sign for sign in unicodedata.normalize("NFKD", text) if not unicodedata.combining(sign)).casefold()


def _find(session: Session, typed: str, most: int) -> Hits:
    if tag := scanned(typed):
        return Hits(by_tag(session, tag), ())
    words = [word[:LONGEST_WORD] for word in "".join(c if c.isprintable() else " " for c in typed).split()][:MOST_WORDS]
    if not words:
        return Hits((), ())
    exact = list(by_tag(session, words[0])) if len(words) == 1 else []
    exact += _ids(session, "SELECT id FROM engine WHERE serial_folded = ?", "".join(words).casefold())
    if len(words) == 1:
        exact += _parts(session, words, most, serial=True)
    exact += _parts(session, words, most)
    exact += _spelled_plainly(session, words, most)
    if not exact:
        exact += _by_bare_serial(session, words, most)
    found = tuple(dict.fromkeys(exact))[:most]
    if len(found) >= FEW or (found and len(words) > 1):
        return Hits(found, ())
    near = (one for one in _near(session, words, most) if one not in found)
    return Hits(found, tuple(near)[: most - len(found)])


def neighbors(word: str) -> set[str]:
    """Every word that one letter wrong, missing, extra or swapped with the next makes of ``word``, but itself.

    >>> {"coup", "coupes", "copue", "caupe"} <= neighbors("coupe")
    True
    """
    cuts = [(word[:at], word[at:]) for at in range(len(word) + 1)]
    missing = {head + tail[1:] for head, tail in cuts if tail}
    swapped = {head + tail[1] + tail[0] + tail[2:] for head, tail in cuts if len(tail) > 1}
    wrong = {head + letter + tail[1:] for head, tail in cuts if tail for letter in LETTERS}
    extra = {head + letter + tail for head, tail in cuts for letter in LETTERS}
    return (missing | swapped | wrong | extra) - {word}


def _parts(session: Session, words: Sequence[str], most: int, *, serial: bool = False) -> list[int]:
    """Engines, newest first, in which every word is a part of something. Words of one or two letters are compared."""
    long = [word for word in words if len(word) > 2]
    short = [word for word in words if len(word) <= 2]
    return [] if serial and short else index_of(session).parts(session, long, short, most, serial)


def _spelled_plainly(session: Session, words: Sequence[str], most: int) -> list[int]:
    """Engines, newest first, in which every word begins one when accents and apostrophes are left out of both."""
    pieces = [piece for word in words for piece in SEPARATORS.split(word.casefold()) if piece]
    if max(map(len, pieces), default=0) < FORGIVEN_FROM or not all(map(SPELLED.fullmatch, pieces)):
        return []
    wanted = [[Term(one, True) for one in sorted(spellings(piece))] for piece in pieces]
    return index_of(session).words(session, wanted, most)


def _unparted(text: str) -> str:
    """Text without spaces and the signs that part a serial number."""
    return SEPARATORS.sub("", text)


def _by_bare_serial(session: Session, words: Sequence[str], most: int) -> tuple[int, ...]:
    """The newest engines whose serial number holds what was typed, a digit in it, once nothing parts either."""
    wanted = _unparted("".join(words)).casefold()
    if len(wanted) < FORGIVEN_FROM or not any(map(str.isdigit, wanted)):
        return ()
    return _ids(session, BY_BARE_SERIAL, NEWEST, like(wanted), most)


def spellings(piece: str) -> set[str]:
    """A word with its apostrophes, without them, and with one after its first letter or before a last s.

    >>> sorted(spellings("o'neill")), sorted(spellings("oneill"))
    (['o neill', 'oneill'], ['o neill', 'oneill'])
    """
    parts = [part for part in APOSTROPHES.split(piece) if part]
    if len(parts) > 1:
        return {" ".join(parts), "".join(parts)}
    whole = "".join(parts)
    if len(whole) < FORGIVEN_FROM:
        return {whole}
    owned = {f"{whole[:-1]} s"} if whole.endswith("s") else set()
    return {whole, f"{whole[0]} {whole[1:]}", *owned}


def _near(session: Session, words: Sequence[str], most: int) -> list[int]:
    """Engines in which every word, or one that is a letter away, begins a word; whole words before beginnings.

    Words that nothing here begins with are forgiven first, and the others only when that finds nothing.
    """
    pieces = [piece.casefold() for word in words for piece in SEPARATORS.split(word) if piece]
    if max(map(len, pieces), default=0) < FORGIVEN_FROM:
        return []
    index = index_of(session)
    strange = [piece for piece in pieces if not index.begins(session, piece)]
    for forgiven in (strange, pieces) if 0 < len(strange) < len(pieces) else (pieces,):
        found: dict[int, None] = {}
        for beginnings in (False, True):
            wanted = [
                [Term(piece, True), *(_meant(session, index, piece, beginnings) if piece in forgiven else ())]
                for piece in pieces
            ]
            found |= dict.fromkeys(index.words(session, wanted, most))
            if len(found) >= FEW:
                break
        if found:
            return list(found)
    return []


def _meant(session: Session, index: WordIndex, piece: str, beginnings: bool) -> list[Term]:
    """The words, or ``beginnings`` of words, that are known here and that a mistyped one may have been meant for."""
    if len(piece) < FORGIVEN_FROM:
        return []
    near = [other for other in neighbors(piece) if len(other) >= FORGIVEN_FROM - 1]
    return [Term(other, beginnings) for other in index.known(session, near, beginnings=beginnings)]


def _ids(session: Session, query: str, *sent: str | int) -> tuple[int, ...]:
    return tuple(int(one) for (one,) in raw_connection(session).execute(query, sent))
