"""People and their PINs: who may sign off, and how guessing is slowed down."""

from concurrent.futures import ThreadPoolExecutor
from datetime import UTC, datetime, timedelta

import pytest

from app.shop.commands import meters, people
from app.shop.commands.meters import NewMeter
from app.shop.commands.people import FREE_TRIES, wait
from app.shop.errors import ConflictError, NotFoundError, RejectedError
from app.shop.reasons import Reason, because
from app.shop.rejections import Rejection
from app.shop.stopwatch import Stopwatch
from app.shop.store.database import Database, FileDatabase
from app.shop.store.tables import Person, PinTry
from app.shop.store.upgrade import open_shop
from tests.shop.rejections import codes_of, rejects
from tests.shop.yard import AT, key

NOW = datetime.fromisoformat(AT).astimezone(UTC)
PIN = "2580"
WRONG = because(Rejection.PIN_WRONG)


def too_soon(seconds: float) -> Reason:
    return because(Rejection.TOO_MANY_TRIES, wait=timedelta(seconds=seconds))


def at(seconds: float) -> str:
    return (NOW + timedelta(seconds=seconds)).isoformat()


def add(shop: Database, name: str = "Kim Marlow", pin: str = PIN) -> int:
    return people.add(shop, key(), name, pin, pin, AT)


def test_a_reading_is_saved_while_a_pin_is_looked_at(shop: Database, monkeypatch: pytest.MonkeyPatch) -> None:
    add(shop)
    looked = people._matches

    def meanwhile(person: Person, pin: str) -> bool:
        meters.register(shop, key(), NewMeter("Second meter", "kg/h", 0.1, 1, 30))
        return looked(person, pin)

    monkeypatch.setattr(people, "_matches", meanwhile)
    assert people.prove(shop, "Kim Marlow", PIN, AT) == "Kim Marlow"


def test_tries_are_counted_in_the_turn_to_write(shop: Database, monkeypatch: pytest.MonkeyPatch) -> None:
    """As where another process looks at PINs of the same records: a right one says nothing once too many were wrong."""
    add(shop)
    looked = people._matches

    def meanwhile(person: Person, pin: str) -> bool:
        with shop.writing() as session:
            for _ in range(FREE_TRIES):
                one = key()
                session.add(PinTry(key=one, payload=one, name=person.name, right=0, at=AT))
        return looked(person, pin)

    monkeypatch.setattr(people, "_matches", meanwhile)
    with rejects(Rejection.TOO_MANY_TRIES):
        people.prove(shop, "Kim Marlow", PIN, AT)
    with shop.reading() as session:
        assert people._wrong_in_a_row(session, "Kim Marlow") == FREE_TRIES


def test_no_slow_hash_is_made_in_the_turn_to_write(shop: Database, monkeypatch: pytest.MonkeyPatch) -> None:
    made = []

    class Watched:
        @staticmethod
        def hash(pin: str) -> str:
            made.append(shop._turn.locked())
            return "hash"

    monkeypatch.setattr(people, "HASHER", Watched)
    person_id = add(shop)
    people.change_pin(shop, key(), person_id, "9173", "9173", AT)
    assert made == [False, False]


def test_a_pin_that_was_changed_while_it_was_looked_at_proves_nothing(
    shop: Database, monkeypatch: pytest.MonkeyPatch
) -> None:
    person_id = add(shop)
    looked = people._matches

    def meanwhile(person: Person, pin: str) -> bool:
        people.change_pin(shop, key(), person_id, "9173", "9173", AT)
        return looked(person, pin)

    monkeypatch.setattr(people, "_matches", meanwhile)
    with pytest.raises(ConflictError):
        people.prove(shop, "Kim Marlow", PIN, AT)


def test_tries_at_once_are_counted_one_by_one(shop: Database) -> None:
    add(shop)

    def guess(_: int) -> str:
        return str(said(shop, "Kim Marlow", "9999")["pin"].code)

    with ThreadPoolExecutor(8) as hands:
        codes = list(hands.map(guess, range(12)))
    assert codes.count(Rejection.PIN_WRONG) == FREE_TRIES
    assert codes.count(Rejection.TOO_MANY_TRIES) == 12 - FREE_TRIES


def said(shop: Database, name: str, pin: str, when: str = AT) -> dict[str, Reason]:
    with pytest.raises(RejectedError) as caught:
        people.prove(shop, name, pin, when)
    return caught.value.problems


def test_a_shop_without_people_asks_for_no_proof(shop: Database) -> None:
    assert people.prove(shop, "anybody", "", AT) is None


