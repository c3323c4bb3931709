"""Where the bores sit, and which adjusters hang them together.

A bore goes by its cylinder number everywhere. A bank is a line of bores that share one stop screw; the stop screw acts
at the stop bore and the joints carry its motion outward, from bore to bore, towards both ends of the bank. A joint is a
coupler, reset on a feeler or turned by a screw of its own, or none at all: plates on one shaft move as one, and only
the air that a bypass screw lets past each of them sets them apart.
"""

from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from enum import StrEnum
from functools import cached_property
from typing import Literal

MOST_BORES = 12  # our judgement
MOST_BANKS = 2  # our judgement


class LayoutFault(StrEnum):
    """Why bores and banks cannot be an engine."""

    BANK_COUNT = "bank-count"  # most
    BANK_WITHOUT_BORES = "bank-without-bores"  # bank
    BANK_TWICE = "bank-twice"
    STOP_ELSEWHERE = "stop-not-in-bank"  # bank
    DRIVE_ELSEWHERE = "drive-not-in-bank"  # bank
    JOINT_COUNT = "joint-count"  # bank
    TOO_MANY_BORES = "too-many-bores"  # most
    BORE_TWICE = "bore-twice"
    BORE_NUMBER = "bore-number"
    SENSOR_ELSEWHERE = "sensor-not-a-bore"
    SPRINGLESS_ELSEWHERE = "springless-not-a-bore"
    BYPASS_ELSEWHERE = "bypass-not-a-bore"
    EXTRA_ELSEWHERE = "extra-not-a-bore"  # kind
    EXTRA_TWICE = "extra-twice"  # kind
    EXTRA_UNKNOWN = "extra-unknown"  # kind
    JOINED_BESIDE_MOTORS = "joined-beside-motors"


class LayoutError(ValueError):
    """The bores and banks described cannot be an engine: why, as a ``code`` with its ``values``.

    ``field`` names the part that is wrong.
    """

    def __init__(self, field: str, code: LayoutFault, **values: str | int) -> None:
        super().__init__(code)
        self.field = field
        self.code = code
        self.values = values


@dataclass(frozen=True, slots=True)
class StopScrew:
    """Sets how far every plate of a bank stays open with the pedal released."""

    bank: str


@dataclass(frozen=True, slots=True)
class Coupler:
    """Joins two neighboring shafts. Resetting it moves ``far`` and every bore beyond it, seen from the stop bore."""

    near: int
    far: int


@dataclass(frozen=True, slots=True)
class Link:
    """The rod from the central lever to a bank; its length sets when that bank starts to open."""

    bank: str


@dataclass(frozen=True, slots=True)
class Bypass:
    """The screw that lets air past one plate; it changes that bore alone and turns no plate."""

    bore: int


@dataclass(frozen=True, slots=True)
class OtherScrew:
    """A screw of a further ``kind``, found by that slug in the registry of ``app.sync.engine.adjusters``; it sits at
    ``bore``."""

    kind: str
    bore: int


Adjuster = StopScrew | Coupler | Link | Bypass | OtherScrew

JointKind = Literal["blade", "screw", "screw-in", "screw-out", "shaft"]
"""How two neighbors are joined: a coupler reset on a feeler; a coupler that a screw sets, where it is not known which
way opens what lies beyond it, or turned in, or turned out does; plates on one shaft."""

AnyJoint = JointKind | Literal["motors"]
"""The same, or ``motors``: not joined, each plate has a motor of its own."""

NO_COUPLER: tuple[AnyJoint, ...] = ("shaft", "motors")

Cooling = Literal["liquid", "air"]

Actuation = Literal["linkage", "motor-per-bank", "motor-per-bore"]
"""What opens the plates: a cable or linkage from the pedal, or electronic throttles, one motor a bank or a bore."""


@dataclass(frozen=True, slots=True)
class Joint:
    """What joins two neighbors, seen from the stop bore."""

    near: int
    far: int
    kind: AnyJoint


