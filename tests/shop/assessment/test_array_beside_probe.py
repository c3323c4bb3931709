"""What sensors of their own differ by is no slip, no moved plate and no bank apart; a real change still is one."""

from collections.abc import Sequence

import pytest

from app.shop.assessment.tightening import moved_bores
from app.shop.assessment.visit_summary import build_history
from app.shop.commands import readings
from app.shop.commands.readings import NewReading
from app.shop.procedure.items import Phase
from app.shop.procedure.phases import HEAT_SOAKED, LOCK_DOWN
from app.shop.procedure.read_order import next_reading
from app.shop.store.database import Database
from app.sync.banks.bank_means import bank_change
from app.sync.engine.events import Meter, Reading
from app.sync.readings.carried import alike_read, like_read, with_scales
from app.sync.slips.changes import log_changes, pool
from tests.shop.yard import AT, FOUR, check_all, heat_soaked, idles, key, visit_record

OFF = (1.0, 1.05, 0.97, 1.04)
"""Scales of four sensors that nobody compared."""

EVEN = 6.5


def read_round(shop: Database, visit_id: int, phase: Phase, scales: Sequence[float], *, fixed: bool) -> None:
    """A round of the phase, by sensors of these scales or by one probe."""
    while (now := next_reading(visit_record(shop, visit_id), phase)).bore is not None:
        value = EVEN * scales[now.bore - 1]
        new = NewReading(phase.slug, now.round_number, now.bore, now.kind, value, "KM", sd=0.005, fixed=fixed)
        readings.add(shop, visit_id, key(), new, AT)


def tightened(
    shop: Database, before: Sequence[tuple[Sequence[float], bool]], after: tuple[Sequence[float], bool]
) -> tuple[int, ...]:
    """The bores that tightening moved, by rounds read before it and one after, each by sensors of their own or not."""
    visit_id = heat_soaked(shop, FOUR)
    for n, (scales, fixed) in enumerate(before):
        if n:
            readings.begin_round(shop, visit_id, key(), HEAT_SOAKED.slug, AT)
        read_round(shop, visit_id, HEAT_SOAKED, scales, fixed=fixed)
    idles(shop, visit_id, HEAT_SOAKED)
    check_all(shop, visit_id, LOCK_DOWN)
    read_round(shop, visit_id, LOCK_DOWN, after[0], fixed=after[1])
    return moved_bores(visit_record(shop, visit_id))


SOUND = (1.0,) * 4
MOVED = (1.0, 1.0, 1.13, 1.13)


def in_two(one: Sequence[float], other: Sequence[float]) -> tuple[float, ...]:
    return tuple(a * b for a, b in zip(one, other, strict=True))


PROBE, ARRAY = (SOUND, False), (OFF, True)


@pytest.mark.parametrize(
    ("before", "after", "moved"),
    [
        ([PROBE, PROBE], ARRAY, False),
        ([ARRAY, PROBE, PROBE], ARRAY, False),
        ([ARRAY, PROBE, PROBE], (in_two(OFF, MOVED), True), True),
        ([PROBE, PROBE], (MOVED, False), True),
    ],
)
def test_sensors_of_other_scales_moved_no_plate_in_tightening(
    shop: Database, before: Sequence[tuple[Sequence[float], bool]], after: tuple[Sequence[float], bool], moved: bool
) -> None:
    assert bool(tightened(shop, before, after)) is moved


def test_the_probe_speaks_for_a_visit_where_it_read_and_sensors_with_their_own_doubt_where_not(shop: Database) -> None:
    visit_id = heat_soaked(shop, FOUR)
    read_round(shop, visit_id, HEAT_SOAKED, OFF, fixed=True)
    alone = build_history(visit_record(shop, visit_id)).found
    assert alone is not None
    assert {one.apart for one in alone.pooled.values()} == {0.02}
    readings.begin_round(shop, visit_id, key(), HEAT_SOAKED.slug, AT)
    read_round(shop, visit_id, HEAT_SOAKED, SOUND, fixed=False)
    found = build_history(visit_record(shop, visit_id)).found
    assert found is not None
    assert {one.apart for one in found.pooled.values()} == {0.0}
    assert [one.mean * 3600 for one in found.pooled.values()] == pytest.approx([EVEN] * 4, rel=0.01)


def test_the_doubt_of_a_sensors_scale_does_not_average_out() -> None:
    many = {1: pool([2e-3] * 50, Meter(), 0.02), 2: pool([2e-3] * 50, Meter())}
    _, _, variances = log_changes(FOUR, many, many, Meter())
    assert variances[0] - variances[1] == pytest.approx(2 * 0.02**2, rel=0.05)


def by_bore(fixed: bool, *values: float) -> dict[int, list[Reading]]:
    return {n + 1: [Reading(n + 1, value, 20.0 * n, fixed=fixed)] for n, value in enumerate(values)}


def test_banks_are_compared_by_the_kind_that_read_them_each_time_or_with_its_doubt() -> None:
    both = {bore: [*those, *by_bore(True, 2.1e-3, 2.1e-3, 1.9e-3, 1.9e-3)[bore]]
            for bore, those in by_bore(False, 2e-3, 2e-3, 2e-3, 2e-3).items()}  # fmt: skip
    opened = [one for those in by_bore(True, 6.3e-3, 6.3e-3, 5.7e-3, 5.7e-3).values() for one in those]
    idle, (first,), differ = like_read(both, [opened])
    assert (idle[1], first[0], differ) == ([2.1e-3], (1, 6.3e-3), 0.0)
    idle, (first,), differ = like_read(by_bore(False, 2e-3, 2e-3, 2e-3, 2e-3), [opened])
    assert (idle[1], first[0], differ) == ([2e-3], (1, 6.3e-3), 0.02)
    sure = bank_change((1, 2), dict(first), {b: v[0] for b, v in idle.items()}, Meter(), False)
    doubted = bank_change((1, 2), dict(first), {b: v[0] for b, v in idle.items()}, with_scales(Meter(), differ), False)
    assert sure is not None
    assert doubted is not None
    assert doubted.sd > 1.3 * sure.sd


def test_each_kind_is_compared_with_itself_and_the_rest_is_told() -> None:
    first, second = by_bore(False, 2e-3, 2e-3), by_bore(False, 2e-3)
    second |= {2: [Reading(2, 2.2e-3, 0.0, fixed=True, alike=0.007)]}
    _, _, differ = alike_read(first, second)
    assert differ == {2: 0.007}
