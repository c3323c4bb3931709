"""What changed between two visits, by columns behind a common plenum and by bores that are each on their own."""

from dataclasses import replace

import pytest

from app.sync.engine.events import Meter
from app.sync.engine.layout import Bank, Layout
from app.sync.engine.units import KPA
from app.sync.slips.changes import Pooled, log_changes, no_slip_covariance

COLUMN = Meter("vacuum", step=0.1 * KPA, repeatability=0.005)
ALONE = Layout((Bank("A", (1, 2), 1, 1),))
JOINED = Layout((Bank("A", (1, 2), 1, 1),), plenum=True)


@pytest.mark.parametrize("layout", [ALONE, JOINED])
def test_columns_found_as_left_are_no_change(layout: Layout) -> None:
    as_left = {1: Pooled(25 * KPA, 2), 2: Pooled(24 * KPA, 2)}
    bores, changes, _ = log_changes(layout, as_left, as_left, COLUMN)
    assert bores == (1, 2)
    assert changes == pytest.approx([0.0, 0.0], abs=1e-12)


def test_the_same_fall_of_a_column_is_more_air_where_a_plenum_joins_the_runners() -> None:
    """With one pressure behind all plates a column says less of its own bore."""
    left, found = {1: Pooled(25 * KPA, 2)}, {1: Pooled(23 * KPA, 2)}
    (alone,), (joined,) = (log_changes(layout, left, found, COLUMN)[1] for layout in (ALONE, JOINED))
    assert 0 < 1.5 * alone < joined


def test_a_bore_is_as_unsure_as_its_readings_its_ageing_and_their_quarrel() -> None:
    """By hand of a flow meter that repeats within 2 %: 0.02 squared over three and over two readings, 0.008 squared;
    0.03 squared of an engine that was not hot; 0.15 squared once more where readings contradict one another."""
    meter = Meter(step=1e-12, repeatability=0.02)
    left, found = {1: Pooled(2e-3, 3), 2: Pooled(2e-3, 3)}, {1: Pooled(2e-3, 2), 2: Pooled(2e-3, 2, agreed=False)}
    _, _, hot = log_changes(ALONE, left, found, meter)
    assert hot == pytest.approx([0.02**2 * (1 / 3 + 1 / 2) + 0.008**2, 0.02**2 * 5 / 6 + 0.008**2 + 0.15**2])
    _, _, cold = log_changes(ALONE, left, found, meter, heat_soaked=False)
    assert cold - hot == pytest.approx([0.03**2 - 0.008**2] * 2)


def test_what_the_scales_of_two_sensors_may_be_off_by_makes_a_bore_less_sure() -> None:
    """By hand: 1 % and 2 % on top of what the readings leave open, squared."""
    meter = Meter(step=1e-12, repeatability=0.02)
    one, other = Pooled(2e-3, 3), Pooled(2.2e-3, 2)
    _, _, alike = log_changes(ALONE, {1: one}, {1: other}, meter)
    _, _, apart = log_changes(ALONE, {1: replace(one, apart=0.01)}, {1: replace(other, apart=0.02)}, meter)
    assert apart - alike == pytest.approx([0.01**2 + 0.02**2])


def test_a_column_is_held_against_the_air_of_its_own_day() -> None:
    """A quarter of the day's pressure is the same air on a mountain as it was by the sea."""
    sea, mountain = (replace(COLUMN, ambient=ambient) for ambient in (101.325 * KPA, 84.0 * KPA))
    left, found = ({1: Pooled(meter.ambient / 4, 2)} for meter in (sea, mountain))
    assert log_changes(ALONE, left, found, mountain, left_meter=sea)[1] == pytest.approx([0.0], abs=1e-12)
    assert abs(log_changes(ALONE, left, found, mountain)[1][0]) > 0.05


def test_what_all_bores_share_is_in_every_covariance() -> None:
    """By hand: wander of 0.007 in each round and half of two tachometers' 0.008: 0.0000980 + 0.0000320."""
    alike = dict.fromkeys((1, 2), Pooled(2e-3, 3))
    covariance = no_slip_covariance(log_changes(ALONE, alike, alike, Meter())[2], common_known=True)
    assert covariance[0, 1] == pytest.approx(2 * 0.007**2 + 2 * 0.004**2)


@pytest.mark.parametrize(
    ("readings", "strays", "agreed", "thin"),
    [(1, 0, True, True), (2, 0, True, False), (2, 1, True, True), (3, 1, True, False), (4, 2, True, True),
     (5, 2, True, False), (1, 0, False, False)],
)  # fmt: skip
def test_a_mean_is_thin_when_one_more_misread_value_would_make_it_wrong(
    readings: int, strays: int, agreed: bool, thin: bool
) -> None:
    """One reading, or kept readings no more than two to one stray: the next misread one would be the majority."""
    assert Pooled(25 * KPA, readings, agreed, strays).thin is thin
