"""Sensors at one pressure: by what they differ, and which of them a hose belongs to."""

import numpy as np
import pytest

from app.sync.signals.comparison import Floats, Held, Incomparable, IncomparableError, compared, moved


def sensors(*means: float, scatter: float = 20.0, seed: int = 1) -> dict[str, Floats]:
    rng = np.random.default_rng(seed)
    return {f"b{n + 1}": mean + scatter * rng.standard_normal(800) for n, mean in enumerate(means)}


def test_each_sensors_offset_and_scatter_and_the_spread_of_all() -> None:
    """Means of 30.0, 30.3 and 30.6 kPa: their standard deviation is 0.3 kPa by definition."""
    found = compared(sensors(30.0e3, 30.3e3, 30.6e3), "tee", absolute=False)
    assert [round(one.offset, -1) for one in found.figures.values()] == [-300, 0, 300]
    assert found.spread == pytest.approx(300, rel=0.02)
    assert found.depth == pytest.approx(30.3e3, rel=0.001)
    assert all(one.scatter == pytest.approx(20.0, rel=0.1) for one in found.figures.values())


def test_absolute_sensors_stand_as_far_below_the_open_air_as_they_read_less() -> None:
    found = compared(sensors(70e3, 70.1e3), "tee", absolute=True, ambient=100e3)
    assert found.depth == pytest.approx(29.95e3, rel=0.001)
    assert compared(sensors(99e3, 99.2e3), "ambient", absolute=True, ambient=100e3).spread == pytest.approx(
        141, rel=0.1
    )


@pytest.mark.parametrize(
    ("means", "held", "code", "channels"),
    [
        ((30e3,), "tee", Incomparable.TOO_FEW, ()),
        ((9e3, 9e3), "tee", Incomparable.TOO_SHALLOW, ()),
        ((0.0, 100.0, 8e3), "ambient", Incomparable.NOT_AMBIENT, ("b3",)),
    ],
)
def test_what_cannot_be_compared(
    means: tuple[float, ...], held: Held, code: Incomparable, channels: tuple[str, ...]
) -> None:
    with pytest.raises(IncomparableError) as problem:
        compared(sensors(*means), held, absolute=False)
    assert (problem.value.code, problem.value.channels) == (code, channels)


def test_a_pressure_that_still_falls_is_not_compared() -> None:
    falls = sensors(30e3, 30e3)
    falls["b2"] = falls["b2"] + np.linspace(0, 3e3, 800)
    with pytest.raises(IncomparableError) as problem:
        compared(falls, "tee", absolute=False)
    assert (problem.value.code, problem.value.channels) == (Incomparable.UNSTEADY, ("b2",))


def hoses(*off: int, left: float = 0.0, begun: float = 5.0) -> dict[str, tuple[Floats, Floats]]:
    """Four idling bores at 33 kPa with their pulses, and hoses off from 6 to 9 s; the others read 6 % less then."""
    times = np.arange(3.0, 12.0, 0.005)
    away = (times > begun + 1) & (times < begun + 4)
    found = {}
    for bore in range(1, 5):
        level = np.where(away, 33e3 * 0.94, 33e3) if off else np.full(len(times), 33e3)
        level = np.where(away, 33e3 * left, level) if bore in off else level
        found[f"b{bore}"] = times, level * (1 + 0.3 * np.sin(2 * np.pi * (7.5 * times + bore / 4)))
    return found


def test_the_channel_whose_hose_is_off_is_told() -> None:
    assert moved(hoses(3), 5.0) == "b3"


@pytest.mark.parametrize(
    ("off", "code", "channels"),
    [((), Incomparable.NONE_MOVED, ()), ((2, 3), Incomparable.SEVERAL_MOVED, ("b2", "b3"))],
)
def test_none_and_several_are_told_apart(off: tuple[int, ...], code: Incomparable, channels: tuple[str, ...]) -> None:
    with pytest.raises(IncomparableError) as problem:
        moved(hoses(*off), 5.0)
    assert (problem.value.code, problem.value.channels) == (code, channels)


def test_a_channel_that_says_nothing_is_named() -> None:
    traces = hoses(3)
    traces["b2"] = np.empty(0), np.empty(0)
    with pytest.raises(IncomparableError) as problem:
        moved(traces, 5.0)
    assert (problem.value.code, problem.value.channels) == (Incomparable.NOT_LIVE, ("b2",))
