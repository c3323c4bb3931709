"""The one next move: what to do, where, how much, what to expect and why."""

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Literal

Kind = Literal["measure", "stop", "blade", "link", "bypass", "done", "cannot"]


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
        ``near``-``far`` on ``leaves`` [m]), ``link`` (turn the link of ``bank`` by ``flats``), ``bypass`` (turn the
        bypass screw of ``near`` by ``turns``), ``done``, or ``cannot``.
    bores
        For ``measure``, the bores to read, in order; otherwise the bores the move carries along, nearest first.
    expected
        Reading to expect per bore that moves [kg/s or Pa].
    why
        Facts for the words: a short code that ``words`` turns into a sentence, and what it is about.
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

    @property
    def gap(self) -> float:
        """Thickness of the blade [m], all leaves together."""
        return sum(self.leaves)
