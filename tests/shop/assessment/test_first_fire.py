"""First fire: one quick round, a wide window, and at most one correction of a whole bank before the heat."""

from dataclasses import replace

import pytest

from app.shop.assessment.advising import starting
from app.shop.assessment.assessment import assess
from app.shop.assessment.verdicts import next_of
from app.shop.commands import meters, moves, settings_versions, visits
from app.shop.commands.meters import NewMeter
from app.shop.commands.moves import NewMove
from app.shop.commands.visits import NewVisit
from app.shop.procedure.phases import COLD_PRESET, FIRST_FIRE, HEAT_SOAKED
from app.shop.record.settings import DEFAULTS
from app.shop.rejections import Rejection
from app.shop.store.database import Database
from app.sync.engine.units import THOU
from tests.shop.rejections import rejects
from tests.shop.yard import AT, V8, check_all, engine, key, read_asked, visit, visit_record

LOW = {5, 6, 7, 8}


def scanned(shop: Database, low: float, visit_id: int = 0) -> int:
    """A first fire whose quick round read bank B at ``low`` and bank A at 6.5."""
    if not visit_id:
        visit_id = visit(shop, engine(shop, V8))
        check_all(shop, visit_id, COLD_PRESET)
        check_all(shop, visit_id, FIRST_FIRE)
    read_asked(shop, visit_id, FIRST_FIRE, lambda bore: low if bore in LOW else 6.5)
    return visit_id


@pytest.mark.parametrize("low", [6.0, 5.25])
def test_what_lies_within_the_wide_window_waits_for_heat(shop: Database, low: float) -> None:
    visit_id = scanned(shop, low)
    advice = next_of(visit_record(shop, visit_id), FIRST_FIRE)
    assert advice is not None
    assert (advice.kind, advice.why) == ("done", "coarse")
    assert assess(visit_record(shop, visit_id)).current is HEAT_SOAKED


def test_a_bank_far_off_gets_one_correction_and_no_second(shop: Database) -> None:
    visit_id = scanned(shop, 4.0)
    advice = next_of(visit_record(shop, visit_id), FIRST_FIRE)
    assert advice is not None
    assert (advice.kind, advice.bank, set(advice.bores)) == ("stop", "B", LOW)
    assert advice.turns > 0
    turn = NewMove(FIRST_FIRE.slug, "stop", "B", None, None, advice.turns, (), True, "KM")
    moves.make(shop, visit_id, key(), turn, AT)
    scanned(shop, 4.0, visit_id)
    assert assess(visit_record(shop, visit_id)).of(FIRST_FIRE).step.kind == "done"


def test_the_wide_window_is_the_shops(shop: Database) -> None:
    settings_versions.change(shop, key(), 0, replace(DEFAULTS, coarse_window=0.6), "", "KM", AT)
    visit_id = scanned(shop, 4.0)
    assert assess(visit_record(shop, visit_id)).of(FIRST_FIRE).step.kind == "done"


def test_the_bank_with_more_vacuum_is_the_one_that_is_low_in_air(shop: Database) -> None:
    """Bank A draws about 40 kPa and bank B about 28: bank A's plates are the more closed ones."""
    gauge = meters.register(shop, key(), NewMeter("Gauge", "kPa", 0.5, 0, 90))
    new = NewVisit("test cell", "1184", "First sync", "KM", gauge)
    visit_id = visits.open_visit(shop, engine(shop, V8), key(), new, AT)
    check_all(shop, visit_id, COLD_PRESET)
    check_all(shop, visit_id, FIRST_FIRE)
    read_asked(shop, visit_id, FIRST_FIRE, lambda bore: 28.0 if bore in LOW else 40.0)
    advice = next_of(visit_record(shop, visit_id), FIRST_FIRE)
    assert advice is not None
    assert (advice.kind, advice.bank, advice.turns) == ("stop", "A", 0.125)


@pytest.mark.parametrize("kind", ["blade", "link"])
def test_couplers_and_links_are_left_alone_while_it_warms(shop: Database, kind: str) -> None:
    visit_id = scanned(shop, 4.0)
    new = NewMove(FIRST_FIRE.slug, kind, "B", 5, 6, 1.0, (4 * THOU,), True, "KM")
    with rejects(Rejection.MOVE_NOT_IN_PHASE):
        moves.make(shop, visit_id, key(), new, AT)


def test_the_starting_turns_are_counted_from_the_blade_the_shop_uses(shop: Database) -> None:
    usual = starting(visit_record(shop, visit(shop, engine(shop, V8))))
    settings_versions.change(shop, key(), 0, replace(DEFAULTS, base_blade=5 * THOU), "", "KM", AT)
    thicker = starting(visit_record(shop, visit(shop, engine(shop, V8, serial="another"))))
    assert (usual.base_blade, thicker.base_blade) == (3 * THOU, 5 * THOU)
    more = (
        2 * THOU / visit_record(shop, 1).hardware.stop_pitch.value
    )  # the screw has that much further to go: flat contacts
    assert thicker.turns - usual.turns == pytest.approx(more, rel=0.02)
