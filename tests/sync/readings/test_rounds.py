"""Evenness of a round: drift taken out, the meter allowed for, the plate spoken of."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from app.sync.engine.events import Meter, Reading
from app.sync.engine.layout import Bank, Layout
from app.sync.engine.units import KG_PER_HOUR
from app.sync.readings import rounds
from app.sync.readings.rounds import RoundResult, _verdict, evenness, reading_sd

V8 = Layout((Bank("A", (1, 2, 3, 4), 1, 1), Bank("B", (5, 6, 7, 8), 5, 5)))
FOUR = Layout((Bank("A", (1, 2, 3, 4), 1, 1),))
METER = Meter()
FINE = Meter(step=1e-9, repeatability=1e-6)


def judged(values: list[float], closing: float | None = None, layout: Layout = V8, meter: Meter = METER) -> RoundResult:
    """A round of these kg/h in walking order, 20 s apart."""
    read = [Reading(b, v * KG_PER_HOUR, 20.0 * n) for n, (b, v) in enumerate(zip(layout.bores, values, strict=False))]
    if closing is not None:
        read.append(Reading(layout.bores[0], closing * KG_PER_HOUR, 20.0 * len(read), closing=True))
    return evenness(layout, read, meter, 0.08)


def test_an_even_round_is_even() -> None:
    assert judged([6.5] * 8, 6.5).verdict == "even"


def test_one_wide_and_one_tight_bore_are_named() -> None:
    found = judged([6.5, 6.5, 8.5, 6.5, 4.5, 6.5, 6.5, 6.5], 6.5)
    assert found.verdict == "not even"
    assert {s.bore: s.verdict for s in found.standings if s.verdict in ("wide", "tight")} == {3: "wide", 5: "tight"}


def test_the_edge_of_the_window_is_too_close_to_call() -> None:
    found = judged([6.5, 6.5, 7.0, 6.5, 6.5, 6.5, 6.5, 6.5], 6.5)
    assert found.verdict == "too close to call"
    assert next(s for s in found.standings if s.bore == 3).verdict == "too close"


@pytest.mark.parametrize(
    ("deviation", "verdict"), [(0.0019, "even"), (-0.0019, "even"), (0.0021, "too close"), (0.0041, "wide")]
)
def test_what_the_meter_does_not_know_counts_against_even(deviation: float, verdict: str) -> None:
    """ILAC-G8:09/2019, example: a limit of 0.003 and an uncertainty of 0.0010 accept within 0.0020."""
    assert _verdict(deviation, 0.003, 0.0010) == verdict


def test_an_unclosed_round_is_never_even() -> None:
    assert judged([6.5] * 8).verdict == "incomplete"
    assert judged([6.5] * 5).verdict == "incomplete"


def test_a_vacuum_column_speaks_of_the_plate() -> None:
    columns = [
        Reading(b, v * 1000, 20.0 * n) for n, (b, v) in enumerate(zip(FOUR.bores, (33, 33, 45, 33), strict=True))
    ]
    found = evenness(FOUR, columns, Meter("vacuum", 250.0, 0.01), 0.08)
    assert next(s for s in found.standings if s.bore == 3).verdict == "tight"


def test_drift_that_the_closing_reading_shows_is_taken_out() -> None:
    rising = [6.0 + 0.05 * n for n in range(8)]
    found = judged(rising, 6.0 + 0.05 * 8, meter=FINE)
    assert found.drift / KG_PER_HOUR == pytest.approx(0.4, rel=1e-3)
    assert found.drift_seen
    assert max(abs(s.deviation) for s in found.standings) / KG_PER_HOUR < 0.001


def test_a_drift_the_meter_cannot_see_is_not_claimed() -> None:
    assert not judged([6.5] * 8, 6.75).drift_seen


def test_three_rounds_with_drift_come_out_as_published(monkeypatch: pytest.MonkeyPatch) -> None:
    """Four items circled three times: Sutton and Clarkson, Metrologia 30 (1993/94) 487-493, the drift paper's data as
    held in the public test file of a national institute; drift per reading and a - b for the linear model recomputed
    independently by ordinary least squares: -1.071875 and -722.071875."""
    monkeypatch.setattr(rounds, "DRIFT_SD", 1e9)
    data = [22.1, 743.7, 3080.4, 4003.4, 18.3, 739.2, 3075.5, 3998.2, 14.2, 734.7, 3071.6, 3994.8]
    equal = Meter(step=1.0, repeatability=0.0)
    found = evenness(FOUR, [Reading(1 + n % 4, v, float(n)) for n, v in enumerate(data)], equal, 0.08)
    values = {s.bore: s.value for s in found.standings}
    assert found.drift / 11 == pytest.approx(-1.071875, rel=1e-6)
    assert values[1] - values[2] == pytest.approx(-722.071875, rel=1e-8)
    assert values[4] - values[1] == pytest.approx(3983.815625, rel=1e-8)


def test_a_reading_of_another_world_is_asked_for_again() -> None:
    assert judged([6.5, 6.5, 65.0, 6.5, 6.5]).outliers == {3}
    assert judged([6.5, 7.5, 5.5, 6.5]).outliers == frozenset()


def test_the_meter_sd_is_repeatability_and_step_together() -> None:
    assert reading_sd(10.0, Meter(step=0.0, repeatability=0.02)) == pytest.approx(0.2)
    assert reading_sd(10.0, Meter(step=0.25, repeatability=0.0)) == pytest.approx(0.25 / np.sqrt(12))


def test_a_round_without_a_reading_or_with_a_strange_bore_raises() -> None:
    with pytest.raises(ValueError, match="needs a reading"):
        evenness(V8, [], METER, 0.08)
    with pytest.raises(ValueError, match="does not have"):
        evenness(V8, [Reading(9, 1.0, 0.0)], METER, 0.08)


@given(st.permutations(range(1, 9)), st.lists(st.integers(16, 40), min_size=8, max_size=8))
def test_relabelling_the_bores_changes_nothing(labels: list[int], quarters: list[int]) -> None:
    other = Layout(
        (Bank("A", tuple(labels[:4]), labels[0], labels[0]), Bank("B", tuple(labels[4:]), labels[4], labels[4]))
    )
    values = [q / 4 for q in quarters]
    plain, renamed = judged(values, values[0]), judged(values, values[0], other)
    assert [s.verdict for s in plain.standings] == [s.verdict for s in renamed.standings]
    assert plain.mean == pytest.approx(renamed.mean)
