"""The banks benchmark on few engines: it runs, and the figures are not far off."""

import numpy as np

from app.sync.banks.banks import BankAssessment, Extra
from app.sync.banks.link_hypotheses import Cause
from tests.benchmarks.banks import PAIR, Shed, one_wrong, right_reading
from tests.benchmarks.returning import Rough, layout_of, share

ENGINES = 10


def test_a_wrong_length_is_recovered_within_a_flat_and_waits_for_the_joints() -> None:
    links = one_wrong(ENGINES, 1, 0.009, 0.0, 0.0)
    shed = Shed(layout_of(8), Rough(), links, 1)
    rounds = [shed.read(travel) for travel in PAIR]
    read = [[row[engine] for row in rounds] for engine in range(ENGINES)]
    tight = [shed.tell(engine, read[engine], joints_tight=True) for engine in range(ENGINES)]
    errors = np.abs([story.offset for story in tight] - links.offset)
    assert share(errors < 0.0044) >= 0.8
    assert share([story.cause == "length" for story in tight]) >= 0.8
    felt_nothing = [shed.tell(engine, read[engine]) for engine in range(ENGINES)]
    assert share([story.cause == "unknown" and right_reading(story, Cause.LENGTH) for story in felt_nothing]) >= 0.8


def test_lost_motion_is_told_by_reaching_the_opening_from_above() -> None:
    followed = Shed(layout_of(8), Rough(), one_wrong(6, 2, 0.0, 0.0, 0.009), 2).follow()
    assert share([one.last.cause == "slack" for one in followed]) >= 0.8
    assert all("both_ways" in one.asked for one in followed if one.last.cause == "slack")


def test_only_a_reading_that_tells_the_two_apart_counts_as_right() -> None:
    odds = {Cause.LENGTH: 0.6, Cause.SLACK: 0.3, Cause.NOTHING: 0.1}
    story = BankAssessment(Cause.UNKNOWN, odds=odds, extra=Extra.BOTH_WAYS)
    assert right_reading(story, Cause.LENGTH)
    assert not right_reading(BankAssessment(Cause.UNKNOWN, odds=story.odds, extra=Extra.AGAIN), Cause.LENGTH)
