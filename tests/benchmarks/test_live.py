"""What live values save is measured on visits that end, and streaming leaves the saving of readings alone."""

from statistics import median

import pytest

from tests.benchmarks.live import FIRST, WAYS, line, one_visit
from tests.benchmarks.streaming import ALONE, STREAMED, side_by_side


def test_each_way_to_read_takes_less_time_than_the_one_before() -> None:
    found = [[one_visit(seed, 8, way) for seed in range(FIRST, FIRST + 3)] for way in WAYS]
    minutes = [sum(one.minutes for one in of) for of in found]
    assert minutes[0] > minutes[1] > minutes[2]
    assert all(one.said.startswith("done") and one.readings for of in found[:2] for one in of)
    assert all(one.said != "no end" for one in found[2])
    assert line(8, WAYS[0], found[0]).startswith(" 8 bores, typed")


@pytest.mark.slow
def test_streaming_leaves_saving_alone() -> None:
    """The goal of 1.5 times at 95 of 100 is read off the table; here half of them may take three times as long."""
    times = side_by_side(100)
    assert median(times[STREAMED]) < 3 * median(times[ALONE])
