"""What readings prove of an engine is named, and a bore that may have lost motion is read again until they tell."""

import numpy as np
import pytest

from app.sync.engine.events import Event, Meter, Reading, StopTurn
from app.sync.engine.hardware import likely_hardware
from app.sync.engine.layout import Bank, Layout
from app.sync.engine.units import KG_PER_HOUR, LITER
from app.sync.estimation.filter import stacked
from app.sync.estimation.foretold import Surprise
from app.sync.estimation.posterior import start_prior
from app.sync.estimation.visit_hypotheses import Judged
from app.sync.planning.advice import AdviceKind, AdviceReason
from app.sync.planning.faults import LEAST_LOOKS, MOST_LOOKS, fault_to_name

FOUR = Layout((Bank("A", (1, 2, 3, 4), 2, 1),))
START = start_prior(FOUR, likely_hardware(2 * LITER, 4), 2 * LITER, 850 / 60)
TURN = StopTurn("A", 0.0625, 0.0)


def told(lost_motion: float, events: list[Event]) -> tuple[object, object] | None:
    """What is asked for or named where the third bore's plate has lost motion with that chance."""
    found = Judged(START, Meter(), stacked([START]), np.ones(1), 1.0, {}, {3: lost_motion}, Surprise())
    advice = fault_to_name(found, events)
    return (advice.kind, advice.why) if advice is not None else None


def read(times: int, bore: int = 3) -> list[Event]:
    """The same bore read so many times."""
    return [Reading(bore, 6 * KG_PER_HOUR, 20.0 * n) for n in range(times)]


@pytest.mark.parametrize("lost_motion", [0.15, 0.6, 0.94])
def test_a_bore_that_may_have_lost_motion_is_read_with_its_plate_moved_in_between(lost_motion: float) -> None:
    assert told(lost_motion, read(MOST_LOOKS - 1)) == (AdviceKind.MEASURE, AdviceReason.LOST_MOTION_CHECK)
    others = read(MOST_LOOKS, bore=2)
    of_another = told(lost_motion, others)
    assert of_another == (AdviceKind.MEASURE, AdviceReason.LOST_MOTION_CHECK), "readings of another bore tell nothing"
    assert told(lost_motion, read(MOST_LOOKS)) is None


def test_it_is_named_once_it_is_as_good_as_certain_and_never_by_few_readings() -> None:
    assert told(0.97, read(LEAST_LOOKS - 1)) == (AdviceKind.MEASURE, AdviceReason.LOST_MOTION_CHECK)
    assert told(0.97, read(LEAST_LOOKS)) == (AdviceKind.CANNOT, AdviceReason.SCATTER)


def test_looks_from_before_a_move_do_not_count() -> None:
    assert told(0.94, [*read(MOST_LOOKS), TURN]) == (AdviceKind.MEASURE, AdviceReason.LOST_MOTION_CHECK)


def test_a_bore_that_hardly_has_lost_motion_is_left_alone() -> None:
    assert told(0.02, read(1)) is None
