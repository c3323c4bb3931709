"""What happened at the engine, in the order it happened: readings, idle speeds and moves.

``at`` is seconds from any fixed start; only differences count. Signs: a positive turn of a stop screw opens the bank, a
positive turn of a link makes its bank open earlier, a positive turn of a bypass screw lets more air past its plate. A
coupler's screw is positive inward, because not every engine's is known to open one way.
"""

from dataclasses import dataclass
from typing import Literal


@dataclass(frozen=True, slots=True)
class Meter:
    """How the instrument reads. ``step`` is its smallest step and ``repeatability`` the standard deviation of reading
    the same bore again as a fraction of the reading. Flow in kg/s; vacuum in Pa below ambient, where more vacuum is
    less open.
    """

    quantity: Literal["flow", "vacuum"] = "flow"
    step: float = 0.25 / 3600
    repeatability: float = 0.02


@dataclass(frozen=True, slots=True)
class Reading:
    """One meter value at one bore [kg/s or Pa]. ``closing`` marks the first bore read again to end the round."""

    bore: int
    value: float
    at: float
    closing: bool = False


@dataclass(frozen=True, slots=True)
class IdleSpeed:
    """Engine speed [rev/s] with the pedal released."""

    speed: float
    at: float


@dataclass(frozen=True, slots=True)
class StopTurn:
    """A stop screw turned; ``turns`` positive opens every plate of the bank."""

    bank: str
    turns: float
    at: float


@dataclass(frozen=True, slots=True)
class BladeReset:
    """A coupler loosened, the far plate closed on a blade of thickness ``gap`` [m], the coupler tightened.

    ``leaves`` are the one or two leaves [m] that made up the blade.
    """

    near: int
    far: int
    gap: float
    leaves: tuple[float, ...]
    at: float


@dataclass(frozen=True, slots=True)
class ScrewTurn:
    """The screw of a coupler turned; ``turns`` positive inward, whichever way that opens what lies beyond."""

    near: int
    far: int
    turns: float
    at: float


@dataclass(frozen=True, slots=True)
class LinkTurn:
    """A bank's link turned; ``flats`` are sixths of a turn, positive opens the bank earlier."""

    bank: str
    flats: float
    at: float


@dataclass(frozen=True, slots=True)
class BypassTurn:
    """A bore's bypass screw turned; positive lets more air past its plate, which is outward."""

    bore: int
    turns: float
    at: float


Move = StopTurn | BladeReset | ScrewTurn | LinkTurn | BypassTurn
Event = Reading | IdleSpeed | Move
