"""The one next step: what to read or adjust, where, how much, what to expect and why."""

import math
from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from enum import StrEnum

from app.sync.engine.adjusters.kind import AdjusterKind
from app.sync.engine.adjusters.registry import kind_of
from app.sync.engine.engine_air import Beyond, beyond, ratio_at
from app.sync.engine.events import Move, Place
from app.sync.estimation.conformity import Conformity, Decision
from app.sync.estimation.posterior import Posterior


class AdviceKind(StrEnum):
    """What a step asks for: a reading, a usual adjustment, nothing more (`done`), or a cause to find (`cannot`).

    A further kind of adjuster goes by its slug alone.
    """

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
    LOST_MOTION_CHECK = "lost-motion-check"  # once more, with the throttle opened and let go
    ONE_PROBE = "one-probe"  # only sensors that stay at their bores read it, each with a scale of its own
    LAST_ROUND = "last-round"
    STOP_BANK = "stop-bank"
    STOP_SPEED = "stop-speed"  # idle is too slow
    STOP_FAST = "stop-fast"
    COARSE_BANK = "coarse-bank"
    OPEN = "wide"  # the bore to be set
    CLOSED = "tight"
    FOLLOWS = "follows"  # the bore is set to what comes before it
    DIRECTION = "way"  # which way a screw opens is unknown: a small turn shows it
    THEN = "then"  # follows another adjustment of the same plan
    EVEN = "even"
    FINEST = "finest"
    METER_LIMIT = "meter-limit"  # likely even, and more readings would hardly tell
    TOO_CLOSE = "too-close"  # undecided, and neither more readings with this meter nor an adjustment would decide it
    NOTHING_HELPS = "nothing-helps"  # not even, and no adjustment brings it nearer
    COARSE = "coarse"  # close enough to warm the engine up
    SKIPPED = "skipped"
    SCATTER = "slop"  # lost motion, by the code that was published: readings vary with nothing adjusted
    NO_EFFECT = "no-answer"
    LEAK_CHECK = "leak-check"  # a low bore did not answer to two moves: air may come in behind its plate
    BYPASS_END = "bypass-end"  # no more turns of the bore's own screw help
    NO_ADJUSTER = "no-adjuster"  # nothing sets plates on one shaft apart


NO_MOVE = (AdviceKind.MEASURE, AdviceKind.DONE, AdviceKind.CANNOT)
"""The kinds of step that ask for no move; any other one is the slug of the kind of adjuster to move."""

SMALL_TURN = 1 / 8
"""Turns of a stop screw at most where the law says nothing of the size (our judgement)."""

MOST_THEN = 2
"""Adjustments shown beside the next one: more would change before their turn comes (our judgement)."""


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
        For ``measure``, the bores to read, in order; otherwise the bores that move with it, nearest first.
    expected
        Reading to expect per bore that moves [kg/s or Pa].
    why
        The reason: an ``AdviceReason``, or a code of the part of the program that advises. ``about`` are its bores.
    then
        The moves of the same plan that are likely to follow, at most ``MOST_THEN``; each is planned again once the one
        before it was made.

    inside
        Chance that every bore is inside as it stands, by all that was read and moved; None where it was not asked.
    readings
        Most readings that are asked for, this one among them, before a word is said of the engine; None where another
        move may come first.
    outside
        What of the engine lies outside the range of its law: then nothing is expected and the size is a first try.

    Worked out from those: ``adjuster``, the kind of adjuster to move, None where it asks for no move; ``place``, where
    that sits; ``gap``, the thickness of the feeler stack [m]; ``amount``, by how much to move it in the unit of its
    kind.

    Raises KeyError for a kind of adjuster that is not there.
    """

    kind: str
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
    inside: float | None = field(default=None, compare=False)
    readings: int | None = None
    outside: tuple[Beyond, ...] = ()
    adjuster: AdjusterKind | None = field(init=False, repr=False, compare=False)
    place: Place = field(init=False, repr=False, compare=False)
    gap: float = field(init=False, repr=False, compare=False)
    amount: float = field(init=False, repr=False, compare=False)

    def __post_init__(self) -> None:
        adjuster = None if self.kind in NO_MOVE else kind_of(self.kind)
        gap = sum(self.leaves)
        object.__setattr__(self, "adjuster", adjuster)
        object.__setattr__(self, "place", Place(self.bank or "", self.near, self.far))
        object.__setattr__(self, "gap", gap)
        flats = adjuster is not None and adjuster.unit == "flats"
        object.__setattr__(self, "amount", self.flats if flats else self.turns or gap)


def outside_range(posterior: Posterior, speed: float) -> tuple[Beyond, ...]:
    """What of an engine lies outside the range of its law.

    Parameters: ``posterior`` of the engine as it stands; ``speed`` it idles at over the one wanted.
    """
    engine, diameter = posterior.engine, posterior.hardware.bore_diameter.value
    ratio = float(ratio_at(engine, math.log(speed)))
    return beyond(posterior.gaps, ratio, engine.speed * speed, engine.ambient, diameter)


def held_to_range(advice: Advice, posterior: Posterior, speed: float) -> Advice:
    """An adjustment as it may be advised: outside the range of the law it foretells nothing, and a stop screw goes by
    an eighth at most.

    Parameters: ``advice`` as planned; ``posterior`` it was planned from; ``speed`` of the idle over the one wanted.
    """
    if advice.adjuster is None or not (outside := outside_range(posterior, speed)):
        return advice
    turns = advice.turns
    if advice.adjuster.effect == "turns a bank":
        turns = max(-SMALL_TURN, min(turns, SMALL_TURN))
    return replace(advice, turns=turns, expected={}, then=(), outside=outside)


def step_kind(kind: AdjusterKind) -> str:
    """The kind of step that moves an adjuster: the member of the usual ones, else the slug itself.

    Parameters: ``kind`` of the adjuster.
    """
    return next((one for one in AdviceKind if one == kind.slug), kind.slug)


def move_of(advice: Advice) -> Move | None:
    """The move that an advice asks for; None where it asks for none.

    Parameters: ``advice`` to follow.

    >>> move_of(Advice(AdviceKind.BYPASS, AdviceReason.CLOSED, near=3, turns=0.25))
    BypassTurn(bore=3, turns=0.25, at=0.0)
    """
    if advice.adjuster is None or advice.place == Place():
        return None
    return advice.adjuster.move(advice.place, advice.amount, advice.leaves)


def why_turned(turns: float, fast: float, off: float) -> AdviceReason:
    """Why a stop screw is turned: for the idle speed where it is off and the turn brings it nearer, else for the bank.

    Parameters: ``turns`` of the screw, positive to open; ``fast``, by how much the idle is above the one wanted, as a
    fraction; ``off``, the chance that it stands outside.

    >>> print(why_turned(0.25, -0.1, 0.9), why_turned(-0.25, 0.1, 0.9), why_turned(-0.25, -0.1, 0.9), sep=", ")
    stop-speed, stop-fast, stop-bank
    """
    if off <= 0.5 or (turns > 0) != (fast < 0):
        return AdviceReason.STOP_BANK
    return AdviceReason.STOP_SPEED if turns > 0 else AdviceReason.STOP_FAST


def good_word(decision: Decision) -> Advice | None:
    """That it is done, where the verdict is good; else None.

    Parameters: ``decision`` on the readings.
    """
    why = {Conformity.EVEN: AdviceReason.EVEN, Conformity.LIMIT: AdviceReason.METER_LIMIT}.get(decision.conformity)
    return None if why is None else Advice(AdviceKind.DONE, why)
