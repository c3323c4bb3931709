"""Pages and programs are told the same: the reading that the keypad asks for is the first that the advice asks for."""

from collections.abc import Callable

import pytest

from app.shop.assessment.assessment import assess
from app.shop.commands import moves
from app.shop.commands.moves import NewMove
from app.shop.procedure.items import Phase
from app.shop.procedure.phases import BANK_BALANCE, FIRST_FIRE, HEAT_SOAKED, LOCK_DOWN
from app.shop.store.database import Database
from app.sync.engine.units import THOU
from app.web.presenters.reading.keypad import Wanted
from app.web.presenters.reading.reading_page import ReadingPage
from tests.shop.yard import AT, V8, check_all, heat_soaked, key, read, read_round, run, visit_record


def reset(shop: Database) -> None:
    heat_soaked(shop)
    read_round(shop, 1, HEAT_SOAKED)
    moves.make(shop, 1, key(), NewMove(HEAT_SOAKED.slug, "blade", "", 3, 4, 0.0, (8 * THOU,), False, "KM"), AT)


def uneven(shop: Database) -> None:
    heat_soaked(shop)
    for bore in (*V8.bores, 1):
        read(shop, 1, HEAT_SOAKED, 7.1 if bore == 3 else 6.5, bore)


def balancing(shop: Database) -> None:
    heat_soaked(shop)
    read_round(shop, 1, HEAT_SOAKED)
    check_all(shop, 1, BANK_BALANCE)


def locking(shop: Database) -> None:
    balancing(shop)
    for _ in range(2 * len(V8.bores) + 2):
        read(shop, 1, BANK_BALANCE, 9.5)
    check_all(shop, 1, LOCK_DOWN)


@pytest.mark.parametrize(
    ("come_so_far", "phase"),
    [
        (heat_soaked, FIRST_FIRE),
        (heat_soaked, HEAT_SOAKED),
        (reset, HEAT_SOAKED),
        (uneven, HEAT_SOAKED),
        (balancing, BANK_BALANCE),
        (locking, LOCK_DOWN),
    ],
)
def test_keypad_and_advice_ask_for_the_same(
    shop: Database, come_so_far: Callable[[Database], object], phase: Phase
) -> None:
    come_so_far(shop)
    compared = 0
    for _ in range(len(V8.bores) + 4):
        now = visit_record(shop, 1)
        asked = assess(now).of(phase).to_read
        if not asked:
            break
        desk = ReadingPage(assess(now), phase, Wanted(), {}, {})
        hidden = desk.keypad.hidden
        speed = assess(now).of(phase).speed
        if speed is not None:
            assert (desk.selected, hidden["round"]) == (None, str(speed.round_number))
            run(shop, 1, phase)
            continue
        assert (desk.selected, hidden["round"]) == (asked[0].bore, str(asked[0].round_number))
        assert hidden["kind"] == asked[0].kind
        compared += 1
        read(shop, 1, phase, 6.5, asked[0].bore)
    assert compared or phase is FIRST_FIRE, "nothing was asked for, so nothing was compared"
