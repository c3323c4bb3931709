"""What sits on the intakes, as two columns say it."""

import pytest

from app.shop.record.intake import Intake, IntakeState, differs, intake_of


@pytest.mark.parametrize(
    ("state", "note", "told"),
    [
        ("adapter", "45 mm", Intake(IntakeState.ADAPTER, "45 mm")),
        ("adapter", None, Intake(IntakeState.ADAPTER, "")),
        ("a state of a later program", "45 mm", None),
        (None, None, None),
    ],
)
def test_what_was_written_of_an_intake_is_kept(state: str | None, note: str | None, told: Intake | None) -> None:
    assert intake_of(state, note) == told


@pytest.mark.parametrize(
    ("one", "other", "apart"),
    [("45 mm", "45mm", False), ("45 MM", "45 mm", False), ("45 mm", "", False), ("45 mm", "60 mm", True)],
)
def test_a_note_written_otherwise_or_left_out_is_no_other_intake(one: str, other: str, apart: bool) -> None:
    """A space, a capital, or nothing written says nothing of what sat there."""
    before, after = (Intake(IntakeState.ADAPTER, note) for note in (one, other))
    assert differs(before, after) is differs(after, before) is apart
    assert differs(before, Intake(IntakeState.AS_IT_RUNS, one))
