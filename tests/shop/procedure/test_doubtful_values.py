"""How many bores speak for what another ought to read, and from where on a value is asked about."""

from dataclasses import replace

import pytest

from app.shop.commands import meters, moves, visits
from app.shop.commands.meters import NewMeter
from app.shop.commands.moves import NewMove
from app.shop.commands.readings import NewReading, add
from app.shop.commands.visits import NewVisit
from app.shop.procedure.phases import COLD_PRESET, FIRST_FIRE, HEAT_SOAKED
from app.shop.rejections import Rejection
from app.shop.store.database import Database
from tests.shop.rejections import rejects
from tests.shop.yard import (
    AT,
    FOUR,
    check_all,
    engine,
    heat_soaked,
    key,
    read,
    read_round,
    ready_to_sign,
    visit,
    visit_record,
)


def typed(shop: Database, bore: int, value: float, one: int = 2) -> None:
    add(shop, 1, key(), NewReading(HEAT_SOAKED.slug, one, bore, "turn", value, "KM"), AT, sure=False)


def test_one_other_bore_says_nothing_and_two_do(shop: Database) -> None:
    heat_soaked(shop, FOUR)
    typed(shop, 1, 6.5)
    typed(shop, 2, 16.5)
    with rejects(Rejection.FAR_OFF):
        typed(shop, 3, 3.0)


@pytest.mark.parametrize(("value", "asked"), [(8.0, True), (7.99, False), (3.125, True), (3.13, False)])
def test_a_value_of_1_6_times_the_middle_is_asked_about_or_of_that_part_of_it(
    shop: Database, value: float, asked: bool
) -> None:
    heat_soaked(shop, FOUR)
    for _ in range(3):
        read(shop, 1, HEAT_SOAKED, 5.0)
    if not asked:
        typed(shop, 4, value)
        return
    with rejects(Rejection.FAR_OFF):
        typed(shop, 4, value)


@pytest.mark.parametrize(("value", "asked"), [(40.0, True), (0.65, True), (6.5, False), (16.0, False), (2.5, False)])
def test_the_first_value_of_an_engine_is_asked_about_where_it_cannot_idle_on_it(
    shop: Database, value: float, asked: bool
) -> None:
    """3.9 L on four bores need some 6.6 kg/h each at 750 rpm (1.89 g/s for a liter, see ``engine_air.needed``)."""
    heat_soaked(shop, FOUR)
    if not asked:
        typed(shop, 1, value)
        return
    with rejects(Rejection.FAR_OFF):
        typed(shop, 1, value)


def test_the_first_value_after_an_adjustment_is_asked_about_by_what_the_bore_read_before(shop: Database) -> None:
    """Four times as much: 1.6 by 2.5, as the limits say."""
    visit_id = heat_soaked(shop, FOUR)
    read_round(shop, visit_id, HEAT_SOAKED, 5.0)
    moves.make(shop, visit_id, key(), NewMove(HEAT_SOAKED.slug, "stop", "A", None, None, 0.125, (), True, "KM"), AT)
    with rejects(Rejection.FAR_OFF):
        typed(shop, 1, 20.0, 3)
    typed(shop, 1, 19.75, 3)


def test_the_first_value_of_a_visit_is_asked_about_by_what_the_last_one_left(shop: Database) -> None:
    first = ready_to_sign(shop)
    visits.sign_off(shop, first, key(), "Foreman of the yard", AT)
    before = visit_record(shop, first)
    left = before.as_left()
    assert left is not None
    assert {reading.value for reading in left.latest.values()} == {6.5}
    visit_id = visit(shop, before.engine.ident)
    check_all(shop, visit_id, FIRST_FIRE)
    new = NewReading(FIRST_FIRE.slug, 1, 1, "turn", 26.0, "KM")
    with rejects(Rejection.FAR_OFF):
        add(shop, visit_id, key(), new, AT, sure=False)
    add(shop, visit_id, key(), replace(new, value=25.75), AT, sure=False)


@pytest.mark.parametrize(("value", "asked"), [(25.0, True), (250.0, False), (150.0, False)])
def test_a_column_that_stands_where_none_can_at_idle_is_asked_about(shop: Database, value: float, asked: bool) -> None:
    """About a third of the air's pressure below it is usual, 250 mmHg; a tenth of that is hardly throttled."""
    meter_id = meters.register(shop, key(), NewMeter("Column", "mmHg", 2, 0, 760))
    visit_id = visits.open_visit(shop, engine(shop, FOUR), key(), NewVisit("test cell", "", "", "KM", meter_id), AT)
    check_all(shop, visit_id, COLD_PRESET)
    check_all(shop, visit_id, FIRST_FIRE)
    new = NewReading(FIRST_FIRE.slug, 1, 1, "turn", value, "KM")
    if not asked:
        add(shop, visit_id, key(), new, AT, sure=False)
        return
    with rejects(Rejection.FAR_OFF):
        add(shop, visit_id, key(), new, AT, sure=False)
