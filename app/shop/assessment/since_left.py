"""What slipped since the engine was left, as far as it bears on the first move of a visit."""

from app.shop.assessment.tightening import Values, compared
from app.shop.record.visit_record import Round, VisitRecord
from app.sync.engine.layout import Adjuster
from app.sync.slips.slip_detection import Bore


def suspect_of(record: VisitRecord) -> Adjuster | None:
    """The adjuster that slipped since the engine was last left, where the round as found names one.

    None once something was moved in this visit, with a meter of another quantity, and for another layout.
    """
    before, found = record.before, record.as_found()
    left = before.as_left() if before is not None else None
    if before is None or left is None or found is None or record.moves:
        return None
    if before.meter.quantity != record.meter.quantity or before.layout != record.layout:
        return None
    was, now = _values(before, left), _values(record, found)
    if not was or not now:
        return None
    named = compared(record.layout, was, now, record.meter_as_read()).named
    return named.suspect if named is not None and not isinstance(named.suspect, Bore) else None


def _values(record: VisitRecord, one: Round) -> Values:
    values: dict[int, list[float]] = {}
    for reading in record.as_read(one):
        if reading.value > 0:
            values.setdefault(reading.bore, []).append(reading.value)
    return tuple((bore, tuple(those)) for bore, those in values.items())
