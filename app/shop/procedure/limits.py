"""When a figure that was read stops the work, and the plain instruction for it."""

from app.shop.procedure.items import Item
from app.shop.record.measures import RECORDED, Measure, Units
from app.shop.record.settings import Limits
from app.sync.engine.units import KPA, ZERO_CELSIUS


def instruction(item: Item, number: float, limits: Limits, units: Units = RECORDED) -> str:
    """What to do at once about ``number`` of ``item``, in ``units``; empty when it lies within the shop's limits."""
    pressure, temperature = units.of("oil_pressure"), units.of("temperature")
    match item.stops:
        case "oil pressure at the start":
            return _pressure(number, limits.oil_pressure_start, pressure)
        case "oil pressure when hot":
            return _pressure(number, limits.oil_pressure_hot, pressure)
        case "coolant":
            return _heat("Coolant", number, limits.coolant, temperature, "No cap is opened while it is hot.")
        case "oil":
            return _heat("Oil", number, limits.oil, temperature, "Look at oil level and cooling.")
        case "":
            return ""


def _pressure(number: float, least: float, unit: Measure) -> str:
    if number * KPA >= least:
        return ""
    return (
        f"Stop the engine now. Oil pressure is {unit.says(number)}, the shop's least is {unit.shown(least / KPA)}. "
        "It does not run again before the cause is found; then record the new pressure."
    )


def _heat(what: str, number: float, most: float, unit: Measure, also: str) -> str:
    if number + ZERO_CELSIUS <= most:
        return ""
    return (
        f"Stop the engine now. {what} is at {unit.says(number)}, the shop's most is {unit.shown(most - ZERO_CELSIUS)}. "
        f"Let it cool and find the cause; then record the new temperature. {also}"
    )
