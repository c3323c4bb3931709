"""Heat soak: the temperatures recorded of a visit, judged by the shop's rule, and what is still missing."""

import math
from dataclasses import dataclass
from functools import lru_cache

from app.shop.procedure.parts import temperatures_of
from app.shop.procedure.phases import FAN_STATES, HEAT_SOAKED
from app.shop.procedure.requirements import Requirement
from app.shop.procedure.running import state_of, time_of
from app.shop.reasons import Reason, because
from app.shop.record.entries import WaiverEntry
from app.shop.record.measures import Amount, Measure
from app.shop.record.rounds import seconds
from app.shop.record.visit_record import VisitRecord
from app.sync.engine.units import MINUTE, ZERO_CELSIUS
from app.sync.readings.heat import Heat, HeatPoint, HeatRule, Lack, heat_soaked

GATE = "heat"
"""The name of the gate, in a waiver that opened it."""


FANS = "fans"
"""The item that tells what the cooling fans do."""

CYCLING = FAN_STATES.index("cycling")  # by definition

_heat_soaked = lru_cache(maxsize=128)(heat_soaked)
"""The same figures are judged again with every reading that comes in."""


@dataclass(frozen=True, slots=True)
class HeatSoak:
    """How far an engine is heat-soaked: every look at the gauges in the order of time, the ``time`` [s] covered
    by those that count, and what the fine round waits for; nothing once the gate holds or was waived with a reason."""

    points: tuple[HeatPoint, ...]
    time: float
    lacks: tuple[Reason, ...]


@lru_cache(maxsize=16)
def soak_of(record: VisitRecord) -> HeatSoak:
    """How far the engine is heat-soaked. Oil is asked for in the test cell only, where it has a gauge."""
    points = _points(record, _since(record))
    heat = _judged(record, points)
    return HeatSoak(_points(record, EVER), heat.time, _lacks(record, heat))


def lacks_of(record: VisitRecord) -> tuple[Reason, ...]:
    """What the fine round still waits for."""
    return soak_of(record).lacks


def was_soaked(record: VisitRecord) -> bool:
    """Whether the engine was heat-soaked at any time of the visit, or the gate was opened for a reason."""
    heat = _judged(record, _points(record, EVER))
    return any(waiver.gate == GATE for waiver in record.overrides) or not (heat.lacks or _lacks_of_pulls(record))


def _judged(record: VisitRecord, points: tuple[HeatPoint, ...]) -> Heat:
    fans, metal = record.checks.get((HEAT_SOAKED.slug, FANS)), temperatures_of(record.layout)[0]
    cycling = fans is not None and fans.number == CYCLING
    return _heat_soaked(points, record.settings.heat, record.visit.place == "test cell", metal, cycling)


def in_this_run(record: VisitRecord, waiver: WaiverEntry) -> bool:
    """Whether what was waived was so for the engine as it runs now: it was not off since."""
    off = state_of(record).off
    return off is None or seconds(waiver.at) >= off.at


EVER = (0, -math.inf)
"""Since when figures count where nothing runs out: the check and the time [s] (by definition)."""


def _since(record: VisitRecord) -> tuple[int, float]:
    """The check and the time [s] after which figures tell of the engine as hot as it is: it did not cool since."""
    state = state_of(record)
    off = state.off if state.stands is not None else None
    if off is not None and not 0 <= time_of(record) - off.at <= record.settings.pause:
        return off.check, math.inf
    return (state.cold.after_check, seconds(state.cold.at)) if state.cold is not None else EVER


def _points(record: VisitRecord, since: tuple[int, float]) -> tuple[HeatPoint, ...]:
    read = {what: dict(record.series(HEAT_SOAKED.slug, what, since)) for what in temperatures_of(record.layout)}
    times = sorted({at for series in read.values() for at in series})
    return tuple(
        [
            HeatPoint(at, **{what: series[at] + ZERO_CELSIUS for what, series in read.items() if at in series})
            for at in times
        ]
    )


def _lacks(record: VisitRecord, heat: Heat) -> tuple[Reason, ...]:
    if any(waiver.gate == GATE and in_this_run(record, waiver) for waiver in record.overrides):
        return ()
    degrees = record.units.of("temperature")
    lacks = [_reason(lack, record.settings.heat, degrees) for lack in heat.lacks]
    return (*(lacks or _look_again(record)), *_lacks_of_pulls(record))


def _look_again(record: VisitRecord) -> list[Reason]:
    """A look at the gauges that is wanted of an engine that was hot: since it was started again, or after some time."""
    if record.simulated:
        return []
    what, start = temperatures_of(record.layout)[0], state_of(record).start
    looks = record.series(HEAT_SOAKED.slug, what)
    if start is not None and not record.series(HEAT_SOAKED.slug, what, (start.after_check, seconds(start.at))):
        return [because(Requirement.HEAT_SINCE_START, what=what)]
    age = time_of(record) - looks[-1][0] if looks else 0.0
    return [because(Requirement.HEAT_OLD, what=what, count=_minutes(age))] if age > record.settings.heat.lasts else []


def _lacks_of_pulls(record: VisitRecord) -> list[Reason]:
    lacks, wanted = [], record.settings.pulls
    pulls = record.checks.get((HEAT_SOAKED.slug, "pulls"))
    if wanted and (pulls is None or (pulls.number or 0) < wanted):
        lacks.append(because(Requirement.PULLS, count=round(wanted)))
    return lacks


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
        case "cycle":
            return because(Requirement.HEAT_CYCLE, what=lack.what)
        case "rising":
            return because(Requirement.HEAT_RISING, what=lack.what, by=Amount(lack.by, degrees, difference=True))
        case "moving":
            by = Amount(lack.by, degrees, difference=True)
            return because(Requirement.HEAT_MOVING, what=lack.what, by=by, count=_minutes(rule.steady_for))


def _minutes(seconds: float) -> int:
    return max(1, round(seconds / MINUTE))
