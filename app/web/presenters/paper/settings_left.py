"""How an engine is left, on paper: its settings and hardware, and when it is checked next."""

from calendar import monthrange
from datetime import datetime

from app.shop.procedure.phases import PHASES
from app.shop.record.visit_record import VisitRecord
from app.sync.engine.adjusters.registry import kind_of
from app.web.presenters.filters import day, figures, other_hardware
from app.wording.message import Message, say
from app.wording.office import paper
from app.wording.work.phases import item_figure

SETTINGS: tuple[tuple[Message, tuple[tuple[str, str, Message], ...]], ...] = (
    (paper.IDLE, (("lock-down", "idle", paper.IDLE_AT),)),
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
        paper.SENSOR,
        (("lock-down", "sensor-closed", paper.SENSOR_CLOSED), ("lock-down", "sensor-open", paper.SENSOR_OPEN)),
    ),
)
"""The settings line by line: a label, and the figures of which phase and item it gives."""


def settings(record: VisitRecord) -> tuple[tuple[str, str], ...]:
    items = {(p.slug, i.slug): i for p in PHASES for i in p.items}
    meter = record.meter
    lines = [(say(paper.METER), say(paper.METER_STEPS, meter=meter.name, step=meter.step, unit=meter.unit_name))]
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
        say(message, name=one.name, bores=" ".join(map(str, one.bores)), stop=one.stop, drive=one.drive)
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


def next_check(record: VisitRecord) -> str:
    """When the engine should come back, what would bring it back sooner, and the coupler to check first."""
    held, far = record.settings, record.units.of("distance")
    months = round(held.recheck_months)
    time = day(_later(record.sign_off.at, months)) if record.sign_off else say(paper.MONTHS_LATER, count=months)
    distance = say(paper.DISTANCE, value=float(far.shown(held.recheck_km)), unit=far.name)
    said = [say(paper.NEXT_CHECK, distance=distance, time=time), say(paper.COME_SOONER), say(paper.COME_AFTER_WORK)]
    resets = [m for m in record.moves if kind_of(m.kind).sits == "coupler"]
    if resets:
        said.append(say(paper.COUPLER_FIRST, near=resets[-1].near, far=resets[-1].far))
    return " ".join(said)


def _later(at: str, months: int) -> str:
    """A stored time so many months on; a day that month does not have becomes its last."""
    then = datetime.fromisoformat(at)
    year, month = divmod(then.year * 12 + then.month - 1 + months, 12)
    last = monthrange(year, month + 1)[1]
    return then.replace(year=year, month=month + 1, day=min(then.day, last)).isoformat()
