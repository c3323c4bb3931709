"""What happened at the engine, in the order it happened: plates set cold, readings, idle speeds and moves.

``at`` is seconds from any fixed start; only differences count. Every move says alike which ``kind`` of adjuster was
moved, where it sits (``place``) and by how much (``amount``); what a kind is, which way is positive and what it does is
found by that slug in ``app.sync.engine.adjusters``.
"""

from dataclasses import dataclass
from typing import ClassVar, Literal, TypeVar

import numpy as np
from numpy.typing import NDArray

from app.sync.engine.air import ATMOSPHERE

N = TypeVar("N", float, NDArray[np.float64])


@dataclass(frozen=True, slots=True)
class Meter:
    """How the instrument reads. ``step`` is its smallest step and ``repeatability`` the standard deviation of reading
    the same bore again as a fraction of the reading. Flow in kg/s; vacuum in Pa below ``ambient``, the day's absolute
    air pressure [Pa], where more vacuum is less open. An ``absolute`` one reads the runner's pressure itself [Pa].
    """

    quantity: Literal["flow", "vacuum"] = "flow"
    step: float = 0.25 / 3600
    repeatability: float = 0.02
    ambient: float = ATMOSPHERE
    absolute: bool = False

    def turned(self, value: N) -> N:
        """The vacuum below ambient [Pa] that an absolute reading is, or the reading that a vacuum is; any other meter's
        value as it is.

        Parameters: ``value`` read [kg/s, or Pa], or the vacuum, a number or an array of them.

        >>> Meter("vacuum", ambient=100e3, absolute=True).turned(67e3)
        33000.0
        """
        return self.ambient - value if self.absolute else value


@dataclass(frozen=True, slots=True)
class Reading:
    """One meter value at one bore [kg/s or Pa]. ``closing`` marks the first bore read again to end the round.

    ``sd`` is the standard error that the value came with, as a fraction of it; None for the meter's own. ``speed`` of
    the engine beside it [rev/s], None where it is not known or says nothing of the air. ``fixed``: by a sensor
    that stays at the bore, where the others were read by other sensors; ``alike`` is by what those differ, one standard
    deviation as a fraction of the value, as they were last compared, None where they never were.
    """

    bore: int
    value: float
    at: float
    closing: bool = False
    sd: float | None = None
    speed: float | None = None
    fixed: bool = False
    alike: float | None = None


@dataclass(frozen=True, slots=True)
class IdleSpeed:
    """Engine speed [rev/s] with the pedal released."""

    speed: float
    at: float


@dataclass(frozen=True, slots=True)
class ColdSetting:
    """A plate of the cold, stopped engine closed on a feeler of thickness ``gap`` [m]: by the coupler that carries it,
    or by the stop screw of its bank where that holds it.

    ``leaves`` are the one or two leaves [m] that made up the feeler. ``gauged`` tells a hand that was shown to repeat
    from an ordinary one.
    """

    bore: int
    gap: float
    leaves: tuple[float, ...]
    at: float
    gauged: bool = False


@dataclass(frozen=True, slots=True)
class Place:
    """Where an adjuster sits: its ``bank``, or the two bores of its coupler, or ``near`` alone for a single bore."""

    bank: str = ""
    near: int | None = None
    far: int | None = None

    @property
    def sets(self) -> int | None:
        """The bore that an adjuster here is moved for; None for one of a whole bank."""
        return self.near if self.far is None else self.far


class _OnBank:
    """An adjuster of a whole bank."""

    __slots__ = ()
    bank: str

    @property
    def place(self) -> Place:
        """Where it sits."""
        return Place(self.bank)


class _OnCoupler:
    """An adjuster of the coupler between two bores."""

    __slots__ = ()
    near: int
    far: int

    @property
    def place(self) -> Place:
        """Where it sits."""
        return Place(near=self.near, far=self.far)


class _AtBore:
    """An adjuster of one bore."""

    __slots__ = ()
    bore: int

    @property
    def place(self) -> Place:
        """Where it sits."""
        return Place(near=self.bore)


class _Turned:
    """A screw, whose unit is a turn."""

    __slots__ = ()
    turns: float

    @property
    def amount(self) -> float:
        """By how much it was moved, in the unit of its kind."""
        return self.turns


@dataclass(frozen=True, slots=True)
class StopTurn(_OnBank, _Turned):
    """A stop screw turned; ``turns`` positive opens every plate of the bank."""

    kind: ClassVar[str] = "stop"

    bank: str
    turns: float
    at: float


@dataclass(frozen=True, slots=True)
class BladeReset(_OnCoupler):
    """A coupler loosened, the far plate closed on a feeler of thickness ``gap`` [m], the coupler tightened.

    ``leaves`` are the one or two leaves [m] that made up the feeler.
    """

    kind: ClassVar[str] = "blade"

    near: int
    far: int
    gap: float
    leaves: tuple[float, ...]
    at: float

    @property
    def amount(self) -> float:
        """By how much it was moved, in the unit of its kind."""
        return self.gap


@dataclass(frozen=True, slots=True)
class ScrewTurn(_OnCoupler, _Turned):
    """The screw of a coupler turned; ``turns`` positive inward, whichever way that opens what lies beyond."""

    kind: ClassVar[str] = "screw"

    near: int
    far: int
    turns: float
    at: float


@dataclass(frozen=True, slots=True)
class LinkTurn(_OnBank):
    """A bank's link rod turned; ``flats`` are sixths of a turn, positive opens the bank earlier."""

    kind: ClassVar[str] = "link"

    bank: str
    flats: float
    at: float

    @property
    def amount(self) -> float:
        """By how much it was moved, in the unit of its kind."""
        return self.flats


@dataclass(frozen=True, slots=True)
class BypassTurn(_AtBore, _Turned):
    """A bore's bypass screw turned; positive lets more air past its plate, which is outward."""

    kind: ClassVar[str] = "bypass"

    bore: int
    turns: float
    at: float


@dataclass(frozen=True, slots=True)
class OtherTurn(_AtBore, _Turned):
    """A screw of a further ``kind`` turned, which sits at ``bore``; which way is positive is said by its kind."""

    kind: str
    bore: int
    turns: float
    at: float


Move = StopTurn | BladeReset | ScrewTurn | LinkTurn | BypassTurn | OtherTurn
Event = Reading | IdleSpeed | ColdSetting | Move

SEEN = (Reading, IdleSpeed, ColdSetting)
"""What is no move of the engine as it runs: what was read, and how its plates were set before it ever ran."""