@dataclass(frozen=True)
class Bank:
    """One line of bores, front of the engine first, with the bores its stop screw and its link rod act at.

    ``joints`` says how each bore is joined to the next one, front first; empty where every joint is a coupler reset on
    a feeler. ``kinds``, worked out from it, says so of every joint.
    """

    name: str
    bores: tuple[int, ...]
    stop: int
    drive: int
    joints: tuple[AnyJoint, ...] = ()
    kinds: tuple[AnyJoint, ...] = field(init=False, repr=False, compare=False)

    def __post_init__(self) -> None:
        if set(self.joints) == {"blade"} and len(self.joints) == len(self.bores) - 1:
            object.__setattr__(self, "joints", ())
        usual: tuple[AnyJoint, ...] = ("blade",)
        object.__setattr__(self, "kinds", self.joints or usual * (len(self.bores) - 1))

    @cached_property
    def outward(self) -> tuple[Joint, ...]:
        """The joints outward from the stop bore: towards the rear first, then towards the front."""
        at, kinds = self.bores.index(self.stop), self.kinds
        rear = [Joint(self.bores[n], self.bores[n + 1], kinds[n]) for n in range(at, len(self.bores) - 1)]
        front = [Joint(self.bores[n], self.bores[n - 1], kinds[n - 1]) for n in range(at, 0, -1)]
        return (*rear, *front)

    def couplers(self) -> tuple[Coupler, ...]:
        """The couplers outward from the stop bore: towards the rear first, then towards the front."""
        return self._couplers

    @cached_property
    def _couplers(self) -> tuple[Coupler, ...]:
        return tuple([Coupler(one.near, one.far) for one in self.outward if one.kind not in NO_COUPLER])

    def beyond(self, coupler: Coupler | Joint) -> tuple[int, ...]:
        """The bores that follow when ``coupler`` is reset: its far bore first, then outward."""
        near, far = self.bores.index(coupler.near), self.bores.index(coupler.far)
        return self.bores[far:] if far > near else self.bores[far::-1]

    def shaft(self, bore: int) -> tuple[int, ...]:
        """The bores whose plates sit on the shaft of ``bore``, front first; itself alone where it shares none."""
        at = first = last = self.bores.index(bore)
        while first > 0 and self.joints and self.joints[first - 1] == "shaft":
            first -= 1
        while last < len(self.joints) and self.joints[last] == "shaft":
            last += 1
        return self.bores[first : last + 1] if last > first else (self.bores[at],)

    def carrier(self, bore: int) -> Coupler | None:
        """The coupler that carries a bore's shaft; None where the stop screw holds it."""
        shaft = self.shaft(bore)
        carrying = [coupler for coupler in self._couplers if coupler.far in shaft]
        return carrying[0] if carrying else None


def _require_whole(bank: Bank) -> None:
    if not bank.bores:
        raise LayoutError("bores", LayoutFault.BANK_WITHOUT_BORES, bank=bank.name)
    if bank.stop not in bank.bores:
        raise LayoutError("stop", LayoutFault.STOP_ELSEWHERE, bank=bank.name)
    if bank.drive not in bank.bores:
        raise LayoutError("drive", LayoutFault.DRIVE_ELSEWHERE, bank=bank.name)
    if bank.joints and len(bank.joints) != len(bank.bores) - 1:
        raise LayoutError("joints", LayoutFault.JOINT_COUNT, bank=bank.name)


def _each_with_a_motor(bank: Bank) -> Bank:
    none: AnyJoint = "motors"
    motors = (none,) * (len(bank.bores) - 1)
    if bank.joints not in ((), motors):
        raise LayoutError("actuation", LayoutFault.JOINED_BESIDE_MOTORS)
    return replace(bank, joints=motors)


