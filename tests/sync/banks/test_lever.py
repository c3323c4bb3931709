"""Whether the lever was opened, by the meter and by the engine speed."""

import math

import pytest

from app.sync.banks.lever import AT_IDLE_SPEED, FROM_IDLE, SPEED_SD, Speeds, opened
from app.sync.engine.events import Meter
from app.sync.engine.layout import Bank, Layout

EIGHT = Layout((Bank("A", (1, 2, 3, 4), stop=2, drive=2), Bank("B", (5, 6, 7, 8), stop=6, drive=6)))
IDLE_FLOW = 6.4 / 3600
IDLE = dict.fromkeys(EIGHT.bores, IDLE_FLOW)
STILL, FASTER, SLOWER = Speeds(14.0, 14.1), Speeds(14.0, 16.0), Speeds(14.0, 13.0)
METER = Meter(step=0.01 / 3600, repeatability=0.01)
SD = math.hypot(0.012, math.sqrt(8) * 0.01 / 4)
"""Standard deviation of a bank's mean change: the idle's wander, and four bores read twice to a per cent."""


@pytest.mark.parametrize(
    ("z", "speeds", "is_open"),
    [
        (2.5, None, False),
        (3.5, None, True),
        (3.5, STILL, False),
        (5.0, STILL, True),
        (1.5, FASTER, False),
        (2.5, FASTER, True),
        (2.5, SLOWER, False),
        (3.5, SLOWER, True),
    ],
)
def test_the_speed_moves_the_mark_and_never_decides_alone(z: float, speeds: Speeds | None, is_open: bool) -> None:
    one_bank = {bore: IDLE_FLOW * math.exp(z * SD) if bore < 5 else IDLE_FLOW for bore in EIGHT.bores}
    assert opened(EIGHT, IDLE, one_bank, METER, speeds) is is_open


def test_a_bank_less_open_than_at_idle_is_not_at_idle_either() -> None:
    fallen = dict.fromkeys(EIGHT.bores, IDLE_FLOW * math.exp(-(FROM_IDLE + 0.5) * SD))
    assert opened(EIGHT, IDLE, fallen, METER)
    assert not opened(EIGHT, IDLE, fallen, METER, STILL)


def test_the_least_opening_is_seen_even_where_a_load_holds_the_speed() -> None:
    """A link with 3 mrad of play turns its bank by 7 mrad at the first feeler: a seventh more air at 19.7 per radian,
    as an independent engine simulation gave for these plates."""
    assert math.log(1.14) / SD > AT_IDLE_SPEED
    assert opened(EIGHT, IDLE, dict.fromkeys(EIGHT.bores, 1.14 * IDLE_FLOW), METER, STILL)


def test_a_speed_hardly_differs_within_twice_what_a_tachometer_varies() -> None:
    """Two looks of 0.8 % each, and an idle whose air strays by 0.99 % and its speed by 0.82 %: by hand 1.4 %."""
    assert pytest.approx(0.008 * math.sqrt(3), abs=5e-4) == SPEED_SD


def test_without_a_bore_read_both_times_nothing_speaks_against_it() -> None:
    assert opened(EIGHT, {}, {}, METER, STILL)