def test_the_right_pin_proves_who_it_is(shop: Database) -> None:
    add(shop)
    assert people.prove(shop, " kim  marlow ", PIN, AT) == "Kim Marlow"
    assert said(shop, "Kim Marlow", "2581") == {"pin": WRONG}
    assert said(shop, "Kim Marlow", "") == {"pin": because(Rejection.PIN_MISSING)}
    assert said(shop, "Another person", PIN) == {"name": because(Rejection.NOT_LISTED)}


def test_the_pin_itself_is_nowhere_in_the_file(shop: FileDatabase) -> None:
    add(shop, pin="77301942")
    people.prove(shop, "Kim Marlow", "77301942", AT)
    shop.close()
    assert b"77301942" not in shop.file.read_bytes()
    assert b"$argon2id$v=19$m=19456,t=2,p=1$" in shop.file.read_bytes()


LENGTH, EASY = Rejection.PIN_LENGTH, Rejection.PIN_TOO_EASY


@pytest.mark.parametrize(
    ("pin", "code"),
    [
        *((typed, LENGTH) for typed in ("", "123", "12a4", "1234567890123", "１２５８", "25 80")),
        *((typed, EASY) for typed in ("1234", "9876", "0000")),
    ],
)
def test_a_pin_that_is_none_is_refused(shop: Database, pin: str, code: Rejection) -> None:
    with pytest.raises(RejectedError) as caught:
        add(shop, pin=pin)
    assert codes_of(caught) == {"pin": code}


def test_two_that_differ_are_refused(shop: Database) -> None:
    with rejects(Rejection.PINS_DIFFER):
        people.add(shop, key(), "Kim Marlow", PIN, "2581", AT)


def test_guessing_is_slowed_down_by_a_clock_that_is_not_set_and_a_restart_does_not_help(
    shop: FileDatabase,
) -> None:
    seconds = 0.0
    shop.stopwatch = Stopwatch(lambda: seconds)
    add(shop)
    for number in range(people.FREE_TRIES):
        assert said(shop, "Kim Marlow", "1111")["pin"] == WRONG, number
    assert said(shop, "Kim Marlow", PIN)["pin"] == too_soon(30)  # even the right one has to wait
    for jump in (3600, 10**7, -3600):
        assert said(shop, "Kim Marlow", PIN, at(jump))["pin"] == too_soon(30)
    seconds = 20
    assert said(shop, "Kim Marlow", PIN)["pin"] == too_soon(10)
    shop.close()
    again = open_shop(shop.folder)
    again.stopwatch = Stopwatch(lambda: seconds)
    assert said(again, "Kim Marlow", PIN, at(10**7))["pin"] == too_soon(30)
    seconds = 51
    assert said(again, "Kim Marlow", "1111")["pin"] == WRONG
    assert said(again, "Kim Marlow", PIN)["pin"] == too_soon(60)
    seconds = 112
    assert people.prove(again, "Kim Marlow", PIN, AT) == "Kim Marlow"
    assert said(again, "Kim Marlow", "1111")["pin"] == WRONG
    again.close()


def test_the_wait_doubles_to_an_hour() -> None:
    waits = [wait(wrong, timedelta(0)).total_seconds() for wrong in range(4, 17)]
    assert waits == [0, 30, 60, 120, 240, 480, 960, 1920, 3600, 3600, 3600, 3600, 3600]
    assert wait(5, timedelta(seconds=31)) == timedelta(0)


def test_one_who_left_signs_no_more_and_a_new_pin_replaces_the_old(shop: Database) -> None:
    first = add(shop)
    add(shop, "Noor Adel", "4711")
    second = people.change_pin(shop, key(), first, "9042", "9042", AT)
    assert said(shop, "Kim Marlow", PIN) == {"pin": WRONG}
    assert people.prove(shop, "Kim Marlow", "9042", AT) == "Kim Marlow"
    with rejects(Rejection.CHANGED_BY_ANOTHER_TABLET, kind=ConflictError):
        people.remove(shop, key(), first, AT)
    people.remove(shop, key(), second, AT)
    assert said(shop, "Kim Marlow", "9042") == {"name": because(Rejection.NOT_LISTED)}
    with rejects(Rejection.NO_SUCH_PERSON, kind=NotFoundError):
        people.remove(shop, key(), 99, AT)


def test_the_same_name_twice_is_refused_and_the_same_form_twice_is_one_person(shop: Database) -> None:
    sent = key()
    ids = {people.add(shop, sent, "Kim Marlow", PIN, PIN, AT) for _ in range(2)}
    assert len(ids) == 1
    with rejects(Rejection.NAME_TAKEN):
        add(shop, "KIM marlow")
