"""Where the bores sit, and which adjusters hang them together.

A bore goes by its cylinder number everywhere. A bank is a line of bores that share one stop screw; the stop screw acts
at the stop bore and the couplers carry its motion outward, from bore to bore, towards both ends of the bank.
"""

import itertools
from collections.abc import Iterator
from dataclasses import dataclass

MOST_BORES = 12
MOST_BANKS = 2


class LayoutError(ValueError):
    """The bores and banks described cannot be an engine. ``field`` names what is wrong with it."""

    def __init__(self, field: str, message: str) -> None:
        super().__init__(message)
        self.field = field


@dataclass(frozen=True, slots=True)
class StopScrew:
    """Sets how far every plate of a bank stays open with the pedal released."""

    bank: str


@dataclass(frozen=True, slots=True)
class Coupler:
    """Joins two neighbouring shafts. Resetting it moves ``far`` and every bore beyond it, seen from the stop bore."""

    near: int
    far: int


@dataclass(frozen=True, slots=True)
class Link:
    """The rod from the central lever to a bank; its length sets when that bank starts to open."""

    bank: str


Adjuster = StopScrew | Coupler | Link


@dataclass(frozen=True, slots=True)
class Bank:
    """One line of bores, front of the engine first, with the bores its stop screw and its link act at."""

    name: str
    bores: tuple[int, ...]
    stop: int
    drive: int

    def couplers(self) -> Iterator[Coupler]:
        """The couplers outward from the stop bore: towards the rear first, then towards the front."""
        at = self.bores.index(self.stop)
        for near, far in zip(self.bores[at:], self.bores[at + 1 :], strict=False):
            yield Coupler(near, far)
        towards_front = self.bores[at::-1]
        for near, far in itertools.pairwise(towards_front):
            yield Coupler(near, far)

    def beyond(self, coupler: Coupler) -> tuple[int, ...]:
        """The bores that follow when ``coupler`` is reset: its far bore first, then outward."""
        near, far = self.bores.index(coupler.near), self.bores.index(coupler.far)
        return self.bores[far:] if far > near else self.bores[far::-1]


@dataclass(frozen=True, slots=True)
class Layout:
    """All bores of an engine in one or two banks.

    ``sensor`` is the bore whose shaft carries the throttle sensor; ``springless`` are the bores whose plate has no
    return spring of its own. Raises LayoutError when the parts do not make an engine.
    """

    banks: tuple[Bank, ...]
    sensor: int | None = None
    springless: frozenset[int] = frozenset()

    def __post_init__(self) -> None:
        if not 1 <= len(self.banks) <= MOST_BANKS:
            raise LayoutError("banks", f"An engine has one or {MOST_BANKS} banks.")
        for bank in self.banks:
            if not bank.bores:
                raise LayoutError("bores", f"Bank {bank.name} has no bore.")
            if bank.stop not in bank.bores:
                raise LayoutError("stop", f"The stop screw of bank {bank.name} must sit at one of its own bores.")
            if bank.drive not in bank.bores:
                raise LayoutError("drive", f"The drive of bank {bank.name} must sit at one of its own bores.")
        names = [bank.name for bank in self.banks]
        if len(set(names)) < len(names):
            raise LayoutError("banks", "Two banks have the same name.")
        if len(self.bores) > MOST_BORES:
            raise LayoutError("bores", f"At most {MOST_BORES} bores fit.")
        if len(set(self.bores)) < len(self.bores):
            raise LayoutError("bores", "A cylinder number stands twice.")
        if any(bore < 1 for bore in self.bores):
            raise LayoutError("bores", "Cylinder numbers start at 1.")
        if self.sensor is not None and self.sensor not in self.bores:
            raise LayoutError("sensor", "The throttle sensor must sit at a bore that exists.")
        if not self.springless <= set(self.bores):
            raise LayoutError("springless", "A plate without its own return spring must be a bore that exists.")

    @property
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
        return tuple(coupler for bank in self.banks for coupler in bank.couplers())
