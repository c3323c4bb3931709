"""A round as it grows: what one more reading makes of it, and which of very many readings are judged."""

from collections.abc import Sequence
from dataclasses import fields, replace

import pytest
from hypothesis import given
from hypothesis import strategies as st

from app.shop.record.entries import MeterReading, RoundEntry
from app.shop.record.rounds import Round
from app.sync.readings.rounds import MOST_OF_A_BORE

ROUND = RoundEntry.of(
    type("Row", (), dict.fromkeys((one.name for one in fields(RoundEntry)), 0) | {"from_above": None, "ident": 1})
)


def reading(ident: int, bore: int, kind: str = "again", supersedes: int | None = None, second: int = 0) -> MeterReading:
    at = f"2026-05-04T08:{second // 60 % 60:02}:{second % 60:02}+00:00"
    value = None if kind == "skip" else 6.5
    return MeterReading(ident, f"{ident}", "", 1, bore, kind, value, "kg/h", "", "KM", at, supersedes)


def grown(rows: Sequence[MeterReading]) -> Round:
    """A round as it becomes reading by reading, looked at after each."""
    one = Round(ROUND, ())
    for row in rows:
        one = one.plus(row)
        assert len(one.in_base_units) == len(one.gone_by)
    return one


@given(
    st.lists(
        st.tuples(
            st.integers(1, 3),
            st.sampled_from(["turn", "again", "again", "closing", "skip"]),
            st.integers(0, 12),
            st.integers(0, 600),
        ),
        max_size=12,
    )
)
def test_a_round_that_grew_is_the_round_read_at_once(told: list[tuple[int, str, int, int]]) -> None:
    rows = [
        reading(ident, bore, kind, old if 0 < old < ident else None, second)
        for ident, (bore, kind, old, second) in enumerate(told, 1)
    ]
    one, whole = grown(rows), Round(ROUND, tuple(rows))
    assert one == whole
    assert (one.times, one.gone_by, one.in_base_units) == (whole.times, whole.gone_by, whole.in_base_units)


def test_of_very_many_readings_the_first_the_drift_check_and_the_last_of_each_bore_are_judged() -> None:
    rows = [reading(1, 1, "turn"), reading(2, 2, "turn"), reading(3, 1, "closing")]
    rows += [reading(ident, 1 + ident % 2) for ident in range(4, 4 + 3 * MOST_OF_A_BORE)]
    one = grown(rows)
    last = {row.ident for bore in (1, 2) for row in [row for row in rows if row.bore == bore][-MOST_OF_A_BORE:]}
    assert {row.ident for row in one.gone_by} == {1, 3} | last
    assert one.gone_by == Round(ROUND, tuple(rows)).gone_by
    assert len(one.readings) == len(rows)


@pytest.mark.parametrize("bores", [1, 2, 8, 12])
def test_every_reading_of_a_round_read_five_times_over_is_judged(bores: int) -> None:
    rows = tuple(reading(ident, 1 + ident % bores) for ident in range(1, 1 + 5 * bores))
    assert Round(ROUND, rows).gone_by == rows


def test_a_corrected_reading_is_judged_as_of_when_it_was_taken() -> None:
    rows = (reading(1, 1, "turn", second=10), reading(2, 2, "turn", second=30), reading(3, 1, "turn", 1, second=50))
    taken = [(one.bore, one.at) for one in Round(ROUND, rows).in_base_units]
    assert [bore for bore, _ in taken] == [1, 2]
    assert taken[1][1] - taken[0][1] == 20


def test_a_round_is_made_anew_only_where_it_matters_what_holds_the_idle() -> None:
    """It matters to a round with speeds beside its readings."""
    alone, with_speed = (Round(ROUND, (replace(reading(1, 1), speed=speed),)) for speed in (None, 14.0))
    assert with_speed.held(with_speed.idle_held) is with_speed
    assert alone.held(not alone.idle_held) is alone
    held = with_speed.held(not with_speed.idle_held)
    assert held.idle_held is not with_speed.idle_held
    assert held.entered == with_speed.entered


def test_a_bore_that_was_skipped_is_so_until_it_is_read_after_all() -> None:
    """It would be counted twice among those that a round is over with."""
    skips = (reading(1, 1, "skip"), reading(2, 2, "skip"))
    assert set(Round(ROUND, skips).skipped) == {1, 2}
    after_all = Round(ROUND, (*skips, reading(3, 1, "turn")))
    assert (set(after_all.skipped), set(after_all.latest)) == ({2}, {1})
