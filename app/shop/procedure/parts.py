"""Which parts an engine has, and whether it is fresh, as far as phases ask for different things of it."""

from functools import lru_cache
from typing import Literal

from app.sync.engine.layout import Layout

Part = Literal["always", "sensor", "two banks", "couplers", "blades", "screws", "shafts", "bypass", "plenum", "fresh"]
"""``blades`` and ``screws`` are couplers set by a feeler and by a screw of their own; ``shafts`` are those that carry
more than one plate. ``fresh`` is no part: the engine is new or rebuilt and never ran."""


@lru_cache(maxsize=128)
def parts_of(layout: Layout) -> frozenset[Part]:
    """The parts that an engine has; ``always`` is among them."""
    by_screw = [layout.by_screw(coupler) for coupler in layout.couplers()]
    has: dict[Part, bool] = {
        "always": True,
        "sensor": layout.sensor is not None,
        "two banks": len(layout.banks) > 1,
        "couplers": bool(by_screw),
        "blades": not all(by_screw),
        "screws": any(by_screw),
        "shafts": any("shaft" in bank.joints for bank in layout.banks),
        "bypass": bool(layout.bypass),
        "plenum": layout.plenum,
    }
    return frozenset(part for part, there in has.items() if there)
