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
    SINGLE = "single"  # one bank: nothing to balance
    BALANCED = "balanced"
    LINK = "link"
