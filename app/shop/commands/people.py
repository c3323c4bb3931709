"""People who sign off: who they are, and proof by a PIN that it is them.

A PIN of a few digits is no secret from a person who holds the file; it says who of the shop is at the tablet. So
guessing is slowed down, in rows that a restart does not forget.
"""

import threading
from datetime import timedelta
from itertools import pairwise, takewhile

from argon2 import PasswordHasher
from argon2.exceptions import InvalidHashError, VerifyMismatchError
from sqlmodel import Session, col, select

from app.shop.commands.access.standing import standing
from app.shop.commands.engines import LONGEST
from app.shop.errors import ConflictError, Problems, RejectedError
from app.shop.reasons import because
from app.shop.record.superseding import current
from app.shop.rejections import Rejection
from app.shop.store.database import Database
from app.shop.store.idempotency import checked, earlier, fingerprint, new_key
from app.shop.store.tables import Person, PinTry

SHORTEST_PIN, LONGEST_PIN = 4, 12
FREE_TRIES = 5
"""Wrong PINs in a row before waiting begins."""

FIRST_WAIT = timedelta(seconds=30)
LONGEST_WAIT = timedelta(hours=1)

HASHER = PasswordHasher(time_cost=2, memory_cost=19 * 1024, parallelism=1)
"""Argon2id with the least that OWASP's password storage cheat sheet asks for: 19 MiB, two passes, one lane."""


ONE_TRY = threading.Lock()
"""Held while a PIN is looked at, since two tries at once are not one try. Other writes go on meanwhile: a slow hash
takes as long as many of them."""


def wait(wrong: int, gone: timedelta) -> timedelta:
    """How long to wait before the next try, after ``wrong`` PINs in a row, the last of them ``gone`` ago.

    Nothing below FREE_TRIES; the wait doubles with each further one, up to LONGEST_WAIT.
    """
    if wrong < FREE_TRIES:
        return timedelta(0)
    whole: timedelta = min(FIRST_WAIT * 2 ** min(wrong - FREE_TRIES, 20), LONGEST_WAIT)
    return max(whole - gone, timedelta(0))


def everyone(session: Session) -> list[Person]:
    """The people who may sign off, by name."""
    rows = session.exec(select(Person).order_by(col(Person.id))).all()
    return sorted((row for row in current(rows) if row.active), key=lambda row: row.name.casefold())


def add(shop: Database, key: str, name: str, pin: str, again: str, at: str) -> int:
    """Add a person and return the row's id. Raises RejectedError."""
    key = checked(key)
    sent = fingerprint(name=name)
    problems = _pin_problems(pin, again)
    kept = "" if problems else HASHER.hash(pin)  # slow, so before the turn to write
    with shop.writing() as session:
        if before := earlier(session, Person, key, sent):
            return before.ident
        if not name.strip():
            problems["name"] = because(Rejection.FULL_NAME_MISSING)
        elif len(name) > LONGEST:
            problems["name"] = because(Rejection.TOO_LONG, most=LONGEST)
        elif _named(session, name) is not None:
            problems["name"] = because(Rejection.NAME_TAKEN)
        if problems:
            raise RejectedError(problems)
        row = Person(key=key, payload=sent, name=name.strip(), pin=kept, active=1, at=at)
        session.add(row)
        session.flush()
        return row.ident


def change_pin(shop: Database, key: str, person_id: int, pin: str, again: str, at: str) -> int:
    """Give a person another PIN. Raises RejectedError, NotFoundError, ConflictError."""
    if problems := _pin_problems(pin, again):
        raise RejectedError(problems)
    return _supersede(shop, key, person_id, HASHER.hash(pin), 1, at)


def remove(shop: Database, key: str, person_id: int, at: str) -> int:
    """Let a person sign off no more; what they signed stays. Raises NotFoundError, ConflictError."""
    return _supersede(shop, key, person_id, "", 0, at)


