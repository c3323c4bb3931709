"""What instruments fill in by themselves: gauges once a minute and beyond a limit, and what is asked for once.

A help, not a protective device: where a channel shows nothing, nothing is filled in, and a person is asked as before.
"""

from collections.abc import Iterator, Mapping
from dataclasses import dataclass

from app.shop.procedure.heat import lacks_of
from app.shop.procedure.items import Item, Phase
from app.shop.procedure.limits import beyond, open_stops, stop_for
from app.shop.procedure.parts import temperatures_of
from app.shop.procedure.phases import FIRST_FIRE, HEAT_SOAKED, LOCK_DOWN, phase_named
from app.shop.procedure.running import counts, may_run, state_of, time_of
from app.shop.record.visit_record import AIR, VisitRecord
from app.sync.engine.units import MINUTE

RUNS = 0.5
"""Part of the wanted idle speed from which an engine runs; it coasts down through it in a second (our judgement)."""

PRESSURE_AFTER = 5.0
"""Seconds that an engine runs before its oil pressure is looked at: a pump has filled the passages by then (our
judgement)."""


AT_IDLE = 0.15
"""How far the speed may be from the wanted idle, as a fraction, for the pedal to count as released (our judgement)."""


@dataclass(frozen=True, slots=True)
class Gauges:
    """What instruments show now: ``figures`` by what they are at, in the unit of the item; the engine ``speed``
    [rev/s], None where no channel tells it, and for how long the engine has run by it [s]."""

    figures: Mapping[str, float]
    speed: float | None = None
    ran_for: float = 0.0


@dataclass(frozen=True, slots=True)
class Due:
    """One figure to record; ``beyond`` a limit of the shop, it is kept whatever its phase still lacks."""

    phase: str
    item: str
    number: float
    beyond: bool


def due_of(record: VisitRecord, gauges: Gauges) -> tuple[Due, ...]:
    """What is to be recorded now of what the gauges show; nothing while a stop is open, or once signed off.

    That a figure came back within its limit is recorded once a person ended the stop: before, it would end it.
    """
    if record.sign_off is not None or open_stops(record):
        return ()
    found = (
        *_temperatures(record, gauges),
        *_oil_pressure(record, gauges),
        *_air(record, gauges),
        *_throttle_sensor(record, gauges),
    )
    return tuple(one for one in found if _in_range(one))


def turns(record: VisitRecord, gauges: Gauges) -> bool:
    """Whether the engine runs: by its speed, or where no channel tells that, by what was recorded."""
    return may_run(record) if gauges.speed is None else gauges.speed >= RUNS * record.engine.idle_speed


def _temperatures(record: VisitRecord, gauges: Gauges) -> Iterator[Due]:
    if not turns(record, gauges):
        return
    for what in temperatures_of(record.layout):
        if what in gauges.figures:
            number = round(gauges.figures[what], 1)
            crossed = _beyond(record, HEAT_SOAKED, what, number)
            series = record.series(HEAT_SOAKED.slug, what)
            old = not series or time_of(record) - series[-1][0] >= MINUTE or _came_back(record, what, number)
            if crossed or (old and state_of(record).stands is None):
                yield Due(HEAT_SOAKED.slug, what, number, crossed)


def _oil_pressure(record: VisitRecord, gauges: Gauges) -> Iterator[Due]:
    """The oil pressure at the start, once hot, and whenever it is too low; by a speed that a channel tells alone, as an
    engine that stands has none."""
    told = "oil-pressure" in gauges.figures and gauges.speed is not None
    if not told or not turns(record, gauges) or gauges.ran_for < PRESSURE_AFTER:
        return
    number = round(gauges.figures["oil-pressure"], 1)
    at_start = record.checks.get((FIRST_FIRE.slug, "oil-pressure"))
    if at_start is None or not counts(record, at_start):
        yield Due(FIRST_FIRE.slug, "oil-pressure", number, _beyond(record, FIRST_FIRE, "oil-pressure", number))
        return
    crossed = _beyond(record, HEAT_SOAKED, "oil-pressure-hot", number)
    unread = (HEAT_SOAKED.slug, "oil-pressure-hot") not in record.checks and not lacks_of(record)
    if crossed or unread or _came_back(record, "oil-pressure-hot", number):
        yield Due(HEAT_SOAKED.slug, "oil-pressure-hot", number, crossed)


def _air(record: VisitRecord, gauges: Gauges) -> Iterator[Due]:
    """The day's air, once."""
    for what in AIR:
        if what in gauges.figures and (HEAT_SOAKED.slug, what) not in record.checks:
            yield Due(HEAT_SOAKED.slug, what, round(gauges.figures[what], 1), False)


def _throttle_sensor(record: VisitRecord, gauges: Gauges) -> Iterator[Due]:
    """What the throttle sensor shows at rest, once, when lock-down is under way: a speed about idle says that the pedal
    is released. Where the plates stand with the engine off no channel tells: a person takes those."""
    told = gauges.speed is not None and "throttle-sensor" in gauges.figures
    locks = record.layout.sensor is not None and any(phase == LOCK_DOWN.slug for phase, _ in record.checks)
    if not told or not locks or (LOCK_DOWN.slug, "sensor-closed") in record.checks:
        return
    wanted = record.engine.idle_speed
    if gauges.ran_for >= PRESSURE_AFTER and abs((gauges.speed or 0.0) - wanted) <= AT_IDLE * wanted:
        yield Due(LOCK_DOWN.slug, "sensor-closed", round(gauges.figures["throttle-sensor"], 2), False)


def _item(phase: Phase, slug: str) -> Item:
    return next(item for item in phase.items if item.slug == slug)


def _beyond(record: VisitRecord, phase: Phase, slug: str, number: float) -> bool:
    return stop_for(_item(phase, slug), number, record.settings.limits) is not None


def _came_back(record: VisitRecord, slug: str, number: float) -> bool:
    """Whether a figure is within its limit whose newest row was beyond it."""
    newest = record.checks.get((HEAT_SOAKED.slug, slug))
    within = not _beyond(record, HEAT_SOAKED, slug, number)
    return newest is not None and newest.number is not None and within and beyond(record, newest)


def _in_range(one: Due) -> bool:
    item = _item(phase_named(one.phase), one.item)
    return item.low <= one.number <= item.high
