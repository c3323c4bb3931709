"""The one next move: what to do, where, how much, what to expect and why."""

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Literal

from app.sync.engine.events import BladeReset, BypassTurn, LinkTurn, Move, ScrewTurn, StopTurn

Kind = Literal["measure", "stop", "blade", "screw", "link", "bypass", "done", "cannot"]

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
        ``measure`` (read ``bores``), ``stop`` (turn the stop screw of ``bank`` by ``turns``), ``blade`` (reset coupler
        ``near``-``far`` on ``leaves`` [m]), ``screw`` (turn the screw of coupler ``near``-``far`` by ``turns``, inward
        where positive), ``link`` (turn the link of ``bank`` by ``flats``), ``bypass`` (turn the bypass screw of
        ``near`` by ``turns``, outward where positive, which lets more air past), ``done``, or ``cannot``.
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

    kind: Kind
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
    def gap(self) -> float:
        """Thickness of the blade [m], all leaves together."""
        return sum(self.leaves)


def move_of(advice: Advice) -> Move | None:
    """The move that an advice asks for; None where it asks for none.

    Parameters: ``advice`` to follow.

    >>> move_of(Advice("bypass", "bypass", near=3, turns=0.25))
    BypassTurn(bore=3, turns=0.25, at=0.0)
    """
    match advice:
        case Advice(kind="stop", bank=str(bank), turns=turns):
            return StopTurn(bank, turns, 0.0)
        case Advice(kind="link", bank=str(bank), flats=flats):
            return LinkTurn(bank, flats, 0.0)
        case Advice(kind="blade", near=int(near), far=int(far), leaves=leaves):
            return BladeReset(near, far, sum(leaves), leaves, 0.0)
        case Advice(kind="screw", near=int(near), far=int(far), turns=turns):
            return ScrewTurn(near, far, turns, 0.0)
        case Advice(kind="bypass", near=int(bore), turns=turns):
            return BypassTurn(bore, turns, 0.0)
    return None
