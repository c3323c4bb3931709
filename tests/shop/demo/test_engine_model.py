"""The engines of the demonstration by hand: a draw that is known, and what gap, screw, coupler and lever then do."""

import random

import pytest

from app.shop.demo.engine_model import DemoEngineModel
from app.sync.engine.layout import Bank, Coupler, Layout
from app.sync.engine.units import THOU

TWO_BANKS = Layout((Bank("A", (1, 2, 3), 2, 2), Bank("B", (4, 5, 6), 5, 5)))


class Draws(random.Random):
    """Every draw lies so many standard deviations above its mean."""

    above = 0.0

    def gauss(self, mu: float = 0.0, sigma: float = 1.0) -> float:
        return mu + self.above * sigma


@pytest.fixture
def draws() -> Draws:
    return Draws()


def test_plates_as_found_scatter_about_their_bank(draws: Draws) -> None:
    draws.above = 1.0
    found = DemoEngineModel(TWO_BANKS, draws).gaps
    # 4.5 thou, half a thou by its bank, 0.3 by its own stop; half a thou more by each coupler on the way
    assert found == pytest.approx({2: 5.3, 1: 5.8, 3: 5.8, 5: 5.3, 4: 5.8, 6: 5.8})


def test_no_plate_is_found_closer_than_one_and_a_half_thou(draws: Draws) -> None:
    draws.above = -10.0
    assert DemoEngineModel(TWO_BANKS, draws).gaps[1] == 1.5


def test_the_meter_shows_whole_steps_of_a_flow_that_grows_with_the_gap(draws: Draws) -> None:
    stand = DemoEngineModel(TWO_BANKS, draws)
    assert stand.read(1, 0.0) == 6.5
    stand.gaps[1] = 9.0
    assert stand.read(1, 0.0) == 11.75  # 6.5 times 2 to the power of 0.85 is 11.716
    stand.flow = 13.0
    assert stand.read(2, 0.0) == 13.0
    draws.above = 5.0
    assert stand.read(2, 0.0) == 13.75  # 6 % more is 13.78


def test_a_feeler_under_the_lever_opens_every_plate_once_it_reaches_it(draws: Draws) -> None:
    stand = DemoEngineModel(TWO_BANKS, draws)
    assert stand.read(1, 3 * THOU) == 6.5
    assert stand.read(1, 13 * THOU) == 12.75  # 4.5 and 5.5 thou: 6.5 times (10 / 4.5) to the power of 0.85 is 12.81
    stand.link_late = 10.0
    assert stand.read(1, 13 * THOU) == 12.75
    assert stand.read(4, 13 * THOU) == 6.5


def test_one_bank_alone_has_no_link_to_be_late(draws: Draws) -> None:
    four = Layout((Bank("A", (1, 2, 3, 4), 2, 2),))
    assert DemoEngineModel(four, draws, link_late=10.0).read(4, 13 * THOU) == 12.75


def test_the_engine_runs_faster_with_the_lever_held_open(draws: Draws) -> None:
    stand = DemoEngineModel(TWO_BANKS, draws)
    assert [stand.speed(opening * THOU) for opening in (0.0, 3.0, 13.0)] == [850.0, 850.0, 1020.0]  # 2 % for each thou
    draws.above = 2.0
    assert stand.speed(0.0) == 858.0  # 1 % is 8.5, to the even one


def test_a_stop_screw_moves_its_bank_by_its_pitch_down_to_one_thou(draws: Draws) -> None:
    stand = DemoEngineModel(TWO_BANKS, draws)
    stand.turn_stop("A", 0.5)
    assert stand.gaps == pytest.approx({1: 6.6, 2: 6.6, 3: 6.6, 4: 4.5, 5: 4.5, 6: 4.5})  # 4.2 thou for each turn
    stand.turn_stop("B", -1.0)
    assert stand.gaps[4] == 1.0


def test_a_coupler_is_set_as_well_as_a_hand_can_and_slips_by_what_it_slips(draws: Draws) -> None:
    stand = DemoEngineModel(Layout((Bank("A", (1, 2, 3, 4), 2, 2),)), draws)
    draws.above = 1.0
    stand.reset(Coupler(2, 3), 6.0)
    assert stand.gaps == pytest.approx({1: 4.5, 2: 4.5, 3: 6.25, 4: 6.25})  # what hangs on it goes along
    stand.slip(Coupler(3, 4), 1.2)
    assert stand.gaps == pytest.approx({1: 4.5, 2: 4.5, 3: 6.25, 4: 7.45})
    stand.reset(Coupler(3, 4), 0.5)
    assert stand.gaps[4] == 1.0
    stand.slip(Coupler(2, 1), -9.0)
    assert stand.gaps[1] == 1.0
