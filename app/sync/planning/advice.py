"""The one next move: what to do, where, how much, what to expect and why."""

from collections.abc import Mapping
from dataclasses import dataclass, field

from app.sync.engine.adjusters.registry import kind_of
from app.sync.engine.events import Move, Place

NO_MOVE = ("measure", "done", "cannot")
"""The kinds of advice that ask for no move; any other one is the slug of the kind of adjuster to move."""

MOST_THEN = 2
"""Moves that are told beside the next one: more would change before their turn comes."""


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
        ``measure`` (read ``bores``), ``done``, ``cannot``, or the slug of the kind of adjuster to move: of ``bank``, of
        coupler ``near``-``far``, or of bore ``near``, by ``turns``, by ``flats``, or reset on ``leaves`` [m]. Which way
        is positive is said by the kind.
    bores
        For ``measure``, the bores to read, in order; otherwise the bores the move carries along, nearest first.
    expected
        Reading to expect per bore that moves [kg/s or Pa].
    why
        Facts for the words: a short code that ``words`` turns into a sentence, and what it is about.
    then
        The moves of the same plan that are likely to follow, at most ``MOST_THEN``; each is thought through again once
        the one before it was made.
    """

    kind: str
    why: str
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
    def moves(self) -> bool:
        """Whether it asks for a move."""
        return self.kind not in NO_MOVE

    @property
    def place(self) -> Place:
        """Where the adjuster sits that it is about."""
        return Place(self.bank or "", self.near, self.far)

    @property
    def amount(self) -> float:
        """By how much to move it, in the unit of its kind: turns, flats, or metres of feeler."""
        return self.flats if self.moves and kind_of(self.kind).unit == "flats" else self.turns or self.gap

    @property
    def gap(self) -> float:
        """Thickness of the blade [m], all leaves together."""
        return sum(self.leaves)


def move_of(advice: Advice) -> Move | None:
    """The move that an advice asks for; None where it asks for none.

    Parameters: ``advice`` to follow.

    >>> move_of(Advice("bypass", "bypass", near=3, turns=0.25))
    BypassTurn(bore=3, turns=0.25, at=0.0)
    """
    if not advice.moves or advice.place == Place():
        return None
    return kind_of(advice.kind).move(advice.place, advice.amount, advice.leaves)