def prove(shop: Database, name: str, pin: str, at: str) -> str | None:
    """The name as listed of the person who gave the right PIN; None in a shop without a list.

    Raises RejectedError beside ``name`` or ``pin``. A wrong PIN is noted before that. The wait goes by a clock that
    only goes forward; where an earlier run of the program noted the last PIN, it begins again with this one, and where
    another server of the same records did, when it is first seen here.
    """
    with ONE_TRY:
        with shop.reading() as session:
            if not everyone(session):
                return None
            person = _named(session, name)
            if person is None:
                raise RejectedError({"name": because(Rejection.NOT_LISTED)})
            if not pin:
                raise RejectedError({"pin": because(Rejection.PIN_MISSING)})
            wrong = _wrong_in_a_row(session, person.name)
            last = f"pin:{person.name}"
            if shop.shared and wrong:
                shop.stopwatch.notice(last, _newest_try(session, person.name))
        if held := wait(wrong, timedelta(seconds=shop.stopwatch.since(last))):
            raise RejectedError({"pin": because(Rejection.TOO_MANY_TRIES, wait=held)})
        right = _matches(person, pin)
        shop.stopwatch.mark(last)
        key = new_key()
        with shop.writing() as session:
            counted = _wrong_in_a_row(session, person.name)
            if counted > wrong and (held := wait(counted, timedelta(0))):  # wrong ones came in meanwhile
                raise RejectedError({"pin": because(Rejection.TOO_MANY_TRIES, wait=held)})
            tried = PinTry(key=key, payload=fingerprint(key=key), name=person.name, right=int(right), at=at)
            session.add(tried)
            session.flush()
            shop.stopwatch.knows(last, tried.ident)
            changed = _named(session, name) != person
    if changed:
        raise ConflictError({"pin": because(Rejection.CHANGED_BY_ANOTHER_TABLET)})
    if not right:
        raise RejectedError({"pin": because(Rejection.PIN_WRONG)})
    return person.name


def _matches(person: Person, pin: str) -> bool:
    try:
        return HASHER.verify(person.pin, pin)
    except (VerifyMismatchError, InvalidHashError):
        return False


def _named(session: Session, name: str) -> Person | None:
    folded = " ".join(name.split()).casefold()
    return next((one for one in everyone(session) if " ".join(one.name.split()).casefold() == folded), None)


def _wrong_in_a_row(session: Session, name: str) -> int:
    newest = select(PinTry.right).where(PinTry.name == name).order_by(col(PinTry.id).desc()).limit(40)
    return len(list(takewhile(lambda right: not right, session.exec(newest).all())))


def _newest_try(session: Session, name: str) -> int:
    newest = select(PinTry.id).where(PinTry.name == name).order_by(col(PinTry.id).desc()).limit(1)
    return session.exec(newest).first() or 0


def _supersede(shop: Database, key: str, person_id: int, pin: str, active: int, at: str) -> int:
    key = checked(key)
    sent = fingerprint(person=person_id, active=active)
    with shop.writing() as session:
        if before := earlier(session, Person, key, sent):
            return before.ident
        person = standing(session, Person, person_id, everyone(session), Rejection.NO_SUCH_PERSON)
        row = Person(key=key, payload=sent, name=person.name, pin=pin, active=active, at=at, supersedes_id=person.ident)
        session.add(row)
        session.flush()
        return row.ident


def _pin_problems(pin: str, again: str) -> Problems:
    if not pin.isascii() or not pin.isdecimal() or not SHORTEST_PIN <= len(pin) <= LONGEST_PIN:
        return {"pin": because(Rejection.PIN_LENGTH, low=SHORTEST_PIN, high=LONGEST_PIN)}
    steps = {int(b) - int(a) for a, b in pairwise(pin)}
    if steps in ({0}, {1}, {-1}):
        return {"pin": because(Rejection.PIN_TOO_EASY)}
    return {} if pin == again else {"again": because(Rejection.PINS_DIFFER)}
