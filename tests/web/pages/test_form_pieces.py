"""Fields and drift charts, rendered with plain facts."""

import re
from itertools import pairwise
from xml.etree import ElementTree

import pytest

from app.web.presenters.history.drift_chart import DriftChart
from app.web.presenters.history.drift_trace import Point, trace
from tests.web.pieces import NASTY, closed, piece


def test_a_field_keeps_what_was_typed_and_carries_its_message() -> None:
    html = piece("forms", "field('size', 'Size', nasty, nasty, 'In liters', 'number', 'L')", nasty=NASTY)
    found = ElementTree.fromstring(closed(html))
    box = found.find(".//input")
    assert box is not None
    assert box.get("value") == NASTY
    assert box.get("inputmode") == "decimal"
    assert box.get("aria-invalid") == "true"
    described = (box.get("aria-describedby") or "").split()
    texts = {e.get("id"): e.text for e in found.iter("span")}
    assert [texts[name] for name in described] == ["In liters", NASTY]
    label = found.find("label")
    assert label is not None
    assert label.get("for") == box.get("id")


def test_a_field_without_message_makes_no_claim() -> None:
    html = piece("forms", "field('size', 'Size')")
    assert "aria-" not in html


@pytest.mark.parametrize(("macro", "chosen"), [("select", "selected"), ("choices", "checked")])
def test_one_option_is_chosen(macro: str, chosen: str) -> None:
    html = piece("forms", f"{macro}('n', 'N', [(1, 'one'), (2, 'two')], '2', 'Say which')")
    assert len(re.findall(rf'value="2" {chosen}>', html)) == 1
    assert html.count(chosen) == 1
    assert "Say which" in html


# Drift


DAY = 24 * 3600.0


def chart(*seen: tuple[float | None, float | None], drifts: bool = False) -> DriftChart:
    points = [Point(visit, found, left, at=visit * DAY) for visit, (found, left) in enumerate(seen, 1)]
    return DriftChart("3", "drifts wide", trace(points, 0.08, 0.04), drifts, "Bore 3, drifts wide")


def test_drift_draws_found_left_and_the_way_between() -> None:
    drawn = chart((0.16, 0.0), (0.08, None), (0.72, 0.0), drifts=True)
    html = piece("drift", "drift_chart(chart)", chart=drawn)
    paths = dict(re.findall(r'class="draw-(\w+)" d="([^"]+)"', html))
    assert drawn.trace.found.count("M") == 2
    assert paths["left"].count("M") == 2
    assert paths["adjusted"].count("M") == 2
    assert paths["use"].count("M") == 2
    assert "is-drifting" in html
    assert drawn.trace.beyond.count("z") == 1  # far out is a triangle at the edge
    assert all(0 <= float(y) <= 164 for y in re.findall(r"M\S+ (\S+?)h", drawn.trace.beyond))


def test_drift_of_a_bore_never_read_is_an_empty_chart() -> None:
    html = piece("drift", "drift_chart(chart)", chart=chart((None, None)))
    assert "draw-found" not in html
    assert 'aria-label="Bore 3, drifts wide"' in html


def test_drift_is_drawn_to_scale_of_dates_and_per_cent() -> None:
    """Visits on day 0, 100 and 400: the second stands a quarter of the way. 12 % is half as high as 24 %."""
    points = [
        Point(n, share, None, at=DAY * day) for n, (day, share) in enumerate(((0, 0.0), (100, 0.12), (400, 0.24)))
    ]
    drawn = trace(points, 0.08, 0.0, axis=True)
    squares = [(float(x), float(y)) for x, y in re.findall(r"M(\S+) (\S+?)h", drawn.found)]
    (first, zero), (second, half), (last, full) = squares
    assert (second - first) / (last - first) == pytest.approx(0.25, abs=0.03)  # room for visits of one day is kept
    assert (zero - half) / (zero - full) == pytest.approx(0.5)
    assert [figure for _, figure in drawn.axis] == ["+16", "0", "−16"]
    assert drawn.axis[1][0] == zero + 5  # a square's corner is half its width above its middle


def test_visits_of_one_day_stand_side_by_side() -> None:
    drawn = trace([Point(n, 0.0, None) for n in range(1, 4)], 0.08, 0.0)
    places = [float(x) for x in re.findall(r"M(\S+) ", drawn.found)]
    assert len(set(places)) == 3


def test_drift_over_many_visits_keeps_its_dates_apart() -> None:
    points = [Point(n, 0.0, 0.0, day=f"Jan {n}", at=n * DAY) for n in range(1, 41)]
    dates = trace(points, 0.08, 0.04).dates
    assert [words for _, words in dates][:: len(dates) - 1] == ["Jan 1", "Jan 40"]
    assert all(later - earlier >= 58 for (earlier, _), (later, _) in pairwise(dates))
