"""The snap test of a visit: which bores are blipped, what was read after, and what to do about lost motion."""

from functools import cache

from app.shop.assessment.verdicts import accepted_round
from app.shop.procedure.items import Item
from app.shop.procedure.left_out import values_of
from app.shop.procedure.phases import HEAT_SOAKED
from app.shop.procedure.requirements import Requirement
from app.shop.reasons import Reason, because
from app.shop.record.rounds import UNITS
from app.shop.record.visit_record import VisitRecord
from app.sync.readings.snap import BLIPS, Snap, snap, suspects


def slug_of(bore: int) -> str:
    """The item that keeps what a bore read after its blips."""
    return f"snap-{bore}"


def snap_items(record: VisitRecord) -> tuple[Item, ...]:
    """The readings after a blip, asked for once a closed round stands. They are missed only when that round is even."""
    if accepted_round(record, HEAT_SOAKED) is None:
        return ()
    meter = record.meter
    return tuple(_blip(bore, meter.unit, meter.low, meter.high) for bore in suspects(record.layout))


@cache
def _blip(bore: int, unit: str, low: float, high: float) -> Item:
    return Item(slug_of(bore), "number", unit, low, high, before_running=False, over_time=True, needed=())


def blips_of(record: VisitRecord, bore: int) -> list[float]:
    """The newest figures of a bore after its blips, with no plate moved since; as many as make the test."""
    rows = [c for c in record.all_checks if (c.phase, c.item) == (HEAT_SOAKED.slug, slug_of(bore))]
    return [
        c.number
        for c in rows
        if c.number is not None and c.ident not in record.taken_back and c.after_move >= record.last_idle_move
    ][-BLIPS:]


def found(record: VisitRecord, bore: int) -> Snap | None:
    """What the blips of a bore say; None before all of them were read."""
    one, blips = accepted_round(record, HEAT_SOAKED), blips_of(record, bore)
    read = values_of(record, one).get(bore) if one is not None else None
    if read is None or read.value is None or len(blips) < BLIPS:
        return None
    size = UNITS[record.meter.unit]
    return snap(record.layout, bore, read.value * size, [b * size for b in blips], record.meter_as_read())


def lacks_of(record: VisitRecord) -> tuple[tuple[str, Reason], ...]:
    """What the snap test still needs of an even engine: the item, and why."""
    lacks = []
    one = accepted_round(record, HEAT_SOAKED)
    for bore in suspects(record.layout):
        if one is None or bore not in values_of(record, one):
            continue  # skipped: nothing to set the blips against
        told = found(record, bore)
        if told is None:
            done = len(blips_of(record, bore))
            lacks.append((slug_of(bore), because(Requirement.SNAP_READ, bore=bore, done=done, wanted=BLIPS)))
        elif told.loose:
            lacks.append((slug_of(bore), _loose(record, told)))
    return tuple(lacks)


def _loose(record: VisitRecord, told: Snap) -> Reason:
    scatter, expected = round(100 * told.scatter, 1), round(100 * told.expected, 1)
    if told.coupler is None:
        bank = record.layout.bank_of(told.bore).name
        return because(Requirement.SNAP_LOOSE_BANK, bore=told.bore, scatter=scatter, expected=expected, bank=bank)
    near, far = told.coupler.near, told.coupler.far
    loose = Requirement.SNAP_LOOSE_COUPLER
    return because(loose, bore=told.bore, scatter=scatter, expected=expected, near=near, far=far)
