"""Speed, blocked hoses, missing strokes and swapped channels from the pulses of simulated runners."""

import numpy as np
import pytest

from app.sync.signals.pulses import HARMONICS, SPEEDS, blocked, missed, out_of_turn, speed_of, strength
from tests.sync.signals.traces import RATE, Floats, pulse, ticks


def traces(speed: float, bores: int = 8, left: float = 0.5, seed: int = 1) -> Floats:
    """All bores of an engine, each drawing in its turn; the hose leaves a part of the pulse."""
    rng, times = np.random.default_rng(seed), ticks(4.0)
    noise = 0.02 * rng.standard_normal((bores, len(times)))
    return np.array([1 + left * (pulse(times, speed, bore / bores) - 1) for bore in range(bores)]) + noise


@pytest.mark.parametrize("rpm", [700, 900, 1130, 2000, 3000])
@pytest.mark.parametrize("left", [0.05, 0.5])
def test_the_engine_speed_is_told_from_the_traces(rpm: float, left: float) -> None:
    found = speed_of(traces(rpm / 60, left=left), RATE)
    assert found is not None
    assert found * 60 == pytest.approx(rpm, rel=0.02)


def test_of_a_trace_with_gaps_no_speed_is_told_that_no_engine_has() -> None:
    """Of 7.5 pulses a second, an engine at 900 rpm, parts arrive; between those a straight line is drawn."""
    rng, seconds, told = np.random.default_rng(1), 4.0, 0
    for _ in range(400):
        rate = RATE * rng.uniform(0.3, 1.0)
        begins, ends = np.sort(rng.uniform(0.0, seconds, (2, 3)), axis=0)
        sent = np.arange(0.0, seconds, 1 / RATE)
        sent = sent[((sent[:, None] > begins) & (sent[:, None] < ends)).any(axis=1)]
        times = np.arange(int(rate * seconds)) / rate
        trace = np.interp(times, sent, 6.5 + 2 * np.sin(2 * np.pi * 7.5 * sent)) if len(sent) else 0 * times
        speed = speed_of(trace[None], rate)
        told += speed is not None
        assert speed is None or 0.9 * SPEEDS[0] <= speed <= 1.2 * SPEEDS[1]
    assert told > 100, "hardly any speed was told"


def test_still_air_has_no_speed() -> None:
    noise = np.random.default_rng(2).standard_normal((8, 800))
    assert speed_of(1 + 0.01 * noise, RATE) is None
    assert speed_of(np.ones((8, 800)), RATE) is None


@pytest.mark.parametrize("bore", [1, 5])
def test_a_blocked_hose_is_named_and_no_other(bore: int) -> None:
    found = {n + 1: trace for n, trace in enumerate(traces(15.0))}
    assert blocked(found, RATE, 15.0) == frozenset()
    found[bore] = 1 + 0.1 * (found[bore] - 1)
    assert blocked(found, RATE, 15.0) == {bore}


@pytest.mark.parametrize("times", [1e-6, 1e-3, 1e3, 1e6])
def test_the_speed_is_the_same_in_whatever_unit_the_channels_are(times: float) -> None:
    found = speed_of(traces(15.0), RATE)
    assert found is not None
    assert speed_of(times * traces(15.0), RATE) == pytest.approx(found, rel=1e-9)


def test_of_three_channels_the_flat_one_is_told() -> None:
    one, other, flat = traces(15.0, 3)
    assert blocked({1: one, 2: other, 3: np.ones_like(flat)}, RATE, 15.0) == {3}


def test_two_channels_tell_no_hose() -> None:
    one, other = traces(15.0, 2)
    assert blocked({1: one, 2: np.ones_like(other)}, RATE, 15.0) == frozenset()


@pytest.mark.parametrize("rpm", [700, 913, 1137, 2011, 2993])
def test_without_noise_the_speed_is_told_to_a_ten_thousandth(rpm: float) -> None:
    """Finer than one value in the four seconds: the peak is found between values, and far from the first."""
    clean = np.array([pulse(ticks(4.0), rpm / 60, bore / 8) for bore in range(8)])
    found = speed_of(clean, RATE)
    assert found is not None
    assert found * 60 == pytest.approx(rpm, rel=1e-4)


@pytest.mark.parametrize("harmonic", range(1, HARMONICS + 2))
def test_the_strength_of_a_wave_is_its_root_mean_square(harmonic: int) -> None:
    """A sine of height 0.3 about 1 has 0.3 / sqrt(2), whatever its mean; one above the harmonics looked at has none."""
    speed = 15.0
    wave = 0.3 * np.sin(np.pi * harmonic * speed * ticks(4.0) + 0.3)  # a cycle is two revolutions
    expected = 0.3 / 2**0.5 if harmonic <= HARMONICS else 0.0
    assert strength(2.0 * (1 + wave), RATE, speed) == pytest.approx(expected, abs=1e-5)


def test_nothing_has_no_strength() -> None:
    assert strength(np.zeros(800), RATE, 15.0) == 0.0


