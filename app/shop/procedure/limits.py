"""What a meter can show; when a figure that was read stops the engine, which limit it is beyond, and what ended it; and
when a visit takes no more entries."""

from collections.abc import Iterable
from dataclasses import dataclass
from enum import StrEnum
from functools import lru_cache

from app.shop.procedure.items import Item
from app.shop.procedure.phases import PHASES
from app.shop.procedure.requirements import Requirement, Waiting
from app.shop.reasons import Reason, because
from app.shop.record.entries import CheckEntry, MeterEntry, StopEndEntry
from app.shop.record.measures import RECORDED, Amount, Units
from app.shop.record.settings import Limits
from app.shop.record.visit_record import VisitRecord
from app.shop.rejections import Rejection
from app.sync.engine.units import KPA, ZERO_CELSIUS


class StopCause(StrEnum):
    """Why a figure was beyond a limit."""

    LOW_LEVEL = "low-level"
    LEAK = "leak"
    PUMP = "pump"
    BLOCKED = "blocked"
    THERMOSTAT = "thermostat"
    FAN_OR_AIR = "fan-or-air"
    WEAR = "wear"
    GAUGE = "gauge"
    MISTYPED = "mistyped"
    RAN_ON = "mistyped-ran-on"
    """The engine was not stopped before the figure was corrected."""
    OTHER = "other"


NOTHING_WRONG = frozenset({StopCause.MISTYPED, StopCause.RAN_ON})
"""Causes that lie with the figure and not with the engine: there is nothing to be remedied."""

ITEMS = {(phase.slug, item.slug): item for phase in PHASES for item in phase.items if item.stops}
"""The items whose figures may stop the engine."""


@dataclass(frozen=True, slots=True)
class Stop:
    """A figure beyond a limit of the shop: the check that recorded it, and which limit it is beyond."""

    check: CheckEntry
    reason: Reason


@lru_cache(maxsize=16)
def open_stops(record: VisitRecord) -> tuple[Stop, ...]:
    """The figures beyond a limit that stand and whose cause and remedy are not recorded yet, oldest first."""
    if record.sign_off is not None:
        return ()
    ended, checks = ended_up_to(record), [record.checks[key] for key in ITEMS if key in record.checks]
    found = _stops(record, [check for check in checks if check.ident > ended])
    return tuple(sorted(found, key=lambda stop: stop.check.ident))


def ended_stops(record: VisitRecord) -> tuple[tuple[StopEndEntry, tuple[Stop, ...]], ...]:
    """What ended stops, each with the figures that it ended, in their order."""
    found, before = [], 0
    for end in record.stop_ends:
        mine = (check for check in record.all_checks if before < check.ident <= end.after_check)
        found.append((end, tuple(_stops(record, mine))))
        before = end.after_check
    return tuple(found)


def ended_up_to(record: VisitRecord) -> int:
    """The newest check whose stop was ended, 0 for none."""
    return record.stop_ends[-1].after_check if record.stop_ends else 0


def beyond(record: VisitRecord, check: CheckEntry) -> bool:
    """Whether a figure that was recorded is beyond a limit of the shop."""
    return (check.phase, check.item) in ITEMS and bool(_stops(record, (check,)))


def _stops(record: VisitRecord, checks: Iterable[CheckEntry]) -> list[Stop]:
    found = []
    for check in checks:
        item = ITEMS.get((check.phase, check.item))
        if item is not None and check.number is not None:
            reason = stop_for(item, check.number, record.settings.limits, record.units)
            found += [Stop(check, reason)] if reason is not None else []
    return found


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


def why_ended(record: VisitRecord) -> Reason | None:
    """Why this store takes no more entries to a visit: it was opened by mistake, is signed off, or belongs to another
    store until then."""
    if record.sign_off is not None:
        return because(Waiting.SIGNED_OFF if record.mistaken is None else Waiting.MISTAKEN)
    if record.elsewhere is not None and record.elsewhere.away:
        return because(Waiting.ELSEWHERE, store=record.elsewhere.store)
    return None
