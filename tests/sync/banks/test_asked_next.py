"""Which opening of the lever is asked for next, and how sure what is offered is: the first opening, a wider one, a
smaller one where columns tell nothing.

Openings are radians of a lever of an inch (``bank_means.CENTRAL_LEVER``), so that 0.010 rad is a feeler of 0.010 in.
"""

from dataclasses import replace

import pytest

from app.sync.banks.bank_means import Opening
from app.sync.banks.banks import BankAssessment, Extra, balance
from app.sync.engine.events import Meter
from app.sync.engine.linkage import link_rotation
from app.sync.engine.units import INCH, KPA
from tests.sync.banks.eight import EIGHT, HARDWARE, opened, told

COLUMN = Meter("vacuum", 0.25 * KPA, 0.01)


def asked(story: BankAssessment) -> tuple[Extra, float]:
    """What is asked for, and the feeler under a lever of an inch [in]."""
    return story.extra, round(story.extra_travel / INCH, 9)


def by_columns(*openings: Opening) -> BankAssessment:
    idle = dict.fromkeys(EIGHT.bores, 33 * KPA)
    return balance(EIGHT, HARDWARE, idle, openings, COLUMN, True)


def test_a_feeler_of_ten_thousandths_is_asked_for_first() -> None:
    """The thinner one of the two that a shop begins with (our judgement)."""
    assert asked(told([])) == (Extra.OPENING, 0.010)


@pytest.mark.parametrize(
    ("blind", "extra", "feeler"),
    [(0.020, Extra.OPENING, 0.010), (0.009, Extra.SMALLER_OPENING, 0.0045), (0.005, Extra.SMALLER_OPENING, 0.0025),
     (0.0038, Extra.FLOW_METER, 0.0)],
)  # fmt: skip
def test_where_columns_stand_at_zero_half_as_much_is_asked_for_until_no_feeler_is_worth_it(
    blind: float, extra: Extra, feeler: float
) -> None:
    """Feelers under 0.002 in are not (our judgement)."""
    nothing = Opening(blind * INCH, dict.fromkeys(EIGHT.bores, 0.0))
    assert asked(by_columns(nothing)) == (extra, feeler)


def test_a_bank_that_may_still_be_on_its_stop_is_looked_for_at_twice_the_opening() -> None:
    late = [opened(at, early=-45) for at in (20, 40)]
    assert asked(told(late, tight=False)) == (Extra.WIDER_OPENING, 0.080)


def test_what_is_read_at_idle_is_no_opening() -> None:
    closed = Opening(0.0, opened(0).readings)
    assert asked(told([closed])) == (Extra.OPENING, 0.010)


def test_where_nothing_or_no_opening_is_asked_for_there_is_none_to_read() -> None:
    assert asked(told([opened(10), opened(30)])) == (Extra.NONE, 0.0)
    without_idle = balance(EIGHT, HARDWARE, {}, [], Meter(), True)
    assert (without_idle.extra, without_idle.to_read) == (Extra.IDLE, ())


def test_flats_are_surer_by_what_is_known_of_the_rod_once_both_its_pitch_and_its_lever_were_measured() -> None:
    """An estimated rod leaves 15 % of the flats open: by how much the squares of both errors differ."""
    of_pitch = replace(HARDWARE, link_pitch=replace(HARDWARE.link_pitch, measured=True))
    of_both = replace(of_pitch, link_lever=replace(HARDWARE.link_lever, measured=True))
    idle = opened(0).readings
    read = [opened(at, early=9) for at in (10, 30)]
    none, one, both = (
        balance(EIGHT, hardware, idle, read, Meter(), True, joints_tight=True)
        for hardware in (HARDWARE, of_pitch, of_both)
    )
    assert none.flats == one.flats == both.flats == -2.0
    assert one.flats_sd == none.flats_sd
    wanted = both.offset / link_rotation(1.0, HARDWARE)
    assert none.flats_sd**2 - both.flats_sd**2 == pytest.approx((0.15 * wanted) ** 2, rel=1e-6)
