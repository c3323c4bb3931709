"""Readings taken one after another while the idle strays, brought to one speed by what is known beside each."""

import math
import random
from statistics import pstdev

import pytest

from app.sync.engine.engine_air import DEMAND_POWER
from app.sync.engine.events import Reading
from app.sync.readings.speed_law import LEAST_STRAY, POWER_SD, at_one_speed, exponent

TRULY = 1.15
"""The air of ``tests.sync.column_engines`` goes by this power of the speed, a law of its own."""


def strayed(seed: int, power: float = TRULY, repeats: int = 1, noise: float = 0.0) -> list[Reading]:
    """Eight alike bores, read in turn while the speed strays by 0.7 % as an idle does (our judgement)."""
    rng = random.Random(seed)
    read = []
    for n in range(8 * repeats):
        by = 0.007 * rng.gauss(0, 1)
        value = 6.5 * math.exp(power * by + noise * rng.gauss(0, 1))
        read.append(Reading(1 + n % 8, value, 20.0 * n, sd=noise or None, speed=14.2 * math.exp(by)))
    return read


def apart(readings: tuple[Reading, ...] | list[Reading]) -> float:
    return pstdev([math.log(one.value) for one in readings])


@pytest.mark.parametrize("seed", range(5))
@pytest.mark.parametrize("power", [1.1, TRULY, 1.7])
def test_most_of_what_the_idle_strayed_is_taken_out(seed: int, power: float) -> None:
    read = strayed(seed, power)
    off = abs(DEMAND_POWER - power) / power
    assert apart(at_one_speed(read)) <= (off + 0.01) * apart(read)


def test_repeats_of_a_bore_tell_the_power_of_this_engine() -> None:
    once, often = (exponent(strayed(1, 1.5, repeats, 0.003)) for repeats in (1, 40))
    assert once == pytest.approx(DEMAND_POWER)
    assert often == pytest.approx(1.5, abs=0.25 * (1.5 - once))


def test_a_speed_that_is_held_changes_nothing() -> None:
    still = [
        Reading(bore, 6.0 + bore / 10, 20.0 * bore, speed=14.2 * (1 + LEAST_STRAY / 4 * (bore % 2)))
        for bore in range(8)
    ]
    assert at_one_speed(still) == tuple(still)


def test_what_has_no_speed_stays_as_it_was_read() -> None:
    typed = [Reading(1, 6.5, 0.0), *strayed(3)]
    assert at_one_speed(typed)[0] == typed[0]
    assert at_one_speed(typed[:2]) == tuple(typed[:2])
    assert at_one_speed([]) == ()


def test_the_power_is_never_led_far_by_a_noisy_meter() -> None:
    found = [exponent(strayed(seed, TRULY, 2, 0.02)) for seed in range(20)]
    assert all(abs(one - DEMAND_POWER) < POWER_SD for one in found)
