"""The one verdict: of a round and the rounds before it in the same state, spoken of the plate."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from app.sync.engine.events import Meter, Reading
from app.sync.engine.layout import Bank, Layout
from app.sync.engine.units import KG_PER_HOUR
from app.sync.estimation.conformity import Conformity
from app.sync.estimation.evenness import BoreVerdict, RoundResult, evenness

V8 = Layout((Bank("A", (1, 2, 3, 4), 1, 1), Bank("B", (5, 6, 7, 8), 5, 5)))
FOUR = Layout((Bank("A", (1, 2, 3, 4), 1, 1),))
V12 = Layout((Bank("A", (1, 2, 3, 4, 5, 6), 3, 1), Bank("B", (7, 8, 9, 10, 11, 12), 9, 7)))
METER = Meter()


def readings(values: list[float], closing: float | None, layout: Layout, start: float = 0.0) -> list[Reading]:
    """A round of these kg/h in walking order, 20 s apart."""
    walk = [(bore, value, False) for bore, value in zip(layout.bores, values, strict=False)]
    if closing is not None:
        walk.append((layout.bores[0], closing, True))
    return [Reading(b, v * KG_PER_HOUR, start + 20.0 * n, last) for n, (b, v, last) in enumerate(walk)]


def judged(values: list[float], closing: float | None = None, layout: Layout = V8, meter: Meter = METER) -> RoundResult:
    return evenness(layout, readings(values, closing, layout), meter, 0.08)


def verdicts(found: RoundResult) -> dict[int, BoreVerdict]:
    return {one.bore: one.verdict for one in found.standings}


def test_an_even_round_is_even() -> None:
    found = judged([6.5] * 8, 6.5)
    assert found.verdict is Conformity.EVEN
    assert set(verdicts(found).values()) == {BoreVerdict.EVEN}


def test_one_wide_and_one_tight_bore_are_named() -> None:
    found = judged([6.5, 6.5, 8.5, 6.5, 4.5, 6.5, 6.5, 6.5], 6.5)
    assert found.verdict is Conformity.NOT_EVEN
    sure = {bore: v for bore, v in verdicts(found).items() if v in (BoreVerdict.OPEN, BoreVerdict.CLOSED)}
    assert sure == {3: BoreVerdict.OPEN, 5: BoreVerdict.CLOSED}


def test_the_edge_of_the_tolerance_is_undecided() -> None:
    found = judged([6.5, 6.5, 7.25, 6.5, 6.5, 6.5, 6.5, 6.5], 6.5)
    assert found.verdict is Conformity.UNDECIDED
    assert verdicts(found)[3] is BoreVerdict.AT_LIMIT


def test_two_more_rounds_of_the_same_settle_what_one_leaves_open() -> None:
    """A round is not judged alone: what was read before with nothing moved counts as much."""
    first = readings([6.5, 6.5, 7.25, 6.5, 6.5, 6.5, 6.5, 6.5], 6.5, V8)
    second, third = (readings([6.5, 6.5, 6.75, 6.5, 6.5, 6.5, 6.5, 6.5], 6.5, V8, start) for start in (300.0, 600.0))
    alone = evenness(V8, first, METER, 0.08)
    together = evenness(V8, third, METER, 0.08, [*first, *second])
    assert alone.decision.all_inside is not None
    assert together.decision.all_inside is not None
    assert alone.decision.all_inside < 0.95 <= together.decision.all_inside
    assert together.counted == 27
    assert together.verdict is Conformity.EVEN


def test_an_unclosed_round_is_never_even() -> None:
    assert judged([6.5] * 8).verdict is Conformity.INCOMPLETE
    assert judged([6.5] * 5).verdict is Conformity.INCOMPLETE


def test_nothing_is_said_of_a_bore_that_was_not_read() -> None:
    """Twelve bores, four of them read in the last round: no other is named, and none of the four without a cause."""
    found = judged([6.5, 6.25, 6.5, 6.75], layout=V12)
    assert set(verdicts(found)) == {1, 2, 3, 4}
    assert found.verdict is Conformity.INCOMPLETE
    assert not found.outliers


def test_a_bore_is_alone_while_no_other_was_read() -> None:
    assert judged([6.5]).alone
    assert not judged([6.5, 6.5]).alone
    assert not judged([6.5] * 8, 6.5).alone


def test_a_vacuum_column_speaks_of_the_plate() -> None:
    columns = [
        Reading(b, v * 1000, 20.0 * n) for n, (b, v) in enumerate(zip(FOUR.bores, (33, 33, 45, 33), strict=True))
    ]
    found = evenness(FOUR, columns, Meter("vacuum", 250.0, 0.01), 0.08)
    assert verdicts(found)[3] is BoreVerdict.CLOSED


def test_two_readings_that_contradict_each_other_are_read_again() -> None:
    walk = [
        *readings([6.5] * 8, None, V8),
        Reading(4, 9.5 * KG_PER_HOUR, 200.0),
        Reading(1, 6.5 * KG_PER_HOUR, 220.0, True),
    ]
    found = evenness(V8, walk, METER, 0.08)
    assert found.outliers == {4}
    assert found.verdict is Conformity.INCOMPLETE


def test_a_round_without_a_reading_or_with_a_strange_bore_raises() -> None:
    with pytest.raises(ValueError, match="needs a reading"):
        evenness(V8, [], METER, 0.08)
    with pytest.raises(ValueError, match="does not have"):
        evenness(V8, [Reading(9, 1.0, 0.0)], METER, 0.08)


@given(st.permutations(range(1, 9)), st.lists(st.integers(16, 40), min_size=8, max_size=8))
def test_relabeling_the_bores_changes_nothing(labels: list[int], quarters: list[int]) -> None:
    """But for the draws that chances are counted in, which other bores share then."""
    other = Layout(
        (Bank("A", tuple(labels[:4]), labels[0], labels[0]), Bank("B", tuple(labels[4:]), labels[4], labels[4]))
    )
    values = [q / 4 for q in quarters]
    plain, renamed = judged(values, values[0]), judged(values, values[0], other)
    assert plain.mean == pytest.approx(renamed.mean)
    for one, same in zip(plain.standings, renamed.standings, strict=True):
        assert one.share == pytest.approx(same.share, abs=0.01)
        assert one.inside == pytest.approx(same.inside, abs=0.05)
