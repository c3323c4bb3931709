"""Codes of the hand-over: why an engine is not handed over yet."""

from enum import StrEnum


class HandOverProblem(StrEnum):
    """Why the last try to hand an engine over did not do. ``said`` is the receiver's own sentence."""

    NO_ANSWER = "no-answer"  # why
    REFUSED = "refused"  # status, said
    TOKEN_UNKNOWN = "token-unknown"
    NOT_ALL = "not-all"  # count
    TOO_LARGE = "too-large"  # most, MB
