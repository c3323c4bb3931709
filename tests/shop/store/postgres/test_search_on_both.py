"""A search finds the same engines in the same order in both engines of records."""

import random
import string
from typing import Any

from sqlmodel import Session

from app.shop.queries import search
from app.shop.store.database import Database, FileDatabase
from app.shop.store.tables import Engine

NAMES = ("Müller & Söhne", "O'Neill", "Ødegård", "Håkon", "Čapek", "Nguyễn", "Straße 61", "ÅNGSTRÖM", "e\u0301clair")
WORDS = ("coupe", "touring", "estate", "racer", "hill-climb", "BLUE", "31/0217", "Élan", "type_61", "3.9", "a+b", "Ä")
STRANGE = (
    "+++",
    "%",
    "_",
    "\\",
    '"',
    "'",
    "''",
    "(",
    "a:b",
    "&",
    "|",
    "!",
    "<->",
    ":*",
    "ß",
    "İ",
    "\u200b",
    "xx yy zz",
)
SEED = 20_261_129
QUERIES = 500


def engines(rng: random.Random, count: int) -> list[dict[str, Any]]:
    """What engines are made of."""
    return [
        {
            "key": f"{rng.getrandbits(32):08x}-0000-4000-8000-{number:012x}",
            "payload": "",
            "serial": f"{rng.randint(10, 39)}-{rng.randint(0, 9999):04}",
            "serial_folded": f"folded{number}",
            "description": " ".join(rng.sample(WORDS, 2)),
            "displacement": rng.choice([0.0039, 0.00268, 0.002, 0.0050125]),
            "displacement_unit": "L",
            "customer": " ".join(rng.sample(NAMES, 1 + number % 2)),
            "vehicle": rng.choice(WORDS),
            "idle_speed": 15.0,
            "registered_at": "2026-01-01T00:00:00.000+00:00",
        }
        for number in range(count)
    ]


def typed(rng: random.Random, made: list[dict[str, Any]]) -> str:
    """What a person may type: parts of what is there, some of them wrong."""
    one = rng.choice(made)
    source = f"{one['serial']} {one['description']} {one['customer']} {one['vehicle']}".split()
    words = []
    for word in rng.sample(source, min(len(source), rng.choice([1, 1, 2, 3]))):
        start = rng.choice([0, 0, rng.randrange(len(word))])
        piece = word[start : start + rng.randint(1, 8)] or word
        if rng.random() < 0.3:
            at = rng.randrange(len(piece))
            piece = piece[:at] + rng.choice(string.ascii_lowercase + string.digits) + piece[at + 1 :]
        words.append(rng.choice([piece, piece, piece.upper(), piece.lower()]))
    if rng.random() < 0.1:
        words.append(rng.choice(STRANGE))
    return " ".join(words)


def filled(shop: Database, made: list[dict[str, Any]]) -> None:
    """Put the engines into a shop, some with a job, some with facts that were changed, one taken out again."""
    with shop.writing() as session:
        session.add_all([Engine(**one) for one in made])
    with shop.writing() as session:
        for one in session.get_one(Engine, 3), session.get_one(Engine, 7):
            one.customer = "Somebody Else"
        session.delete(session.get_one(Engine, 11))


def test_the_same_is_found_in_the_same_order(shop: FileDatabase, server_shop: Database) -> None:
    rng = random.Random(SEED)
    made = engines(rng, 120)
    filled(shop, made)
    filled(server_shop, made)
    different: list[tuple[str, search.Hits, search.Hits]] = []
    found = 0

    def compare(mine: Session, theirs: Session, words: str) -> int:
        hits = search.find(mine, words), search.find(theirs, words)
        if hits[0] != hits[1]:
            different.append((words, *hits))
        return len(hits[0].exact) + len(hits[0].near)

    with shop.reading() as mine, server_shop.reading() as theirs:
        for words in [*STRANGE, *NAMES, *WORDS, *(typed(rng, made) for _ in range(QUERIES))]:
            found += compare(mine, theirs, words) > 0
    assert different == []
    assert found > QUERIES / 2
