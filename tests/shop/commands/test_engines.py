"""Registering engines, correcting them, and finding them again."""

from dataclasses import replace

import pytest

from app.shop.commands import engines
from app.shop.errors import ConflictError, NotFoundError, RejectedError
from app.shop.record import loader
from app.shop.rejections import Rejection
from app.shop.store.database import Database
from app.sync.engine.hardware import likely_hardware
from tests.shop.rejections import codes_of, rejects
from tests.shop.yard import AT, FACTS, FOUR, V8, engine, key, visit

HARDWARE = likely_hardware(FACTS.displacement, 8)


def count(shop: Database) -> int:
    with shop.reading() as session:
        return engines.count(session)


def found(shop: Database, words: str) -> list[str]:
    with shop.reading() as session:
        return [e.serial for e in engines.find(session, words)]


def test_the_same_form_sent_twice_is_one_engine(shop: Database) -> None:
    sent = key()
    first = engines.register(shop, sent, FACTS, V8, HARDWARE, AT)
    assert engines.register(shop, sent, FACTS, V8, HARDWARE, AT) == first
    assert count(shop) == 1


def test_a_key_used_for_something_else_is_refused(shop: Database) -> None:
    sent = key()
    engines.register(shop, sent, FACTS, V8, HARDWARE, AT)
    with rejects(Rejection.KEY_REUSED, kind=ConflictError):
        engines.register(shop, sent, replace(FACTS, serial="another"), V8, HARDWARE, AT)
    assert count(shop) == 1


@pytest.mark.parametrize(
    ("change", "field", "code"),
    [
        ({"serial": "  "}, "serial", Rejection.SERIAL_MISSING),
        ({"serial": "x" * 121}, "serial", Rejection.TOO_LONG),
        ({"displacement": 0.0}, "displacement", Rejection.OUT_OF_RANGE),
        ({"idle_speed": 1.0}, "idle_speed", Rejection.OUT_OF_RANGE),
        ({"customer": "x" * 200}, "customer", Rejection.TOO_LONG),
    ],
)
def test_what_cannot_be_is_refused_beside_its_field(
    shop: Database, change: dict[str, object], field: str, code: Rejection
) -> None:
    with pytest.raises(RejectedError) as refusal:
        engines.register(shop, key(), replace(FACTS, **change), V8, HARDWARE, AT)  # type: ignore[arg-type]
    assert codes_of(refusal) == {field: code}
    assert count(shop) == 0


def test_a_serial_is_taken_whatever_its_case_and_spaces(shop: Database) -> None:
    engines.register(shop, key(), replace(FACTS, serial="AB 12"), V8, HARDWARE, AT)
    with pytest.raises(RejectedError) as refusal:
        engines.register(shop, key(), replace(FACTS, serial="ab12 "), V8, HARDWARE, AT)
    assert codes_of(refusal) == {"serial": Rejection.SERIAL_TAKEN}


def test_an_engine_is_found_by_any_part_of_what_is_known_of_it(shop: Database) -> None:
    visit(shop, engine(shop, serial="31-0217"), job="1184")
    engine(shop, FOUR, serial="22-0098")
    for words in ("0217", "31-", "1184", "118", "coupe blue 0217", "C-104 31"):
        assert "31-0217" in found(shop, words), words
    assert found(shop, "0098") == ["22-0098"]
    assert found(shop, "nothing of that kind") == []


def test_signs_of_the_search_language_are_plain_letters(shop: Database) -> None:
    engine(shop, serial="31-0217")
    engine(shop, serial="5%_x")
    assert found(shop, "%") == ["5%_x"]
    assert found(shop, "_") == ["5%_x"]
    assert found(shop, "'; DROP TABLE engine; --") == []


def test_the_later_of_two_corrections_is_told(shop: Database) -> None:
    engine_id = engine(shop)
    engines.change(shop, engine_id, 1, replace(FACTS, vehicle="Red coupe"))
    with rejects(Rejection.CHANGED_BY_ANOTHER_TABLET, kind=ConflictError):
        engines.change(shop, engine_id, 1, replace(FACTS, vehicle="Green coupe"))
    with shop.reading() as session:
        assert engines.get(session, engine_id).vehicle == "Red coupe"


def test_a_correction_sent_twice_is_one_correction(shop: Database) -> None:
    engine_id = engine(shop)
    engines.change(shop, engine_id, 1, replace(FACTS, vehicle="Red coupe"))
    engines.change(shop, engine_id, 1, replace(FACTS, vehicle="Red coupe"))
    with shop.reading() as session:
        assert engines.get(session, engine_id).version == 2


def test_a_key_that_fitted_one_engine_fits_no_other(shop: Database) -> None:
    sent = key()
    first, second = engine(shop), engine(shop, serial="31-0218")
    engines.fit(shop, first, sent, V8, HARDWARE, "Bores measured", AT)
    with rejects(Rejection.KEY_REUSED, kind=ConflictError):
        engines.fit(shop, second, sent, V8, HARDWARE, "Bores measured", AT)


def test_a_visit_keeps_the_hardware_as_it_was(shop: Database) -> None:
    engine_id = engine(shop)
    with rejects(Rejection.REASON_MISSING):
        engines.fit(shop, engine_id, key(), V8, HARDWARE, "", AT)
    second = engines.fit(shop, engine_id, key(), V8, HARDWARE, "Bores measured", AT)
    visit_id = visit(shop, engine_id)
    with rejects(Rejection.VISIT_OPEN):
        engines.fit(shop, engine_id, key(), V8, HARDWARE, "While a visit is open", AT)
    with shop.reading() as session:
        assert loader.load(session, visit_id).fitting.ident == second


def test_what_is_not_there_is_said_to_be_not_there(shop: Database) -> None:
    with shop.reading() as session, rejects(Rejection.NO_SUCH_ENGINE, kind=NotFoundError):
        engines.get(session, 999)


@pytest.mark.parametrize("unit", engines.DISPLACEMENT_IN)
def test_the_ends_of_a_displacement_as_typed_lie_just_inside_those_that_are_kept(unit: str) -> None:
    """A cubic inch is 0.0254 m cubed."""
    size, place = (1e-3, 0.01) if unit == "L" else (0.0254**3, 0.1)
    low, high = engines.DISPLACEMENT_IN[unit]
    assert low * size == pytest.approx(engines.SMALLEST, rel=0.02)
    assert high * size == pytest.approx(engines.LARGEST, rel=0.001)
    assert (low - place) * size < engines.SMALLEST * (1 - 1e-9) < low * size
    assert high * size < engines.LARGEST * (1 + 1e-9) < (high + 1) * size


def test_an_engine_may_be_as_small_and_as_large_whatever_its_size_is_told_in() -> None:
    """To two figures: a cubic inch is 16.387064 cm3 exactly."""
    ends = engines.DISPLACEMENT_IN
    for liters, inches in zip(ends["L"], ends["cu in"], strict=True):
        assert inches * 0.016387064 == pytest.approx(liters, rel=0.02)
