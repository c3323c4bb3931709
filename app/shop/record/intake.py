"""What sits on the intakes while they are read, as recorded when a visit is opened.

Filter, trumpets and an adapter change what a meter shows at every bore. Between two visits at which they were not the
same, a change of all bores together says nothing of the engine.
"""

from enum import StrEnum
from typing import NamedTuple


class IntakeState(StrEnum):
    """The intakes as they are read."""

    AS_IT_RUNS = "as-it-runs"  # everything fitted
    FILTER_OFF = "filter-off"
    TRUMPETS_OFF = "trumpets-off"  # and the filter
    ADAPTER = "adapter"  # or a trumpet on the meter
    OTHER = "other"  # the note says


class Intake(NamedTuple):
    """The intakes of a visit: their state, and what a person wrote of it."""

    state: IntakeState
    note: str = ""


def intake_of(state: str | None, note: str | None) -> Intake | None:
    """The intakes as two columns say it; None where they were not told, and for a state of a later program."""
    return Intake(IntakeState(state), note or "") if state in set(IntakeState) else None


def differs(one: Intake | None, other: Intake | None) -> bool:
    """Whether the intakes of two visits are known not to have been the same.

    >>> differs(Intake(IntakeState.ADAPTER, "45 mm"), Intake(IntakeState.ADAPTER, "60 mm"))
    True
    >>> differs(Intake(IntakeState.ADAPTER), None)
    False
    """
    if one is None or other is None:
        return False
    written = {_folded(each.note) for each in (one, other)} - {""}
    return one.state is not other.state or len(written) > 1


def _folded(note: str) -> str:
    return "".join(note.split()).casefold()
