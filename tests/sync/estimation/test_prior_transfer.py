"""What earlier visits taught: carried where it still holds, in doubt where it may not."""

from dataclasses import replace

import numpy as np
import pytest

from app.sync.engine.engine_air import usual_breathing
from app.sync.engine.events import IdleSpeed, Meter, Reading
from app.sync.engine.hardware import Figure, likely_hardware
from app.sync.engine.layout import Bank, Layout
from app.sync.estimation.filter import predicted_readings, update
from app.sync.estimation.posterior import Posterior, prior_for
from app.sync.estimation.prior_transfer import prior_from_history

FOUR = Layout((Bank("A", (1, 2, 3, 4), 2, 1),))
HARDWARE = likely_hardware(2e-3, 4)
SPEED = 850 / 60
LEAKS, SCALE, DEMAND = slice(4, 8), -2, -1
AGED = [*range(4, 8), SCALE, DEMAND]
"""What is in doubt again by the next visit."""


def fresh() -> Posterior:
    return prior_for(FOUR, HARDWARE, usual_breathing(4, 2e-3, SPEED))


def known() -> Posterior:
    """An engine that was read: a meter that shows a tenth too much, an idle below the one wanted."""
    shown, _ = predicted_readings(fresh(), Meter())
    seen = [Reading(b, 1.1 * float(v), 0.0) for b, v in zip(FOUR.bores, shown, strict=True)]
    return update(fresh(), Meter(), [*seen, IdleSpeed(0.93 * SPEED, 0.0)])


def spreads(posterior: Posterior) -> np.ndarray:
    return np.sqrt(np.diag(posterior.covariance))


def test_leaks_scale_and_demand_are_carried_and_gaps_are_not() -> None:
    carried = prior_from_history(known(), fresh(), same_meter=True, same_air=True)
    assert carried.gaps == pytest.approx(fresh().gaps)
    assert carried.mean[4:] == pytest.approx(known().mean[4:])
    assert (spreads(known())[AGED] < spreads(carried)[AGED]).all()
    assert spreads(carried)[DEMAND] < spreads(fresh())[DEMAND]


def test_another_meter_has_a_scale_of_its_own() -> None:
    carried = prior_from_history(known(), fresh(), same_meter=False, same_air=True)
    assert carried.mean[SCALE] == 0.0
    assert spreads(carried)[SCALE] == spreads(fresh())[SCALE]
    assert carried.covariance[SCALE, :SCALE] == pytest.approx(0.0)
    assert carried.mean[DEMAND] == known().mean[DEMAND]


def test_another_exhaust_leaves_the_demand_in_doubt() -> None:
    carried = prior_from_history(known(), fresh(), same_meter=True, same_air=False)
    assert carried.mean[DEMAND] == 0.0
    assert spreads(carried)[DEMAND] == spreads(fresh())[DEMAND]
    assert carried.mean[LEAKS] == pytest.approx(known().mean[LEAKS])


@pytest.mark.parametrize(
    "other",
    [
        prior_for(FOUR, replace(HARDWARE, bore_diameter=Figure(0.05, True)), usual_breathing(4, 2e-3, SPEED)),
        prior_for(Layout((Bank("A", (1, 2, 3, 4), 1, 1),)), HARDWARE, usual_breathing(4, 2e-3, SPEED)),
        prior_for(Layout((Bank("A", (1, 2), 1, 1),)), HARDWARE, usual_breathing(2, 1e-3, SPEED)),
    ],
)
def test_other_parts_leave_nothing_but_the_meters_scale(other: Posterior) -> None:
    carried = prior_from_history(known(), other, same_meter=True, same_air=True)
    assert carried.mean[:SCALE] == pytest.approx(other.mean[:SCALE])
    assert carried.mean[DEMAND] == other.mean[DEMAND]
    assert spreads(carried)[:SCALE] == pytest.approx(spreads(other)[:SCALE])
    assert carried.mean[SCALE] == known().mean[SCALE]


def test_a_visit_without_the_meter_teaches_nothing_and_only_ages_what_was_known() -> None:
    once = prior_from_history(known(), fresh(), same_meter=True, same_air=True)
    twice = prior_from_history(once, fresh(), same_meter=True, same_air=True)
    assert twice.mean == pytest.approx(once.mean)
    assert (spreads(twice)[AGED] > spreads(once)[AGED]).all()
