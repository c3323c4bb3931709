"""What instruments show against the air and the size of the engine."""

import pytest

from app.sync.engine.units import KPA, LITER, REV_PER_MIN
from app.sync.signals.plausible import odd_flow, off_air


@pytest.mark.parametrize("grams", [0.8, 2.0])
def test_the_published_need_of_an_idling_engine_is_not_doubted(grams: float) -> None:
    """0.8 to 2 g/s for a liter at 750 rpm: the published band named at ``engine_air.DEMAND``, not looked up again."""
    assert odd_flow(4 * grams * 1e-3, 4 * LITER, 750 * REV_PER_MIN) is None


@pytest.mark.parametrize("times", [3.6, 1 / 3.6])
def test_grams_a_second_taken_for_kilograms_an_hour_are_told(times: float) -> None:
    found = odd_flow(4 * 1.9e-3 * times, 4 * LITER, 750 * REV_PER_MIN)
    assert found is not None
    assert not found.least <= found.total <= found.most


def test_pounds_for_kilograms_stay_unseen() -> None:
    assert odd_flow(4 * 1.9e-3 * 2.2046, 4 * LITER, 750 * REV_PER_MIN) is None


def test_a_sensor_within_two_kilopascals_of_the_air_is_open() -> None:
    shown = {"b1": (True, 99.1 * KPA), "b2": (True, 98.9 * KPA), "b3": (False, -2.1 * KPA), "b4": (False, 1.9 * KPA)}
    assert off_air(shown, 101 * KPA) == ("b2", "b3")
    assert off_air(shown, None) == ("b3",)
