"""How an engine is left, on paper: its settings and hardware, and when it is checked next."""

from calendar import monthrange
from collections.abc import Mapping
from dataclasses import dataclass
from datetime import datetime

from app.shop.procedure.phases import LOCK_DOWN, PHASES
from app.shop.record.visit_record import VisitRecord
from app.sync.engine.adjusters.registry import kind_of
from app.web.presenters.filters import day, figures, other_hardware
from app.wording.message import Message, say
from app.wording.office import handover, paper
from app.wording.work.phases import item_figure

SETTINGS: tuple[tuple[Message, tuple[tuple[str, str, Message], ...]], ...] = (
    (paper.IDLE, (("lock-down", "idle", paper.IDLE_AT), ("heat-soaked-recheck", "idle-speed", paper.IDLE_HOT))),
    (
        paper.PRESET,
        (("cold-preset", "base-blade", paper.FEELER), ("cold-preset", "preset-turns", paper.TURNED_IN)),
    ),
    (
        paper.HEAT,
        (
            ("heat-soaked-recheck", "coolant", paper.COOLANT),
            ("heat-soaked-recheck", "head", paper.HEAD),
            ("heat-soaked-recheck", "oil", paper.OIL),
        ),
    ),
    (
        paper.AIR,
        (
            ("heat-soaked-recheck", "air-pressure", paper.IDLE_AT),
            ("heat-soaked-recheck", "air-temperature", paper.IDLE_AT),
        ),
    ),
    (paper.FANS, (("heat-soaked-recheck", "fans", paper.IDLE_AT),)),
    (
        paper.SENSOR,
        (("lock-down", "sensor-closed", paper.SENSOR_CLOSED), ("lock-down", "sensor-open", paper.SENSOR_OPEN)),
    ),
)
"""The settings line by line: a label, and the figures of which phase and item it gives."""


def settings(record: VisitRecord) -> tuple[tuple[str, str], ...]:
    items = {(p.slug, i.slug): i for p in PHASES for i in p.items}
    lines = []
    for label, figures_of in SETTINGS:
        said = []
        for phase, item, message in figures_of:
            check = record.checks.get((phase, item))
            if check is not None and check.number is not None:
                figure = item_figure(items[phase, item], check.number, record.units)
                said.append(say(message, figure=figure))
        if said:
            lines.append((say(label), ", ".join(said)))
    return tuple(lines)


def hardware(record: VisitRecord) -> str:
    """The hardware in a few sentences: the banks, what is unusual, and which figures were measured."""
    layout = record.layout
    alone, several = paper.HARDWARE_ONE_BANK, paper.HARDWARE_BANK
    if layout.electronic:
        alone, several = paper.HARDWARE_BORES, paper.HARDWARE_BANK_OF_MOTORS
    message = several if len(layout.banks) > 1 else alone
    said = [
        say(
            message,
            name=one.name,
            count=len(one.bores),
            bores=" ".join(map(str, one.bores)),
            stop=one.stop,
            drive=one.drive,
        )
        for one in layout.banks
    ]
    if layout.sensor is not None:
        said.append(say(paper.HARDWARE_SENSOR, bore=layout.sensor))
    if layout.springless:
        springless = " ".join(map(str, sorted(layout.springless)))
        said.append(say(paper.HARDWARE_SPRINGLESS, count=len(layout.springless), bores=springless))
    if parts := other_hardware(layout):
        said.append(say(paper.HARDWARE_OTHER, parts=parts))
    return " ".join([*said, _measured(record)])


def _measured(record: VisitRecord) -> str:
    """Which hardware figures were measured; the others are estimates."""
    known = figures(record.hardware, record.layout)
    measured = [say(paper.MEASURED_FIGURE, name=name.lower(), value=value) for name, value, seen in known if seen]
    if not measured:
        return say(paper.HARDWARE_ESTIMATED)
    all_measured = len(measured) == len(known)
    message = paper.HARDWARE_MEASURED if all_measured else paper.HARDWARE_PARTLY_MEASURED
    return say(message, figures=", ".join(measured))


COUNTERS = ("odometer", "hours")
"""The items of the lock-down that say how far an engine has come."""


@dataclass(frozen=True, slots=True)
class NextCheck:
    """When an engine comes back: ``when``, with the coupler to look at first, and what brings it back ``sooner``."""

    when: str
    sooner: tuple[str, ...]


def next_check(record: VisitRecord) -> NextCheck:
    """When the engine should come back, by what counts how far it has come: read at this visit, or at one before."""
    months = round(record.settings.recheck_months)
    time = day(_later(record.sign_off.at, months)) if record.sign_off else say(paper.MONTHS_LATER, count=months)
    read = {item: number for item in COUNTERS if (number := _counted(record, item)) is not None}
    if read:
        reading = _either(record, {item: number + _interval(record, item) for item, number in read.items()})
        said = [say(handover.AFTER_READING, reading=reading, time=time)]
    else:
        before = [item for item in COUNTERS if any(_counted(one, item) is not None for one in record.back())]
        away = before or (COUNTERS if record.visit.place == "test cell" else COUNTERS[:1])
        distance = _either(record, {item: _interval(record, item) for item in away})
        said = [say(handover.AFTER_ANOTHER, distance=distance, time=time)]
    resets = [m for m in record.moves if kind_of(m.kind).sits == "coupler"]
    if resets:
        said.append(say(paper.COUPLER_FIRST, near=resets[-1].near, far=resets[-1].far))
    return NextCheck(" ".join(said), tuple(map(say, handover.SOONER)))


def read_at(record: VisitRecord) -> str:
    """What the odometer or the hour meter showed at a visit; empty where neither was recorded."""
    read = {item: number for item in COUNTERS if (number := _counted(record, item)) is not None}
    return _either(record, read) if read else ""


def _counted(record: VisitRecord, item: str) -> float | None:
    check = record.checks.get((LOCK_DOWN.slug, item))
    return check.number if check is not None else None


def _interval(record: VisitRecord, item: str) -> float:
    return record.settings.recheck_km if item == "odometer" else record.settings.recheck_hours


def _either(record: VisitRecord, figures_of: Mapping[str, float]) -> str:
    """A distance [km], running hours, or both, as a person reads them."""
    said = []
    for item, number in figures_of.items():
        far = record.units.of("distance")
        distance = say(paper.DISTANCE, value=float(far.shown(number)), unit=far.name)
        said.append(distance if item == "odometer" else say(handover.HOURS, value=number))
    return said[0] if len(said) == 1 else say(handover.EITHER, distance=said[0], hours=said[1])


def _later(at: str, months: int) -> str:
    """A stored time so many months on; a day that month does not have becomes its last."""
    then = datetime.fromisoformat(at)
    year, month = divmod(then.year * 12 + then.month - 1 + months, 12)
    last = monthrange(year, month + 1)[1]
    return then.replace(year=year, month=month + 1, day=min(then.day, last)).isoformat()
