"""The parts of the handover sheet, rendered with plain facts."""

from types import SimpleNamespace as Facts

import pytest

from tests.web.pieces import piece


def sheet_round(title: str, *shapes: str, joint: str = "blade", bypass: bool = False) -> Facts:
    """A round on paper with one bank, whose stop screw is at its second bore."""
    bores = [Facts(bore=i, value="6.25", word=s, shape=s, blades=2, bypass=bypass) for i, s in enumerate(shapes, 1)]
    rows = [Facts(name="A", bores=tuple(bores), stop_at=2, joints=(joint,) * (len(bores) - 1))]
    return Facts(title=title, mean="6.25 kg/h", verdict="not even", rows=rows)


def test_paper_draws_found_beside_left() -> None:
    found, left = sheet_round("As found", "wide", "tight"), sheet_round("As left", "even", "even")
    html = piece("sheet_engine", "sheet_engines(found, left)", found=found, left=left)
    first, second = html.split("</figure>")[:2]
    assert first.count("draw-blade-wide") == 2
    assert first.count("draw-blade-tight") == 2
    assert second.count("sheet-even") == 2
    assert "draw-blade" not in second


@pytest.mark.parametrize(
    ("joint", "bypass", "says"),
    [
        ("blade", False, ""),
        ("shaft", False, "one shaft"),
        ("screw", False, "set by its screw"),
        ("blade", True, "bypass screw"),
    ],
)
def test_paper_draws_what_joins_two_plates_and_says_what_that_is(joint: str, bypass: bool, says: str) -> None:
    left = sheet_round("As left", "even", "even", joint=joint, bypass=bypass)
    html = piece("sheet_engine", "sheet_engines(none, left)", left=left)
    legend = html.split("sheet-legend")[1]
    assert [words in legend for words in ("one shaft", "set by its screw", "bypass screw")].count(True) == bool(says)
    assert says in legend
    assert html.count("sheet-shaft") == (joint == "shaft")


@pytest.mark.parametrize("call", ["sheet_table(none, left, 'kg/h')", "sheet_table(left, none, 'kg/h')"])
def test_a_sheet_with_one_round_has_one_column_of_it(call: str) -> None:
    html = piece("sheet_parts", call, left=sheet_round("As left", "even", "even"))
    assert html.count("As left") == 1
    assert html.count("<tr>") == 3


def test_checks_on_paper_keep_the_order_of_the_phases() -> None:
    known = [("Second", "b", "JT"), ("First", "a", "MK"), ("Second", "c", "JT")]
    checks = [Facts(phase=p, what=w, by=b, result="", at="25 Nov") for p, w, b in known]
    html = piece("sheet_parts", "sheet_checks('Checked', checks)", checks=checks)
    assert html.index("Second.") < html.index("First.")
    assert "b; c" in html
