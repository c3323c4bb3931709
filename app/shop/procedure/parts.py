"""Which parts an engine has, as far as phases ask for different things of it."""

from functools import lru_cache
from typing import Literal

from app.sync.engine.adjusters.kind import AdjusterKind
from app.sync.engine.layout import Layout

Part = Literal[
    "always", "sensor", "two banks", "couplers", "blades", "screws", "shafts", "bypass", "plenum", "linkage", "motors",
    "liquid", "air",
]  # fmt: skip
"""``two banks`` are banks that a linkage opens together; ``blades`` and ``screws`` are couplers set by a feeler and by
a screw of their own; ``shafts`` are those that carry more than one plate; ``linkage`` or ``motors`` opens the plates;
``liquid`` or ``air`` cools the engine."""

Metal = Literal["coolant", "head"]
"""A temperature that stands for that of the metal, under the slug of its item; ``head`` is a cylinder head's."""


@lru_cache(maxsize=128)
def parts_of(layout: Layout) -> frozenset[Part]:
    """The parts that an engine has; ``always`` is among them."""
    by_screw = [layout.by_screw(coupler) for coupler in layout.couplers()]
    has: dict[Part, bool] = {
        "always": True,
        "sensor": layout.sensor is not None,
        "two banks": layout.linked,
        "couplers": bool(by_screw),
        "blades": not all(by_screw),
        "screws": any(by_screw),
        "shafts": bool(layout.shared_shafts),
        "bypass": bool(layout.bypass),
        "plenum": layout.plenum,
        "linkage": not layout.electronic,
        "motors": layout.electronic,
        "liquid": layout.cooling == "liquid",
        "air": layout.cooling == "air",
    }
    return frozenset(part for part, there in has.items() if there)


def needs_power_off(layout: Layout, kind: AdjusterKind) -> bool:
    """Whether an adjuster is set only with the power of the throttles off, and by the maker's instructions: it holds
    plates that motors move. A screw that lets air past a plate does not."""
    return layout.electronic and kind.effect != "lets air past"


def temperatures_of(layout: Layout) -> tuple[Metal, Literal["oil"]]:
    """The temperatures that tell whether an engine is hot through: coolant and oil, or cylinder head and oil where air
    cools it. The first one is asked for everywhere, oil where it has a gauge."""
    return ("head" if layout.cooling == "air" else "coolant", "oil")
