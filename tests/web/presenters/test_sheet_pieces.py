"""The chart of the handover sheet, by its facts and rendered."""

from collections.abc import Sequence

import pytest

from app.sync.engine.events import Meter, Reading
from app.sync.engine.layout import Bank, Layout
from app.sync.engine.units import KG_PER_HOUR, KPA
from app.sync.estimation.evenness import RoundResult, evenness
from app.web.presenters.paper.chart import chart_of
from tests.shop.yard import FOUR, V8
from tests.web.pieces import piece

VACUUM = Meter("vacuum", 0.1 * KPA, 0.02, 101.325 * KPA)


def judged(values: Sequence[float], window: float = 0.08, layout: Layout = FOUR) -> RoundResult:
    """A closed round of flows [kg/h]."""
    walk = [Reading(b, v * KG_PER_HOUR, 20.0 * at) for at, (b, v) in enumerate(zip(layout.bores, values, strict=True))]
    last = Reading(layout.bores[0], values[0] * KG_PER_HOUR, 20.0 * len(values), closing=True)
    return evenness(layout, [*walk, last], Meter(), window)


def test_more_air_is_drawn_higher_and_beyond_the_chart_at_its_edge() -> None:
    chart = chart_of(FOUR, judged([6.5, 6.5, 9.5, 4.0]), judged([6.5, 6.5, 6.5, 6.5]))
    assert chart is not None
    first, _, high, low = (column.found for column in chart.columns)
    assert first is not None
    assert high is not None
    assert low is not None
    assert (high.y, high.beyond) == ("0.00%", 1)
    assert (low.y, low.beyond) == ("100.00%", -1)
    assert high.figure.startswith("+4")  # 9.5 beside a mean of 6.625 is 43 % more
    assert [float(one.left.y[:-1]) for one in chart.columns if one.left] == pytest.approx([50.0] * 4, abs=0.1)
    html = piece("found_left", "found_left(chart)", chart=chart)
    assert html.count("M-6 5H6L0 -6z") == 1
    assert html.count("M-6 -5H6L0 6z") == 1
    assert html.count("<td>") == 8


@pytest.mark.parametrize(
    ("window", "labels"),
    [
        (0.08, ["+24", "+16", "+8", "0", "−8", "−16", "−24"]),
        (0.05, ["+24", "+16", "+5", "0", "−5", "−16", "−24"]),  # eight is too near to five
        (0.25, ["+40", "+32", "+25", "+16", "+8", "0", "−8", "−16", "−25", "−32", "−40"]),
    ],
)
def test_the_lines_are_the_limits_and_every_eight_per_cent(window: float, labels: list[str]) -> None:
    chart = chart_of(FOUR, None, judged([6.5] * 4, window))
    assert chart is not None
    assert [line.label.removesuffix("\u00a0%") for line in chart.lines] == labels
    assert sum(line.heavy for line in chart.lines) == 2


def test_a_line_parts_two_banks_and_a_bore_without_a_reading_has_a_dash() -> None:
    seven = evenness(V8, [Reading(b, 6.5 * KG_PER_HOUR, 20.0 * b) for b in range(1, 8)], Meter(), 0.08)
    chart = chart_of(V8, seven, None)
    assert chart is not None
    assert chart.between == "50.00%"
    assert chart.columns[-1].found is not None
    assert (chart.columns[-1].found.figure, chart.columns[-1].found.y) == ("–", "")
    html = piece("found_left", "found_left(chart)", chart=chart)
    assert "as left" not in html
    assert chart_of(Layout((Bank("A", (1,), 1, 1),)), None, None) is None


def test_a_high_column_of_a_vacuum_gauge_is_drawn_as_less_air() -> None:
    columns = [Reading(b, v * KPA, 20.0 * b) for b, v in ((1, 60.0), (2, 60.0), (3, 66.0), (4, 60.0))]
    chart = chart_of(FOUR, None, evenness(FOUR, columns, VACUUM, 0.08))
    assert chart is not None
    third = chart.columns[2].left
    assert third is not None
    assert third.figure.startswith("−")
    assert float(third.y.rstrip("%")) > 50
