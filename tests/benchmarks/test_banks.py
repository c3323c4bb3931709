"""The banks benchmark on few engines: it runs, and the figures are not far off."""

import numpy as np
import pytest

from app.sync.banks.banks import Z95, BankAssessment, Extra
from app.sync.banks.link_hypotheses import Cause
from app.sync.engine.linkage import link_rotation
from tests.benchmarks.banks import HARDWARE, PAIR, TESTING, Shed, one_wrong, right_reading, wrong_links
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


@pytest.mark.parametrize("bores", [4, 8])
def test_the_flats_offered_are_as_good_as_is_said(bores: int) -> None:
    """Of 95 % bands nine in ten have to hold what would truly bring the banks together: sixty engines tell no finer."""
    links = wrong_links(60, 1)
    shed = Shed(layout_of(bores), Rough(), links, TESTING + 1)
    rounds = [shed.read(travel) for travel in PAIR]
    stories = [shed.tell(engine, [row[engine] for row in rounds], joints_tight=True) for engine in range(60)]
    flat = link_rotation(1.0, HARDWARE)
    offered = [(story, abs(offset) / flat) for story, offset in zip(stories, links.offset, strict=True) if story.flats]
    assert len(offered) > 25
    assert share([abs(abs(story.flats) - needed) < Z95 * story.flats_sd for story, needed in offered]) >= 0.9
    assert max(story.flats_sd for story, _ in offered) < 2.0, "a band that says nothing holds anything"
    assert all((story.bank == "B") == (story.offset > 0) for story, _ in offered)


def test_lost_motion_is_told_by_reaching_the_opening_from_above() -> None:
    followed = Shed(layout_of(8), Rough(), one_wrong(6, 2, 0.0, 0.0, 0.009), 2).follow()
    assert share([one.last.cause == "slack" for one in followed]) >= 0.8
    assert all("both_ways" in one.asked for one in followed if one.last.cause == "slack")


def test_only_a_reading_that_tells_the_two_apart_counts_as_right() -> None:
    odds = {Cause.LENGTH: 0.6, Cause.SLACK: 0.3, Cause.NOTHING: 0.1}
    story = BankAssessment(Cause.UNKNOWN, odds=odds, extra=Extra.BOTH_WAYS)
    assert right_reading(story, Cause.LENGTH)
    assert not right_reading(BankAssessment(Cause.UNKNOWN, odds=story.odds, extra=Extra.AGAIN), Cause.LENGTH)
