"""The slips benchmark on few engines: it runs, and the figures are not far off."""

import numpy as np
import pytest

from app.sync.engine.layout import Coupler, StopScrew
from app.sync.engine.plate import open_area
from tests.benchmarks.hardware import HARDWARE
from tests.benchmarks.returning import DIAMETER, SHAFT, Fleet, Rough, layout_of, plate_area, share
from tests.benchmarks.slips import SHARED, TESTING, Setting, carrier, knowing, visits


def test_the_simulator_agrees_with_the_plate_of_the_brain() -> None:
    fleet = Fleet(layout_of(4), 3, np.random.default_rng(1), Rough())
    angle, closed = float(fleet.angle[1, 2]), float(fleet.closed[1, 2])
    assert plate_area(fleet.angle, fleet.closed)[1, 2] == pytest.approx(open_area(angle, DIAMETER, SHAFT, closed))
    # It was left idling as wanted, and the same plates on the same day draw the same air again.
    assert fleet.speed * 60 == pytest.approx(850, abs=0.1)
    opened, _ = fleet.breathe(fleet.angle + 0.001, fleet.day)
    assert (opened > fleet.flow).all()


def test_the_adjuster_that_carries_a_bore() -> None:
    layout = layout_of(8)
    assert [carrier(layout, bore) for bore in (1, 2, 4)] == [Coupler(2, 1), StopScrew("A"), Coupler(3, 4)]


def test_large_slips_are_named_and_quiet_visits_are_left_alone() -> None:
    setting = Setting(layout_of(8), Rough(), TESTING + 5, {})
    quiet = setting.tell("tool", visits(setting.layout, setting.rough, 40, setting.seed, 0))
    assert share([one.named is not None for one in quiet]) <= 0.05
    seen = visits(setting.layout, setting.rough, 40, setting.seed, 1, 6.0)
    told = setting.tell("tool", seen)
    spoke = [one.named in visit.truth for one, visit in zip(told, seen, strict=True) if one.named is not None]
    assert len(spoke) >= 32
    assert share(spoke) >= 0.9
    plain = setting.tell("most changed", seen)
    firsts = [share([one.first in visit.truth for one, visit in zip(who, seen, strict=True)]) for who in (told, plain)]
    assert firsts[0] > firsts[1]


def test_who_knows_the_size_of_a_slip_names_it_on_shared_shafts_too() -> None:
    layout, meter = HARDWARE[SHARED[0]], Rough().meter
    counts = [3] * len(layout.bores)
    quiet = [knowing(layout, one, meter, counts, 6.0).alarm for one in visits(layout, Rough(), 30, TESTING + 6, 0)]
    seen = visits(layout, Rough(), 30, TESTING + 6, 1, 6.0)
    told = [knowing(layout, visit, meter, counts, 6.0) for visit in seen]
    assert share([one.first in visit.truth for one, visit in zip(told, seen, strict=True)]) >= 0.7
    assert np.median([one.alarm for one in told]) > max(quiet)
