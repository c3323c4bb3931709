"""The simulated engines that the advice is measured on: their layouts, and what counts as done."""

from app.sync.engine.layout import Bank, Layout
from app.sync.engine.units import REV_PER_MIN
from app.sync.simulation.simulator import PER_BORE, WANTED, Imperfections, SimulatedEngine

__all__ = ["PER_BORE", "SPEED_WINDOW", "WANTED", "WINDOW", "Imperfections", "SimulatedEngine", "layout_of"]

WINDOW = 0.08
SPEED_WINDOW = 60 * REV_PER_MIN


def layout_of(bores: int, banks: int) -> Layout:
    """Even banks with the stop screw at the second bore of each, the third in banks of six."""
    size = bores // banks
    stop = 3 if size >= 6 else 2
    numbers = [tuple(range(1 + n * size, 1 + (n + 1) * size)) for n in range(banks)]
    return Layout(tuple(Bank(name, row, row[stop - 1], row[0]) for name, row in zip("AB", numbers, strict=False)))
