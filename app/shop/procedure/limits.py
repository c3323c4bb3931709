"""What a meter can show; when a figure that was read stops the engine, and which limit it is beyond."""

from app.shop.procedure.items import Item
from app.shop.procedure.requirements import Requirement
from app.shop.reasons import Reason, because
from app.shop.record.entries import MeterEntry
from app.shop.record.measures import RECORDED, Amount, Units
from app.shop.record.settings import Limits
from app.shop.rejections import Rejection
from app.sync.engine.units import KPA, ZERO_CELSIUS


def range_of(meter: MeterEntry) -> Reason:
    """What a meter can show, as the reason for which other values are rejected."""
    return because(Rejection.OUT_OF_RANGE, low=meter.low, high=meter.high, unit=meter.unit_name)


def stop_for(item: Item, number: float, limits: Limits, units: Units = RECORDED) -> Reason | None:
    """Why ``number`` of ``item`` stops the engine, shown in ``units``; None when it lies within the shop's limits."""
    match item.stops:
        case "oil pressure at the start":
            return _pressure(number, limits.oil_pressure_start, units)
        case "oil pressure when hot":
            return _pressure(number, limits.oil_pressure_hot, units)
        case "coolant":
            return _heat(Requirement.COOLANT_HOT, number, limits.coolant, units)
        case "oil":
            return _heat(Requirement.OIL_HOT, number, limits.oil, units)
        case "head":
            return _heat(Requirement.HEAD_HOT, number, limits.head, units)
        case "":
            return None


def _pressure(number: float, least: float, units: Units) -> Reason | None:
    if number * KPA >= least:
        return None
    unit = units.of("oil_pressure")
    low = Requirement.OIL_PRESSURE_LOW
    return because(low, pressure=Amount(number, unit), minimum=Amount(least / KPA, unit))


def _heat(code: Requirement, number: float, most: float, units: Units) -> Reason | None:
    if number + ZERO_CELSIUS <= most:
        return None
    unit = units.of("temperature")
    return because(code, temperature=Amount(number, unit), maximum=Amount(most - ZERO_CELSIUS, unit))