@dataclass(frozen=True)
class Layout:
    """All bores of an engine in one or two banks.

    ``sensor`` is the bore whose shaft carries the throttle sensor; ``springless`` are the bores whose plate has no
    return spring of its own; ``bypass`` those with a bypass screw; ``plenum`` says whether all runners share a balance
    plenum behind the plates; ``extra`` are screws of further kinds. ``cooling`` is by liquid or air; ``actuation`` what
    opens the plates: with a motor a bore no plate is joined to another. Worked out from those: ``electronic``, whether
    motors move the plates, and ``linked``, whether a linkage opens two banks together. Raises LayoutError when the
    parts do not make an engine.
    """

    banks: tuple[Bank, ...]
    sensor: int | None = None
    springless: frozenset[int] = frozenset()
    bypass: frozenset[int] = frozenset()
    plenum: bool = False
    extra: tuple[OtherScrew, ...] = ()
    cooling: Cooling = "liquid"
    actuation: Actuation = "linkage"
    electronic: bool = field(init=False, repr=False, compare=False)
    linked: bool = field(init=False, repr=False, compare=False)

    def __post_init__(self) -> None:
        if not 1 <= len(self.banks) <= MOST_BANKS:
            raise LayoutError("banks", LayoutFault.BANK_COUNT, most=MOST_BANKS)
        for bank in self.banks:
            _require_whole(bank)
        names = [bank.name for bank in self.banks]
        if len(set(names)) < len(names):
            raise LayoutError("banks", LayoutFault.BANK_TWICE)
        if len(self.bores) > MOST_BORES:
            raise LayoutError("bores", LayoutFault.TOO_MANY_BORES, most=MOST_BORES)
        if len(set(self.bores)) < len(self.bores):
            raise LayoutError("bores", LayoutFault.BORE_TWICE)
        if any(bore < 1 for bore in self.bores):
            raise LayoutError("bores", LayoutFault.BORE_NUMBER)
        if self.sensor is not None and self.sensor not in self.bores:
            raise LayoutError("sensor", LayoutFault.SENSOR_ELSEWHERE)
        if not self.springless <= set(self.bores):
            raise LayoutError("springless", LayoutFault.SPRINGLESS_ELSEWHERE)
        if not self.bypass <= set(self.bores):
            raise LayoutError("bypass", LayoutFault.BYPASS_ELSEWHERE)
        for at, screw in enumerate(self.extra):
            if screw.bore not in self.bores:
                raise LayoutError("extra", LayoutFault.EXTRA_ELSEWHERE, kind=screw.kind)
            if screw in self.extra[:at]:
                raise LayoutError("extra", LayoutFault.EXTRA_TWICE, kind=screw.kind)
        if self.actuation == "motor-per-bore":
            object.__setattr__(self, "banks", tuple(map(_each_with_a_motor, self.banks)))
        object.__setattr__(self, "electronic", self.actuation != "linkage")
        object.__setattr__(self, "linked", len(self.banks) > 1 and not self.electronic)

    @cached_property
    def bores(self) -> tuple[int, ...]:
        """Cylinder numbers in walking order: bank by bank, front to rear."""
        return tuple(bore for bank in self.banks for bore in bank.bores)

    def bank(self, name: str) -> Bank:
        """The bank of that name. Raises KeyError when there is none."""
        for bank in self.banks:
            if bank.name == name:
                return bank
        raise KeyError(name)

    def bank_of(self, bore: int) -> Bank:
        """The bank a bore belongs to. Raises KeyError when no bore has that number."""
        for bank in self.banks:
            if bore in bank.bores:
                return bank
        raise KeyError(bore)

    def couplers(self) -> tuple[Coupler, ...]:
        """Every coupler of the engine, bank by bank, outward from each stop bore."""
        return self._couplers

    @cached_property
    def _couplers(self) -> tuple[Coupler, ...]:
        return tuple(coupler for bank in self.banks for coupler in bank.couplers())

    @cached_property
    def shafts(self) -> Mapping[int, tuple[int, ...]]:
        """By bore, the bores whose plates sit on its shaft, front first; itself alone where it shares none."""
        return {bore: bank.shaft(bore) for bank in self.banks for bore in bank.bores}

    @cached_property
    def shared_shafts(self) -> tuple[tuple[int, ...], ...]:
        """The bores of each shaft that carries two plates or more, front first, in walking order."""
        return tuple(row for row in dict.fromkeys(self.shafts.values()) if len(row) > 1)

    @cached_property
    def _bypass_screws(self) -> tuple[Bypass, ...]:
        return tuple(Bypass(bore) for bore in self.bores if bore in self.bypass)

    def joint(self, coupler: Coupler) -> AnyJoint:
        """How a coupler is set. Raises KeyError when the engine has no such coupler."""
        return self._joints[coupler]

    @cached_property
    def _joints(self) -> Mapping[Coupler, AnyJoint]:
        every = [joint for bank in self.banks for joint in bank.outward]
        return {Coupler(one.near, one.far): one.kind for one in every if one.kind not in NO_COUPLER}

    def by_screw(self, coupler: Coupler) -> bool:
        """Whether a screw sets a coupler, and no feeler. Raises KeyError when the engine has no such coupler."""
        return self._joints[coupler] != "blade"

    @property
    def bypass_screws(self) -> tuple[Bypass, ...]:
        """The bypass screws in walking order."""
        return self._bypass_screws

    @cached_property
    def blades_alone(self) -> bool:
        """Whether every joint is a coupler reset on a feeler, and there is no screw beside the stop screws."""
        return not self.bypass and not self.extra and not any(bank.joints for bank in self.banks)
