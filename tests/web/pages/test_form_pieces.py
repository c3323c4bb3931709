"""Fields and drift charts, rendered with plain facts."""

import re
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


def chart(*seen: tuple[float | None, float | None], drifts: bool = False) -> DriftChart:
    points = [Point(visit, found, left) for visit, (found, left) in enumerate(seen, 1)]
    return DriftChart("3", "drifts wide", trace(points, 0.5), drifts, "Bore 3, drifts wide")


def test_drift_draws_found_left_and_the_way_between() -> None:
    drawn = chart((2.0, 0.0), (1.0, None), (9.0, 0.0), drifts=True)
    html = piece("drift", "drift_chart(chart)", chart=drawn)
    paths = dict(re.findall(r'class="draw-(\w+)" d="([^"]+)"', html))
    assert paths["found"].count("M") == 3
    assert paths["left"].count("M") == 2
    assert paths["adjusted"].count("M") == 2
    assert paths["use"].count("M") == 2
    assert "is-drifting" in html
    highest = min(float(y) for y in re.findall(r"M\S+ (\S+?)h", paths["found"]))
    assert highest >= 0  # far out is drawn at the edge, not beyond it


def test_drift_of_a_bore_never_read_is_an_empty_chart() -> None:
    html = piece("drift", "drift_chart(chart)", chart=chart((None, None)))
    assert "draw-found" not in html
    assert 'aria-label="Bore 3, drifts wide"' in html


def test_drift_over_many_visits_keeps_its_numbers_apart() -> None:
    points = [Point(n, 0.0, 0.0, year="2024" if n == 1 else "2025" if n == 9 else "") for n in range(1, 41)]
    assert [tick for tick in trace(points, 0.5).ticks if any(tick)] == [("1", "’24"), ("40", "")]