def strokes(rpm: float, left: float, gone: float, seed: int) -> tuple[Floats, int, int]:
    """A runner whose cycles scatter by 6 % and of whose strokes a part does not draw; how many of those lie wholly in
    the last two seconds, and how many with their cycle."""
    rng, times = np.random.default_rng(seed), ticks(4.0)
    turned = times * rpm / 120 + rng.random()
    cycles = np.floor(turned).astype(int)
    numbers = np.arange(cycles[-1] + 1)
    lost = rng.random(len(numbers)) < gone
    heights = np.where(lost, 0.0, 1 + 0.06 * rng.standard_normal(len(numbers)))
    begins, ends = (numbers - turned[0]) * 120 / rpm, (numbers + 1 / 3 - turned[0]) * 120 / rpm
    inside = lost & (begins > 2.1) & (ends < 3.9)
    near = lost & (ends > 1.8) & (begins < 4.0)
    drawn = pulse(turned, 2.0) * heights[cycles]
    return 1 + left * (drawn - 1) + 0.02 * rng.standard_normal(len(times)), int(inside.sum()), int(near.sum())


@pytest.mark.parametrize(("rpm", "left"), [(700, 0.5), (900, 0.3), (900, 0.05), (1100, 0.3)])
def test_single_strokes_that_do_not_draw_are_counted_and_none_where_all_do(rpm: float, left: float) -> None:
    found = 0
    for seed in range(20):
        whole, *_ = strokes(rpm, left, 0.0, seed)
        assert missed(whole, RATE, rpm / 60, 2.0) == 0
        some, least, most = strokes(rpm, left, 0.2 if seed % 2 else 0.05, seed)
        assert least <= missed(some, RATE, rpm / 60, 2.0) <= most
        found += least > 0
    assert found >= 10


def test_still_air_and_faint_pulses_miss_no_stroke() -> None:
    noise = np.random.default_rng(4).standard_normal(800)
    assert missed(1 + 0.01 * noise, RATE, 15.0, 2.0) == 0
    assert missed(np.ones(800), RATE, 15.0, 2.0) == 0
    assert missed(np.ones(5), RATE, 15.0, 2.0) == 0
    faint, *_ = strokes(900, 0.01, 0.2, 1)
    assert missed(faint, RATE, 15.0, 2.0) == 0


@pytest.mark.parametrize("swapped", [(1, 2), (1, 5), (3, 8)])
@pytest.mark.parametrize("left", [0.05, 0.5])
def test_two_channels_that_changed_places_are_named_by_the_firing_order(swapped: tuple[int, int], left: float) -> None:
    order = dict(zip((1, 5, 4, 2, 6, 3, 7, 8), range(1, 9), strict=True))
    drawn = traces(15.0, left=left)[::-1]  # the first of these is the last to draw
    found = {bore: drawn[place - 1] for bore, place in order.items()}
    assert out_of_turn(found, order, RATE, 15.0) == frozenset()
    one, other = swapped
    found[one], found[other] = found[other], found[one]
    assert out_of_turn(found, order, RATE, 15.0) == {one, other}


def test_what_does_not_agree_among_themselves_names_none() -> None:
    drawn = traces(15.0)
    places = {bore: bore + 1 for bore in range(8)}
    assert out_of_turn(dict(enumerate(drawn)), places, RATE, 15.0) == frozenset()  # all the other way round
    assert out_of_turn({n: drawn[n] for n in range(3)}, {n: n + 1 for n in range(3)}, RATE, 15.0) == frozenset()
    assert out_of_turn(dict(enumerate(np.ones((8, 800)))), places, RATE, 15.0) == frozenset()


def test_a_short_trace_tells_a_speed_of_which_it_holds_two_cycles_and_none_of_fewer() -> None:
    """Two cycles of 11 rev/s last 0.36 s."""
    found = speed_of(np.array([pulse(ticks(0.4), 11.0, bore / 8) for bore in range(8)]), RATE)
    assert found == pytest.approx(11.0, rel=0.02)
    for seconds in (0.05, 0.15):
        assert speed_of(np.array([pulse(ticks(seconds), 11.0, bore / 8) for bore in range(8)]), RATE) is None


@pytest.mark.parametrize("phase", np.arange(24) / 24)
def test_every_stroke_of_a_whole_cycle_is_looked_at_and_no_part_of_one(phase: float) -> None:
    """Four seconds at 900 rpm are thirty cycles, one of them cut in two by the ends. One stroke at a time is left out:
    of all whose third of a cycle lies well inside the time that is looked at, and of none that ended before it."""
    turned = ticks(4.0) * 7.5 + phase
    clean = pulse(turned, 2.0)
    assert missed(clean, RATE, 15.0, 4.0) == 0
    for cycle in range(10, 29):
        begins, ends = (cycle - phase) / 7.5, (cycle + 1 / 3 - phase) / 7.5
        found = missed(np.where(np.floor(turned) == cycle, 0.0, clean), RATE, 15.0, 2.0)
        if begins > 2.1 and ends < 3.85:
            assert found == 1
        elif ends < 1.9:
            assert found == 0
