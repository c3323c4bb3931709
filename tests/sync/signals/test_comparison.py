"""Sensors at one pressure: by what they differ, and which of them a hose belongs to."""

import numpy as np
import pytest

from app.sync.signals.comparison import Floats, Held, Incomparable, IncomparableError, compared, lag_of, moved


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


def still(*means: float) -> dict[str, Floats]:
    """Sensors that show one figure and nothing else."""
    return {f"b{n + 1}": np.full(8, mean) for n, mean in enumerate(means)}


@pytest.mark.parametrize(
    ("means", "held", "absolute"),
    [
        ((2.9e3, -2.9e3), "ambient", False),
        ((60.5e3, 109.5e3), "ambient", True),
        ((15.1e3, 15.1e3), "tee", False),
    ],
)
def test_what_lies_just_within_the_limits_is_compared(means: tuple[float, ...], held: Held, absolute: bool) -> None:
    assert len(compared(still(*means), held, absolute=absolute).figures) == 2


@pytest.mark.parametrize(
    ("means", "held", "absolute", "code", "channels"),
    [
        ((3.1e3, 0.0), "ambient", False, Incomparable.NOT_AMBIENT, ("b1",)),
        ((0.0, -3.1e3), "ambient", False, Incomparable.NOT_AMBIENT, ("b2",)),
        ((59.5e3, 101e3), "ambient", True, Incomparable.NOT_AMBIENT, ("b1",)),
        ((101e3, 110.5e3), "ambient", True, Incomparable.NOT_AMBIENT, ("b2",)),
        ((14.9e3, 14.9e3), "tee", False, Incomparable.TOO_SHALLOW, ()),
    ],
)
def test_what_lies_just_beyond_them_is_not(
    means: tuple[float, ...], held: Held, absolute: bool, code: Incomparable, channels: tuple[str, ...]
) -> None:
    with pytest.raises(IncomparableError) as problem:
        compared(still(*means), held, absolute=absolute)
    assert (problem.value.code, problem.value.channels) == (code, channels)


@pytest.mark.parametrize(("later", "code"), [(0.6e3, None), (-0.6e3, None), (0.8e3, Incomparable.UNSTEADY)])
def test_the_second_half_may_differ_by_so_much(later: float, code: Incomparable | None) -> None:
    falls = still(30e3, 30e3)
    falls["b1"][4:] += later
    if code is None:
        assert compared(falls, "tee", absolute=False).depth == pytest.approx(30e3 + later / 4)
        return
    with pytest.raises(IncomparableError) as problem:
        compared(falls, "tee", absolute=False)
    assert (problem.value.code, problem.value.channels) == (code, ("b1",))


@pytest.mark.parametrize(
    ("left", "others", "channels"),
    [(0.81, 1.0, None), (0.79, 1.0, ("b1",)), (0.4, 0.71, ("b1",)), (0.4, 0.69, ("b1", "b2"))],
)
def test_a_channel_has_moved_by_a_fifth_and_another_with_it_by_half_as_much(
    left: float, others: float, channels: tuple[str, ...] | None
) -> None:
    times = np.arange(0.0, 8.0, 0.01)
    levels = {"b1": left, "b2": others, "b3": 1.0}
    traces = {name: (times, np.where(times > 5.0, 30e3 * level, 30e3)) for name, level in levels.items()}
    if channels == ("b1",):
        assert moved(traces, 5.0) == "b1"
        return
    with pytest.raises(IncomparableError) as problem:
        moved(traces, 5.0)
    assert problem.value.channels == (channels or ())


def pulled(lag: float, rate: float = 200.0) -> tuple[Floats, Floats]:
    """A vacuum of 33 kPa with pulses on it, whose hose is taken off at 2.3 s, by a sensor of the first order."""
    times = np.arange(round(6.0 * rate)) / rate
    before = 33e3 * (1 + 0.1 * np.sin(2 * np.pi * 7.5 * times))
    noise = 30 * np.random.default_rng(6).standard_normal(len(times))
    return times, np.where(times < 2.3, before, 33e3 * np.exp(-np.maximum(times - 2.3, 0) / lag)) + noise


@pytest.mark.parametrize("lag", [0.05, 0.2, 0.5])
def test_the_lag_of_a_sensor_shows_when_its_hose_is_taken_off(lag: float) -> None:
    times, values = pulled(lag)
    assert lag_of(times, values, 2.0) == pytest.approx(lag, rel=0.1)
    assert lag_of(times, 101325 - values, 2.0) == pytest.approx(lag, rel=0.1)  # one that counts from a vacuum


def test_a_sensor_that_is_too_quick_or_does_not_move_tells_no_lag() -> None:
    assert lag_of(*pulled(0.002), 2.0) is None
    times, values = pulled(0.2)
    assert lag_of(times, np.full_like(values, 33e3), 2.0) is None
    assert lag_of(times[:0], values[:0], 2.0) is None


def test_a_lag_is_told_of_what_comes_after_the_hose_alone() -> None:
    """Of a tail of five values and an exact exponential: one from before the hose is off would bend it by some 5 %."""
    step, lag = 0.05, 0.14
    times: Floats = np.arange(0.0, 6.0, step)
    values: Floats = 33e3 * np.exp(-np.maximum(times - 2.0 - step / 2, 0.0) / lag)
    assert lag_of(times, values, 2.0) == pytest.approx(lag, rel=0.002)
