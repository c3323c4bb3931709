"""Means of a pulsating runner against closed forms."""

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.signal.windows import hann

from app.sync.signals.averaging import (
    NOISE_BANDWIDTH,
    SLOWER,
    flow_of,
    hann_mean,
    hann_weights,
    slow_error,
    standard_error,
    window_for,
)
from tests.sync.signals.traces import RATE, pulse, ticks


def test_the_harmonics_of_that_pulse_are_those_of_its_fourier_integral() -> None:
    """Amplitudes 1.80, 1.29, 0.67, 0.16 of the mean and an rms of 1.64, by quadrature of the Fourier integral."""
    at = (np.arange(200_000) + 0.5) / 200_000
    wave = pulse(at, 2.0)
    found = [2 * abs(np.mean(wave * np.exp(-2j * np.pi * k * at))) for k in range(1, 5)]
    assert found == pytest.approx([1.80, 1.29, 0.67, 0.16], abs=0.01)
    assert math.sqrt(np.mean(wave**2) / 1) == pytest.approx(math.sqrt(1 + sum(f**2 for f in found) / 2), abs=0.01)


@given(rpm=st.floats(700, 1200), phase=st.floats(0, 1))
def test_two_seconds_at_two_hundred_a_second_are_right_to_a_percent_and_a_half(rpm: float, phase: float) -> None:
    times = ticks(2.0)
    assert hann_mean(times, pulse(times, rpm / 60, phase), 2.0) == pytest.approx(1.0, abs=0.015)


def test_the_weights_are_the_hann_window() -> None:
    """scipy.signal.windows, the periodic form, normalized."""
    expected = hann(400, sym=False)
    assert hann_weights(np.arange(400) / RATE, 2.0, 2.0) == pytest.approx(expected / expected.sum())


def test_the_variance_of_the_mean_is_one_and_a_half_of_a_plain_one() -> None:
    weights = hann_weights(np.arange(400) / RATE, 2.0, 2.0)
    assert 400 * float((weights**2).sum()) == pytest.approx(NOISE_BANDWIDTH)


@pytest.mark.parametrize("swing", [0.2, 0.5])
def test_the_root_comes_before_the_mean(swing: float) -> None:
    """A drop of (1 + m sin)^2 has the root 1 + m sin, whose mean is 1; the root of the mean is sqrt(1 + m^2 / 2)."""
    times = ticks(4.0)
    drops = (1 + swing * np.sin(2 * np.pi * 7.5 * times)) ** 2
    flows = np.array([flow_of(drop, 1.0) for drop in drops])
    assert hann_mean(times, flows, 4.0, 4.0) == pytest.approx(1.0, abs=1e-4)
    assert math.sqrt(hann_mean(times, drops, 4.0, 4.0)) == pytest.approx(math.sqrt(1 + swing**2 / 2), abs=1e-4)


def test_flow_backwards_counts_as_such() -> None:
    assert flow_of(-9.0, 1.0) == pytest.approx(-3.0)


def test_a_slow_engine_is_averaged_for_eight_cycles() -> None:
    assert window_for(400 / 60) == pytest.approx(8 * 120 / 400)


def test_nothing_is_the_mean_of_nothing() -> None:
    assert math.isnan(hann_mean(np.array([]), np.array([]), 2.0))
    assert standard_error(np.array([]), np.array([]), 2.0, 2.0, 0.133) == math.inf


@pytest.mark.parametrize("speed", [1e4, 1e9, 1e307])
def test_a_speed_that_no_engine_has_leaves_the_error_unknown(speed: float) -> None:
    """By hand: a block is 8 / speed seconds, of which 4 s would hold 5,000, or more than memory does."""
    times = ticks(4.0)
    assert standard_error(times, 1 + 0.01 * np.sin(times), 4.0, 4.0, 2 / speed) == math.inf


@pytest.mark.parametrize("scatter", [0.02, 0.06])
def test_the_stated_error_is_about_the_real_one(scatter: float) -> None:
    """Cycles that differ from each other at random, by ``scatter`` of the mean: 200 traces, each window of 4 s."""
    rng, times, speed = np.random.default_rng(7), ticks(4.0), 15.0
    cycle = np.floor(times * speed / 2).astype(int)
    found, told = [], []
    for _ in range(200):
        sizes = 1 + scatter * rng.standard_normal(cycle.max() + 1)
        slow = 1 + SLOWER * rng.standard_normal()
        trace = slow * sizes[cycle] * (1 + 0.5 * (pulse(times, speed, rng.random()) - 1))
        found.append(hann_mean(times, trace, 4.0, 4.0))
        told.append(standard_error(times, trace, 4.0, 4.0, 2 / speed))
    assert 0.9 < np.sqrt(np.mean(np.square(told))) / np.std(found) < 1.5


@pytest.mark.parametrize(("rate", "lag"), [(10.0, 0.2), (10.0, 1.0)])
def test_what_a_slow_instrument_leaves_is_the_amplitude_of_a_first_order_lag(rate: float, lag: float) -> None:
    """The response 1 / (1 + 2 pi i f T) of a first-order lag (any control text), evaluated as a complex number."""
    assert slow_error(rate, lag) == pytest.approx(abs(1 / (1 + 2j * math.pi * rate * lag)))
