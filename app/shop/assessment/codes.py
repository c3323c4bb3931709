"""Codes of what is judged."""

from enum import StrEnum


class StepReason(StrEnum):
    """Why a step is advised beside the reasons of the planner and of the bank balance."""

    SIGNED_OFF = "signed-off"
    STOPPED = "stopped"  # a figure is outside the shop's limits
    PRESET = "preset"  # every stop screw by that from the base feeler: no bank is named
    NOTHING_READ = "nothing-read"  # the phase does not use the meter
    IN_QUESTION = "in-question"  # a bore has two values, and which of them counts was not chosen
    TIGHTENING = "tightening"  # something moved that may not be adjusted in this phase
    AS_BEFORE = "as-before"  # nothing moved in tightening, as far as the readings tell
    UNEVEN = "uneven"  # not even, where nothing may be adjusted and nothing shows that it moved
    WAIVED = "waived"  # not even, and passed with a reason
    ELECTRONIC = "electronic"  # not even, and motors hold what would be set
    NOT_LINKED = "not-linked"  # electronic throttles: no linkage to balance
    SINGLE = "single"  # one bank: nothing to balance
    BALANCED = "balanced"
    LINK = "link"
    LEVER_SHUT = "lever-shut"  # an opening was read with the lever shut
