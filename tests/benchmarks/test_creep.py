"""The creep benchmark on few engines: it runs, and the figures are not far off."""

from app.sync.engine.layout import Coupler, StopScrew
from app.sync.slips.creep import LIMIT
from tests.benchmarks.creep import VISITS, Scores, highest, histories, seen, single, summed
from tests.benchmarks.returning import Rough, layout_of, share


def test_creep_of_two_sigma_a_visit_is_seen_and_named() -> None:
    told = histories(layout_of(8), Rough(), 8, 1, 2.0)
    results = [(truth, *seen(summed, by_adjuster, LIMIT)) for truth, by_adjuster, _ in told]
    assert share([at <= VISITS for _, at, _ in results]) >= 0.75
    assert share([truth == named for truth, at, named in results if at <= VISITS]) >= 0.75


def test_the_highest_limit_is_the_last_one_that_still_alarms() -> None:
    a, b = StopScrew("A"), Coupler(2, 3)
    visits: Scores = [{a: 1.0, b: 0.0}, {a: 2.0, b: -3.5}, {a: 2.0, b: 0.5}]
    for rule in (single, summed):
        limit = highest(rule, visits)
        assert seen(rule, visits, limit - 0.01)[0] <= 3
        assert seen(rule, visits, limit + 0.01) == (4, None)
