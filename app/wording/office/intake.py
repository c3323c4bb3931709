"""What sat on the intakes while they were read: a choice, a line in the history, and two visits compared."""

from collections.abc import Mapping
from enum import StrEnum

from app.shop.record.intake import Intake, IntakeState
from app.wording.message import Message, say
from app.wording.names import begin
from app.wording.reasons import TABLES

STATES: Mapping[StrEnum, Message] = {
    IntakeState.AS_IT_RUNS: Message("as it runs", context="intakes: everything fitted"),
    IntakeState.FILTER_OFF: Message("filter off"),
    IntakeState.TRUMPETS_OFF: Message("filter and trumpets off"),
    IntakeState.ADAPTER: Message("adapter or trumpet on the meter"),
    IntakeState.OTHER: Message("other", context="intakes"),
}
"""The intakes as they are read."""

WITH_NOTE = Message("{state} ({note})")
BEFORE = Message("Last visit: {intake}. If it is different now, only single bores can be compared.")
LINE = Message("Intakes: {intake}")
DIFFERENT = Message(
    "The intakes were different: {then} then, {now} now. A change of all bores together says nothing about the engine."
)

TABLES[IntakeState] = STATES


def intake_name(one: Intake) -> str:
    """The intakes of a visit, within a sentence."""
    state = say(STATES[one.state])
    if one.state is IntakeState.OTHER and one.note:
        return one.note
    return say(WITH_NOTE, state=state, note=one.note) if one.note else state


def intake_line(one: Intake | None) -> str:
    """The intakes of a visit as a line of their own; empty where they were not told."""
    return say(LINE, intake=intake_name(one)) if one is not None else ""


def choices() -> list[tuple[str, str]]:
    """Every state as a choice."""
    return [(state, begin(say(STATES[state]))) for state in IntakeState]


def before(one: Intake | None) -> str:
    """How the intakes were read at the last visit; empty where that was not told."""
    return say(BEFORE, intake=intake_name(one)) if one is not None else ""


def different(then: Intake | None, now: Intake | None) -> str:
    """That the intakes of two visits were not the same, and what follows; empty where either was not told."""
    if then is None or now is None:
        return ""
    return say(DIFFERENT, then=intake_name(then), now=intake_name(now))
