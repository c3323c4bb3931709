"""The one next step: what to read or adjust, where, how much, what to expect and why."""

from collections.abc import Mapping
from dataclasses import dataclass, field
from enum import StrEnum

from app.sync.engine.events import BladeReset, BypassTurn, LinkTurn, Move, ScrewTurn, StopTurn


class AdviceKind(StrEnum):
    """What a step asks for: a reading, one kind of adjustment, nothing more (`done`), or a cause found (`cannot`)."""

    MEASURE = "measure"
    STOP = "stop"
    BLADE = "blade"
    SCREW = "screw"
    LINK = "link"
    BYPASS = "bypass"
    DONE = "done"
    CANNOT = "cannot"


class AdviceReason(StrEnum):
    """Why the planner advises a step."""

    FIRST_ROUND = "first-round"
    UNREAD = "unread"
    CLOSE_ROUND = "close-round"
    MISREAD = "misread"  # far from the other bores
    DISAGREE = "disagree"  # far from what the bore read itself
    AFTER_MOVE = "after-move"
    DOUBTFUL = "doubtful"
    LAST_ROUND = "last-round"
    STOP_BANK = "stop-bank"
    STOP_SPEED = "stop-speed"
    COARSE_BANK = "coarse-bank"
    OPEN = "wide"  # the bore to be set
    CLOSED = "tight"
    FOLLOWS = "follows"  # the bore is set to what comes before it
    DIRECTION = "way"  # which way the coupler screw opens is unknown: a small turn shows it
    THEN = "then"  # follows another adjustment of the same plan
    EVEN = "even"
    FINEST = "finest"
    COARSE = "coarse"  # close enough to warm the engine up
    SKIPPED = "skipped"
    SCATTER = "slop"  # readings vary with nothing adjusted
    NO_EFFECT = "no-answer"
    BYPASS_END = "bypass-end"  # no more of its turns help
    NO_ADJUSTER = "no-adjuster"  # nothing sets two plates on one shaft apart


MOST_THEN = 2
"""Adjustments shown beside the next one: more would change before their turn comes."""


@dataclass(frozen=True, slots=True)
class Expected:
    """What the meter should show after the move, and the band it will show in nine cases of ten."""

    value: float
    low: float
    high: float


@dataclass(frozen=True, slots=True)
class Advice:
    """One next step.

    kind
        ``measure`` (read ``bores``), ``stop`` (turn the stop screw of ``bank`` by ``turns``), ``blade`` (reset coupler
        ``near``-``far`` on ``leaves`` [m]), ``screw`` (turn the screw of coupler ``near``-``far`` by ``turns``, inward
        where positive), ``link`` (turn the link rod of ``bank`` by ``flats``), ``bypass`` (turn the bypass screw of
        ``near`` by ``turns``, outward where positive, which lets more air past), ``done``, or ``cannot``.
    bores
        For ``measure``, the bores to read, in order; otherwise the bores that move with it, nearest first.
    expected
        Reading to expect per bore that moves [kg/s or Pa].
    why
        The reason: an ``AdviceReason``, or a code of the part of the program that advises. ``about`` are its bores.
    then
        The moves of the same plan that are likely to follow, at most ``MOST_THEN``; each is planned again once the one
        before it was made.
    """

    kind: AdviceKind
    why: StrEnum
    bank: str | None = None
    near: int | None = None
    far: int | None = None
    turns: float = 0.0
    flats: float = 0.0
    leaves: tuple[float, ...] = ()
    bores: tuple[int, ...] = ()
    expected: Mapping[int, Expected] = field(default_factory=dict)
    about: tuple[int, ...] = ()
    then: tuple["Advice", ...] = ()

    @property
    def gap(self) -> float:
        """Thickness of the feeler stack [m]."""
        return sum(self.leaves)


def move_of(advice: Advice) -> Move | None:
    """The move that an advice asks for; None where it asks for none.

    Parameters: ``advice`` to follow.

    >>> move_of(Advice(AdviceKind.BYPASS, AdviceReason.CLOSED, near=3, turns=0.25))
    BypassTurn(bore=3, turns=0.25, at=0.0)
    """
    match advice:
        case Advice(kind=AdviceKind.STOP, bank=str(bank), turns=turns):
            return StopTurn(bank, turns, 0.0)
        case Advice(kind=AdviceKind.LINK, bank=str(bank), flats=flats):
            return LinkTurn(bank, flats, 0.0)
        case Advice(kind=AdviceKind.BLADE, near=int(near), far=int(far), leaves=leaves):
            return BladeReset(near, far, sum(leaves), leaves, 0.0)
        case Advice(kind=AdviceKind.SCREW, near=int(near), far=int(far), turns=turns):
            return ScrewTurn(near, far, turns, 0.0)
        case Advice(kind=AdviceKind.BYPASS, near=int(bore), turns=turns):
            return BypassTurn(bore, turns, 0.0)
    return None
