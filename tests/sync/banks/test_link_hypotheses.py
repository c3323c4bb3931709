"""Hypotheses of what parts two banks: spreads that add up to one, and odds that follow what was seen."""

import numpy as np
import pytest

from app.sync.banks.link_hypotheses import OFFSETS, RATIOS, Cause, LinkPosterior, expected_shares, posterior_weights
from app.sync.slips.changes import Floats

GAIN = 12.0
"""Of ln(flow) for each radian, the same at every opening."""

LEVER = np.array([0.015, 0.035])


def weighed(observed: list[float], ratios: Floats = RATIOS, gauged: float | None = None) -> LinkPosterior:
    """What two openings tell, where fingers found both joints tight and free play at both rods."""
    openings = np.linspace(0.0, 0.2, 41)
    curve = GAIN * openings
    return posterior_weights(
        LEVER,
        np.zeros(2, dtype=bool),
        np.array(observed),
        np.eye(2) * 0.01**2,
        (openings, curve, curve),
        0.05,
        expected_shares(True, True, gauged),
        ratios,
    )


@pytest.mark.parametrize("observed", [[0.0, 0.0], [0.06, 0.06], [0.02, 0.05]])
def test_every_spread_adds_up_to_one_and_so_do_the_odds(observed: list[float]) -> None:
    found = weighed(observed)
    for spread in (found.offsets, found.offsets_if_length, found.ratios):
        assert spread.sum() == pytest.approx(1.0)
        assert (spread >= 0).all()
    assert sum(found.odds.values()) == pytest.approx(1.0)
    assert (len(found.offsets), len(found.ratios)) == (len(OFFSETS), len(RATIOS))


@pytest.mark.parametrize("early", [0.006, -0.006])
def test_a_length_is_told_by_a_difference_that_stays_and_its_offset_by_the_gain(early: float) -> None:
    """The second bank 6 mrad early at 12 a radian stands 0.072 higher at either opening, whatever the free play."""
    found = weighed([GAIN * early] * 2)
    assert max(found.odds, key=lambda cause: found.odds[cause]) is Cause.LENGTH
    assert float(OFFSETS @ found.offsets_if_length) == pytest.approx(early, abs=0.001)


def test_a_ratio_is_told_by_a_difference_that_grows_with_the_lever() -> None:
    """A twelfth more lever: 12 x 0.12 x 15 and 35 mrad."""
    found = weighed([float(GAIN * 0.12 * lever) for lever in LEVER])
    assert found.unequal > 0.5 > weighed([0.0, 0.0]).unequal
    slower = weighed([float(-GAIN * 0.12 * lever) for lever in LEVER])
    assert float(RATIOS @ found.ratios) > 0.02
    assert float(RATIOS @ slower.ratios) == pytest.approx(-float(RATIOS @ found.ratios), rel=1e-6)


def test_what_was_proven_or_gauged_has_no_odds() -> None:
    assert weighed([0.0, 0.0]).odds[Cause.SLACK] == weighed([0.0, 0.0]).odds[Cause.HELD] == 0.0
    equal = weighed([0.02, 0.05], np.array([0.0]), 0.0)
    assert (equal.odds[Cause.RATIO], equal.unequal) == (0.0, 0.0)
    unequal = weighed([0.02, 0.05], np.array([0.12]), 0.12)
    assert unequal.odds[Cause.NOTHING] == 0.0
    assert unequal.unequal == pytest.approx(1.0)


def test_shares_before_any_reading_add_up_to_one() -> None:
    for proven in (False, True):
        for tight in (False, True):
            for gauged in (None, 0.0, 0.05):
                for both_ways in (False, True):
                    shares = expected_shares(proven, tight, gauged, both_ways)
                    assert sum(shares.values()) == pytest.approx(1.0)
                    assert (shares["held"] == 0.0) is proven
                    assert (shares["slack"] == 0.0) is (tight and not both_ways)


def test_a_gauge_of_a_fifth_of_a_degree_tells_levers_apart_from_three_times_its_error_on() -> None:
    """0.4 % of the travel of a pedal."""
    told = {gauged: expected_shares(True, True, gauged) for gauged in (0.011, -0.011, 0.012, -0.012, 0.013, -0.013)}
    assert all((told[gauged]["ratio"] == 0.0) is (abs(gauged) < 0.012) for gauged in told)
    assert all((told[gauged]["nothing"] == 0.0) is (abs(gauged) >= 0.012) for gauged in told)


def test_a_finger_that_may_err_leaves_what_was_read_both_ways_a_twentieth() -> None:
    loose, felt = (expected_shares(True, tight, None, both_ways=True) for tight in (False, True))
    assert felt["slack"] / felt["length"] == pytest.approx(0.05 * loose["slack"] / loose["length"])


def test_a_bank_may_leave_its_stop_after_a_milliradian() -> None:
    """At a lever of 1.8 mrad, a bank with 1 mrad of free play has opened by 0.8, which is 12 x 0.0008 in ln(flow), and
    one that stands still beside it leaves at least as much later. With more free play neither would have moved.
    """
    openings = np.linspace(0.0, 0.2, 2001)
    curves = (openings, GAIN * openings, GAIN * openings)
    shares = expected_shares(True, True, None)
    one = np.ones(1)
    found = posterior_weights(
        0.0018 * one, np.zeros(1, dtype=bool), -GAIN * 0.0008 * one, np.eye(1) * 0.001**2, curves, 0.05, shares, RATIOS
    )
    assert float(OFFSETS @ found.offsets) < -0.0008
