"""What is fitted to an engine, as one versioned record: the layout and the hardware figures, kept as JSON text."""

import json
from collections.abc import Mapping
from dataclasses import fields

from app.shop.errors import Problems, RejectedError
from app.shop.reasons import because
from app.shop.rejections import Rejection
from app.sync.engine.hardware import Figure, Hardware, likely_hardware
from app.sync.engine.layout import Bank, Layout
from app.sync.engine.units import DEGREE, MM

HARDWARE_FIELDS: dict[str, tuple[str, str, float, float, float]] = {
    "bore_diameter": ("Bore", "mm", MM, 10, 120),
    "shaft_diameter": ("Shaft", "mm", MM, 2, 30),
    "closed_angle": ("Plate closed at", "degrees", DEGREE, 0, 25),
    "stop_pitch": ("Stop screw, travel a turn", "mm", MM, 0.2, 3),
    "stop_lever": ("Stop screw lever", "mm", MM, 5, 150),
    "link_pitch": ("Link rod, travel a turn", "mm", MM, 0.1, 4),
    "link_lever": ("Link lever", "mm", MM, 5, 150),
}
"""Name, unit, size of the unit in base units, and the range that can be, of each hardware figure."""


def hardware_known(measured: Mapping[str, float], displacement: float, bores: int) -> Hardware:
    """The hardware of an engine of that size [m3]: what was measured, and our estimates for the rest.

    ``measured`` are figures in the units of HARDWARE_FIELDS. Raises RejectedError with every one that cannot be.
    """
    likely = likely_hardware(displacement, bores)
    figures: dict[str, Figure] = {name: getattr(likely, name) for name in HARDWARE_FIELDS}
    problems: Problems = {}
    for name, value in measured.items():
        _, unit, size, low, high = HARDWARE_FIELDS[name]
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
        banks.append(said | ({"joints": bank.joints} if bank.joints else {}))
    told: dict[str, object] = {"banks": banks, "sensor": layout.sensor, "springless": sorted(layout.springless)}
    if layout.bypass:
        told["bypass"] = sorted(layout.bypass)
    if layout.plenum:
        told["plenum"] = True
    return json.dumps(told, sort_keys=True)


def layout_from_json(text: str) -> Layout:
    """The layout that ``layout_to_json`` wrote. Raises LayoutError when it is none."""
    read = json.loads(text)
    banks = tuple(
        Bank(b["name"], tuple(b["bores"]), b["stop"], b["drive"], tuple(b.get("joints", ()))) for b in read["banks"]
    )
    bypass, plenum = frozenset(read.get("bypass", ())), read.get("plenum", False)
    return Layout(banks, read["sensor"], frozenset(read["springless"]), bypass, plenum)


def hardware_to_json(hardware: Hardware) -> str:
    """Text of the hardware figures in base units, each with whether it was measured."""
    figures = {f.name: getattr(hardware, f.name) for f in fields(hardware)}
    return json.dumps({n: {"value": g.value, "measured": g.measured} for n, g in figures.items()}, sort_keys=True)


def hardware_from_json(text: str) -> Hardware:
    """The hardware that ``hardware_to_json`` wrote."""
    return Hardware(**{name: Figure(g["value"], g["measured"]) for name, g in json.loads(text).items()})
