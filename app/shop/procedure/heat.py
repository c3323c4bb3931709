"""Heat soak: the temperatures recorded of a visit, judged by the shop's rule, and what is still missing."""

from dataclasses import dataclass
from functools import lru_cache

from app.shop.procedure.parts import temperatures_of
from app.shop.procedure.phases import HEAT_SOAKED
from app.shop.procedure.requirements import Requirement
from app.shop.reasons import Reason, because
from app.shop.record.measures import Amount, Measure
from app.shop.record.visit_record import VisitRecord
from app.sync.engine.units import MINUTE, ZERO_CELSIUS
from app.sync.readings.heat import Heat, HeatPoint, HeatRule, Lack, heat_soaked

GATE = "heat"
"""The name of the gate, in a waiver that opened it."""


_heat_soaked = lru_cache(maxsize=128)(heat_soaked)
"""The same figures are judged again with every reading that comes in."""


@dataclass(frozen=True, slots=True)
class HeatSoak:
    """How far an engine is heat-soaked: the looks at the gauges in the order of time, the ``time`` they cover [s], and
    what the fine round still waits for; nothing once the gate holds or was waived with a reason."""

    points: tuple[HeatPoint, ...]
    time: float
    lacks: tuple[Reason, ...]


def soak_of(record: VisitRecord) -> HeatSoak:
    """How far the engine is heat-soaked. Oil is asked for in the test cell only, where it has a gauge."""
    points, metal = _points(record), temperatures_of(record.layout)[0]
    heat = _heat_soaked(points, record.settings.heat, with_oil=record.visit.place == "test cell", metal=metal)
    return HeatSoak(points, heat.time, _lacks(record, heat))


def lacks_of(record: VisitRecord) -> tuple[Reason, ...]:
    """What the fine round still waits for."""
    return soak_of(record).lacks


def _points(record: VisitRecord) -> tuple[HeatPoint, ...]:
    read = {what: dict(record.series(HEAT_SOAKED.slug, what)) for what in temperatures_of(record.layout)}
    times = sorted({at for series in read.values() for at in series})
    return tuple(
        HeatPoint(at, **{what: series[at] + ZERO_CELSIUS for what, series in read.items() if at in series})
        for at in times
    )


def _lacks(record: VisitRecord, heat: Heat) -> tuple[Reason, ...]:
    if any(waiver.gate == GATE for waiver in record.overrides):
        return ()
    rule, wanted = record.settings.heat, record.settings.pulls
    degrees = record.units.of("temperature")
    lacks = [_reason(lack, rule, degrees) for lack in heat.lacks]
    pulls = record.checks.get((HEAT_SOAKED.slug, "pulls"))
    if wanted and (pulls is None or (pulls.number or 0) < wanted):
        lacks.append(because(Requirement.PULLS, count=round(wanted)))
    return tuple(lacks)


def _reason(lack: Lack, rule: HeatRule, degrees: Measure) -> Reason:
    match lack.why:
        case "time":
            return because(Requirement.HEAT_TIME, count=_minutes(lack.by))
        case "unread":
            return because(Requirement.HEAT_UNREAD, what=lack.what)
        case "low":
            return because(Requirement.HEAT_LOW, what=lack.what, by=Amount(lack.by, degrees, difference=True))
        case "short":
            return because(Requirement.HEAT_AGAIN, what=lack.what, count=_minutes(lack.by))
        case "moving":
            by = Amount(lack.by, degrees, difference=True)
            return because(Requirement.HEAT_MOVING, what=lack.what, by=by, count=_minutes(rule.steady_for))


def _minutes(seconds: float) -> int:
    return max(1, round(seconds / MINUTE))
