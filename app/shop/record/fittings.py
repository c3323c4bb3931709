"""What is fitted to an engine, as one versioned record: the layout and the hardware figures, kept as JSON text."""

import json
from collections.abc import Iterable, Mapping
from dataclasses import fields
from enum import StrEnum
from typing import NamedTuple

from app.shop.errors import Problems, RejectedError
from app.shop.reasons import because
from app.shop.rejections import Rejection
from app.sync.engine.adjusters.registry import kinds
from app.sync.engine.hardware import Figure, Hardware, likely_hardware
from app.sync.engine.layout import Bank, Layout, LayoutError, LayoutFault, OtherScrew
from app.sync.engine.units import DEGREE, MM


class FittingReason(StrEnum):
    """Why hardware is recorded where no person says why."""

    AS_REGISTERED = "as-registered"


class HardwareField(NamedTuple):
    """How a hardware figure is entered: its unit, the size of that in base units, and the range allowed."""

    unit: str
    size: float
    low: float
    high: float


HARDWARE_FIELDS: dict[str, HardwareField] = {
    "bore_diameter": HardwareField("mm", MM, 10, 120),
    "shaft_diameter": HardwareField("mm", MM, 2, 30),
    "closed_angle": HardwareField("degrees", DEGREE, 0, 25),
    "stop_pitch": HardwareField("mm", MM, 0.2, 3),
    "stop_lever": HardwareField("mm", MM, 5, 150),
    "link_pitch": HardwareField("mm", MM, 0.1, 4),
    "link_lever": HardwareField("mm", MM, 5, 150),
}
"""The hardware figures by name."""


def hardware_known(measured: Mapping[str, float], displacement: float, bores: int) -> Hardware:
    """The hardware of an engine of that size [m3]: what was measured, and our estimates for the rest.

    ``measured`` are figures in the units of HARDWARE_FIELDS. Raises RejectedError with every one that cannot be.
    """
    likely = likely_hardware(displacement, bores)
    figures: dict[str, Figure] = {name: getattr(likely, name) for name in HARDWARE_FIELDS}
    problems: Problems = {}
    for name, value in measured.items():
        unit, size, low, high = HARDWARE_FIELDS[name]
        if not low <= value <= high:
            problems[name] = because(Rejection.OUT_OF_RANGE, low=low, high=high, unit=unit)
        figures[name] = Figure(value * size, measured=True)
    if figures["shaft_diameter"].value >= figures["bore_diameter"].value:
        problems.setdefault("shaft_diameter", because(Rejection.SHAFT_TOO_THICK))
    if problems:
        raise RejectedError(problems)
    return Hardware(**figures)


def layout_to_json(layout: Layout) -> str:
    """Text of a layout, stable under sorting of keys. What an engine has not is left out, as in rows from before it was
    known."""
    banks: list[dict[str, object]] = []
    for bank in layout.banks:
        said = {"name": bank.name, "bores": bank.bores, "stop": bank.stop, "drive": bank.drive}
        banks.append(said | ({"joints": bank.joints} if bank.joints and layout.actuation != "motor-per-bore" else {}))
    told: dict[str, object] = {"banks": banks, "sensor": layout.sensor, "springless": sorted(layout.springless)}
    if layout.bypass:
        told["bypass"] = sorted(layout.bypass)
    if layout.plenum:
        told["plenum"] = True
    if layout.extra:
        told["extra"] = extra_by_kind(layout)
    if layout.cooling != "liquid":
        told["cooling"] = layout.cooling
    if layout.electronic:
        told["actuation"] = layout.actuation
    return json.dumps(told, sort_keys=True)


def layout_from_json(text: str) -> Layout:
    """The layout that ``layout_to_json`` wrote. Raises LayoutError when it is none."""
    read = json.loads(text)
    banks = tuple(
        Bank(b["name"], tuple(b["bores"]), b["stop"], b["drive"], tuple(b.get("joints", ()))) for b in read["banks"]
    )
    return Layout(
        banks,
        read["sensor"],
        frozenset(read["springless"]),
        frozenset(read.get("bypass", ())),
        read.get("plenum", False),
        extra_of(read.get("extra", {})),
        read.get("cooling", "liquid"),
        read.get("actuation", "linkage"),
    )


def extra_by_kind(layout: Layout) -> dict[str, list[int]]:
    """The bores at which an engine has screws of further kinds, by the slug of the kind."""
    found: dict[str, list[int]] = {}
    for screw in layout.extra:
        found.setdefault(screw.kind, []).append(screw.bore)
    return {kind: sorted(bores) for kind, bores in sorted(found.items())}


def extra_of(bores_by_kind: Mapping[str, Iterable[int]]) -> tuple[OtherScrew, ...]:
    """The screws of further kinds from ``extra_by_kind``. Raises LayoutError for a kind that is not known."""
    if unknown := set(bores_by_kind) - {kind.slug for kind in kinds() if kind.further}:
        raise LayoutError("extra", LayoutFault.EXTRA_UNKNOWN, kind=min(unknown))
    return tuple(OtherScrew(kind, bore) for kind, bores in sorted(bores_by_kind.items()) for bore in sorted(bores))


def hardware_to_json(hardware: Hardware) -> str:
    """Text of the hardware figures in base units, each with whether it was measured."""
    figures = {f.name: getattr(hardware, f.name) for f in fields(hardware)}
    return json.dumps({n: {"value": g.value, "measured": g.measured} for n, g in figures.items()}, sort_keys=True)


def hardware_from_json(text: str) -> Hardware:
    """The hardware that ``hardware_to_json`` wrote."""
    return Hardware(**{name: Figure(g["value"], g["measured"]) for name, g in json.loads(text).items()})
