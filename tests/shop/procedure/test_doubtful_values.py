"""How many bores speak for what another ought to read, and from where on a value is asked about."""

import pytest

from app.shop.commands.readings import NewReading, add
from app.shop.procedure.phases import HEAT_SOAKED
from app.shop.rejections import Rejection
from app.shop.store.database import Database
from tests.shop.rejections import rejects
from tests.shop.yard import AT, FOUR, heat_soaked, key, read


def typed(shop: Database, bore: int, value: float) -> None:
    add(shop, 1, key(), NewReading(HEAT_SOAKED.slug, 2, bore, "turn", value, "KM"), AT, sure=False)


def test_one_other_bore_says_nothing_and_two_do(shop: Database) -> None:
    heat_soaked(shop, FOUR)
    typed(shop, 1, 6.5)
    typed(shop, 2, 36.5)
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
