"""The snap test in a visit: asked for once the engine is even, answered with the coupler, and read again after."""

from dataclasses import replace

import pytest

from app.shop.assessment.assessment import assess
from app.shop.assessment.progress import progress
from app.shop.assessment.snap import blips_of, found
from app.shop.commands import checks, moves
from app.shop.commands.moves import NewMove
from app.shop.procedure.phases import BANK_BALANCE, HEAT_SOAKED
from app.shop.procedure.read_order import next_reading
from app.shop.store.database import Database
from app.wording.reasons import in_words
from tests.shop.yard import AT, FOUR, V8, blip, check_all, heat_soaked, key, read, visit_record


def even(shop: Database) -> int:
    """A visit whose fine round is closed and even, with nothing blipped yet."""
    visit_id = heat_soaked(shop, V8)
    while next_reading(visit_record(shop, visit_id), HEAT_SOAKED).bore is not None:
        read(shop, visit_id, HEAT_SOAKED)
    return visit_id


def lacks(shop: Database, visit_id: int) -> dict[str, str]:
    standing = next(s for s in progress(visit_record(shop, visit_id)) if s.phase is HEAT_SOAKED)
    return {m.slug: in_words(m.reason) for m in standing.missing}


def test_an_even_engine_is_blipped_before_it_goes_on(shop: Database) -> None:
    visit_id = even(shop)
    assert lacks(shop, visit_id) == {"snap-8": "Bore 8 read after a blip, 0 of 3"}
    blip(shop, visit_id, 6.5)
    assert lacks(shop, visit_id) == {}
    assert assess(visit_record(shop, visit_id)).current is BANK_BALANCE


def test_lost_motion_names_its_coupler_and_is_read_again(shop: Database) -> None:
    visit_id = even(shop)
    blip(shop, visit_id, 6.0, 7.5, 6.25)
    assert "Coupler 7–8 has lost motion" in lacks(shop, visit_id)["snap-8"]
    told = found(visit_record(shop, visit_id), 8)
    assert told is not None
    assert told.loose
    blip(shop, visit_id, 6.5)  # tightened, and blipped again: the newest three count
    assert lacks(shop, visit_id) == {}
    assert len(visit_record(shop, visit_id).series(HEAT_SOAKED.slug, "snap-8")) == 6


def test_a_plate_that_was_moved_is_blipped_again(shop: Database) -> None:
    visit_id = even(shop)
    blip(shop, visit_id, 6.5)
    moves.make(shop, visit_id, key(), NewMove(HEAT_SOAKED.slug, "blade", "", 7, 8, 0.0, (0.0001,), True, "KM"), AT)
    while next_reading(visit_record(shop, visit_id), HEAT_SOAKED).bore is not None:
        read(shop, visit_id, HEAT_SOAKED)
    assert blips_of(visit_record(shop, visit_id), 8) == []
    assert "snap-8" in lacks(shop, visit_id)


def test_a_link_turned_off_idle_asks_for_no_more_blips(shop: Database) -> None:
    visit_id = even(shop)
    blip(shop, visit_id, 6.5)
    check_all(shop, visit_id, BANK_BALANCE)
    moves.make(shop, visit_id, key(), NewMove(BANK_BALANCE.slug, "link", "B", None, None, 1.0, (), True, "KM"), AT)
    assert lacks(shop, visit_id) == {}


def test_a_blip_taken_back_is_not_counted(shop: Database) -> None:
    visit_id = even(shop)
    blip(shop, visit_id, 6.5)
    checks.take_back(shop, visit_id, key(), HEAT_SOAKED.slug, "snap-8", "KM", AT)
    assert lacks(shop, visit_id) == {"snap-8": "Bore 8 read after a blip, 2 of 3"}


@pytest.mark.parametrize("springless", [frozenset[int](), frozenset({3})], ids=["no suspect", "springless"])
def test_only_suspects_are_blipped(shop: Database, springless: frozenset[int]) -> None:
    visit_id = heat_soaked(shop, replace(FOUR, springless=springless))
    while next_reading(visit_record(shop, visit_id), HEAT_SOAKED).bore is not None:
        read(shop, visit_id, HEAT_SOAKED)
    assert set(lacks(shop, visit_id)) == {f"snap-{bore}" for bore in springless}
