"""When a figure that was read stops the work, and the plain instruction for it."""

from app.shop.phases import Item
from app.shop.settings import Limits
from app.sync.units import KPA, ZERO_CELSIUS


def instruction(item: Item, number: float, limits: Limits) -> str:
    """What to do at once about ``number`` of ``item``; empty when it lies within the shop's limits."""
    match item.stops:
        case "oil pressure at the start":
            return _pressure(number, limits.oil_pressure_start)
        case "oil pressure when hot":
            return _pressure(number, limits.oil_pressure_hot)
        case "coolant":
            return _heat("Coolant", number, limits.coolant, "No cap is opened while it is hot.")
        case "oil":
            return _heat("Oil", number, limits.oil, "Look at oil level and cooling.")
        case "":
            return ""


def _pressure(number: float, least: float) -> str:
    if number * KPA >= least:
        return ""
    return (
        f"Stop the engine now. Oil pressure is {number:g} kPa, the shop's least is {least / KPA:g}. "
        "It does not run again before the cause is found; then record the new pressure."
    )


def _heat(what: str, number: float, most: float, also: str) -> str:
    if number + ZERO_CELSIUS <= most:
        return ""
    return (
        f"Stop the engine now. {what} is at {number:g} °C, the shop's most is {most - ZERO_CELSIUS:g}. "
        f"Let it cool and find the cause; then record the new temperature. {also}"
    )
