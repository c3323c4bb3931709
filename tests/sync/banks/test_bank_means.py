"""Two banks side by side at one opening, worked by hand."""

import pytest

from app.sync.banks.bank_means import BankDifference, Opening, bank_change, difference, read_both
from app.sync.engine.events import Meter
from app.sync.engine.layout import Bank, Layout

PAIRS = Layout((Bank("A", (1, 2), 1, 1), Bank("B", (3, 4), 3, 3)))
ONE = Meter(step=12**0.5, repeatability=0.0)
"""Its readings have a standard deviation of 1, whatever they are."""

IDLE = dict.fromkeys(PAIRS.bores, 10.0)


def test_the_difference_of_two_banks_is_that_of_their_means() -> None:
    """Means of two bores each, read twice: a variance of 1 / 2 / 2 a bank, together 0.5."""
    found = difference(PAIRS, Opening(1e-3, {1: 20.0, 2: 22.0, 3: 24.0, 4: 26.0}, times=2), IDLE, ONE)
    assert found is not None
    assert (found.first, found.second, found.difference, found.apart) == (21.0, 25.0, 4.0, 4.0)
    assert found.sd == pytest.approx(0.5**0.5)
    assert found.percent == pytest.approx(100 * 4 / 23)
    # By hand: 1/400 + 1/484 + 1/576 + 1/676 over two readings and two bores squared.
    assert found.log_sd == pytest.approx((0.0077815 / 8) ** 0.5, rel=1e-4)


def test_what_columns_have_of_their_own_makes_the_air_of_a_bank_less_sure_however_often_they_are_read() -> None:
    """Two bores a bank: their own 2.2 % over the root of two, and that of both banks in squares, 2.2 %."""
    exact = Meter("vacuum", step=1.0, repeatability=0.0)
    deep = dict.fromkeys(PAIRS.bores, 30_000.0)
    found = difference(PAIRS, Opening(1e-3, deep, times=100), deep, exact)
    assert found is not None
    assert found.sd < 0.1
    assert found.log_sd == pytest.approx(0.022, rel=0.01)


def test_a_bank_of_one_reading_is_less_sure() -> None:
    found = difference(PAIRS, Opening(1e-3, {1: 20.0, 3: 24.0, 4: 26.0}), IDLE, ONE)
    assert found is not None
    assert found.sd == pytest.approx(1.5**0.5)


def test_a_meter_of_half_the_precision_makes_the_difference_half_as_sure() -> None:
    opening = Opening(1e-3, {1: 20.0, 2: 22.0, 3: 24.0, 4: 26.0}, times=2)
    found = difference(PAIRS, opening, IDLE, Meter(step=2 * 12**0.5, repeatability=0.0))
    assert found is not None
    assert found.sd == pytest.approx(2 * 0.5**0.5)


def test_a_bank_that_was_not_read_has_no_difference() -> None:
    assert difference(PAIRS, Opening(1e-3, {1: 20.0, 2: 22.0}), IDLE, ONE) is None
    assert bank_change((3, 4), {1: 20.0}, IDLE, ONE, plenum=False) is None


def test_a_bank_rises_by_the_mean_of_its_bores_logarithms() -> None:
    """Twice and eight times the air of idle: a mean of four times, ln 4 = 1.386294; its error by hand: the squares
    of 1/20, 1/80 and twice 1/10 make 0.0226563, their root over two bores 0.0752600."""
    found = bank_change((1, 2), {1: 20.0, 2: 80.0}, IDLE, ONE, plenum=False)
    assert found is not None
    assert found.change == pytest.approx(1.386294, abs=1e-6)
    assert found.sd == pytest.approx(0.0752600, abs=1e-6)


def test_banks_in_which_nothing_flowed_do_not_differ() -> None:
    assert BankDifference(1e-3, 0.0, 0.0, 1.0, (0.0, 0.0), 1.0).percent == 0.0


def test_a_bore_where_nothing_flowed_tells_nothing_and_a_column_at_zero_tells_of_an_open_runner() -> None:
    """Of no flow there is no logarithm."""
    shown = {1: 20.0, 2: 0.0, 3: 20.0}
    assert read_both((1, 2, 3, 4), shown, IDLE, ONE) == [1, 3]
    assert read_both((1, 2, 3, 4), IDLE, shown, ONE) == [1, 3]
    assert read_both((1, 2, 3, 4), shown, IDLE, Meter("vacuum")) == [1, 2, 3]
