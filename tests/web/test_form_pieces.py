"""Fields and drift charts, rendered with plain facts."""

import re
from types import SimpleNamespace as Facts
from xml.etree import ElementTree

import pytest

from tests.web.pieces import NASTY, closed, piece


def test_a_field_keeps_what_was_typed_and_carries_its_message() -> None:
    html = piece("forms", "field('size', 'Size', nasty, nasty, 'In litres', 'number', 'L')", nasty=NASTY)
    found = ElementTree.fromstring(closed(html))
    box = found.find(".//input")
    assert box is not None
    assert box.get("value") == NASTY
    assert box.get("inputmode") == "decimal"
    assert box.get("aria-invalid") == "true"
    described = (box.get("aria-describedby") or "").split()
    texts = {e.get("id"): e.text for e in found.iter("span")}
    assert [texts[name] for name in described] == ["In litres", NASTY]
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


def test_drift_draws_found_left_and_the_way_between() -> None:
    seen = [(2.0, 0.0), (1.0, None), (9.0, 0.0)]
    points = [Facts(visit=i, found=found, left=left) for i, (found, left) in enumerate(seen, 1)]
    html = piece("drift", "drift_chart(3, 'drifts wide', points, true)", points=points)
    assert html.count("draw-found") == 3
    assert html.count("draw-left") == 2
    assert html.count("draw-adjusted") == 2
    assert html.count("draw-use") == 2
    assert "is-drifting" in html
    highest = min(float(y) for y in re.findall(r'draw-found" d="M\S+ (\S+?)h', html))
    assert highest >= 0  # far out is drawn at the edge, not beyond it


def test_drift_of_a_bore_never_read_is_an_empty_chart() -> None:
    html = piece("drift", "drift_chart(3, 'not read', [])")
    assert "draw-found" not in html
    assert 'aria-label="Bore 3, not read"' in html
