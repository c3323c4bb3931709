"""Heat soak: the temperatures recorded of a visit, judged by the shop's rule, and what is still wanted in words."""

from functools import lru_cache

from app.shop.procedure.phases import HEAT_SOAKED
from app.shop.record.measures import Measure
from app.shop.record.visit_record import VisitRecord
from app.sync.engine.units import MINUTE, ZERO_CELSIUS
from app.sync.readings.heat import Heat, HeatPoint, HeatRule, Lack, heat_soaked

GATE = "heat"
"""The name of the gate, in an override that opened it."""


_heat_soaked = lru_cache(maxsize=128)(heat_soaked)
"""The same figures are judged again with every reading that comes in."""


def points_of(record: VisitRecord) -> tuple[HeatPoint, ...]:
    """The looks at the gauges in the order of time."""
    coolant, oil = (dict(record.series(HEAT_SOAKED.slug, item)) for item in ("coolant", "oil"))
    return tuple(
        HeatPoint(at, *(one[at] + ZERO_CELSIUS if at in one else None for one in (coolant, oil)))
        for at in sorted(coolant.keys() | oil.keys())
    )


def heat_of(record: VisitRecord) -> Heat:
    """Whether the engine is hot right through. Oil is asked for in the test cell only, where it has a gauge."""
    return _heat_soaked(points_of(record), record.settings.heat, with_oil=record.visit.place == "test cell")


def lacks_of(record: VisitRecord) -> tuple[str, ...]:
    """What the fine round still waits for, in words; empty once the gate holds or was opened for a reason."""
    if any(o.gate == GATE for o in record.overrides):
        return ()
    rule, wanted = record.settings.heat, record.settings.pulls
    degrees = record.units.of("temperature")
    said = [_words(lack, rule, degrees) for lack in heat_of(record).lacks]
    pulls = record.checks.get((HEAT_SOAKED.slug, "pulls"))
    if wanted and (pulls is None or (pulls.number or 0) < wanted):
        said.append(f"{wanted:g} short pulls made")
    return tuple(said)


def _words(lack: Lack, rule: HeatRule, degrees: Measure) -> str:
    what = lack.what or ""
    match lack.why:
        case "time":
            return f"{_minutes(lack.by)} more of running"
        case "unread":
            return f"{what} temperature read"
        case "low":
            return f"{what} {degrees.apart(lack.by)} hotter"
        case "short":
            return f"{what} read again in {_minutes(lack.by)}"
        case "moving":
            return f"{what} steady: it moved {degrees.apart(lack.by)} in the last {_minutes(rule.steady_for)}"


def _minutes(seconds: float) -> str:
    whole = max(1, round(seconds / MINUTE))
    return f"{whole} minute{'' if whole == 1 else 's'}"
