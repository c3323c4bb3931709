"""Engines and plates of any kind, for properties that hold for all of them."""

from typing import get_args

from hypothesis import strategies as st

from app.sync.engine.hardware import Figure, Hardware
from app.sync.engine.layout import Bank, JointKind, Layout
from app.sync.engine.units import MM

diameters = st.floats(20 * MM, 80 * MM)
closed_angles = st.floats(0.0, 0.35)
shares = st.floats(0.0, 0.4)
JOINTS: tuple[JointKind, ...] = get_args(JointKind)


@st.composite
def layouts(draw: st.DrawFn, banks: int | None = None) -> Layout:
    """Engines of one or two banks, bores numbered in any order, joined in any way, with bypass screws or without."""
    count = draw(st.integers(1, 2)) if banks is None else banks
    sizes = [draw(st.integers(2, 4)) for _ in range(count)]
    numbers = draw(st.permutations(range(1, sum(sizes) + 1)))
    made, at = [], 0
    for name, size in zip("AB", sizes, strict=False):
        bores = tuple(numbers[at : at + size])
        joints = tuple(draw(st.sampled_from(JOINTS)) for _ in bores[1:])
        made.append(Bank(name, bores, draw(st.sampled_from(bores)), bores[0], joints))
        at += size
    return Layout(tuple(made), bypass=frozenset(draw(st.sets(st.sampled_from(numbers)))), plenum=draw(st.booleans()))


@st.composite
def hardwares(draw: st.DrawFn) -> Hardware:
    """Plates, screws and levers of sizes that are built."""
    diameter = draw(diameters)
    return Hardware(
        Figure(diameter),
        Figure(draw(shares) * diameter),
        Figure(draw(closed_angles)),
        Figure(draw(st.floats(0.4 * MM, 1.5 * MM))),
        Figure(draw(st.floats(15 * MM, 60 * MM))),
        Figure(draw(st.floats(0.4 * MM, 1.5 * MM))),
        Figure(draw(st.floats(15 * MM, 60 * MM))),
    )
