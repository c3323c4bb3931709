"""What slipped since the engine was left, as far as it bears on the first move of a visit."""

from app.shop.assessment.tightening import compared, read_hot
from app.shop.record.visit_record import VisitRecord
from app.sync.engine.layout import Adjuster
from app.sync.slips.slip_detection import Bore

LIKELY_FROM = 0.5
"""Chance of having slipped from which an adjuster is moved first, where a move of it pays (our judgement)."""


def suspect_of(record: VisitRecord) -> Adjuster | None:
    """The adjuster that most likely slipped since the engine was last left; None where none is likely.

    None once something was moved in this visit, with a meter of another quantity, and for another layout.
    """
    before = record.before
    if before is None or record.moves or before.layout != record.layout:
        return None
    was, now = read_hot(before), read_hot(record)
    if not was or not now or before.meter.quantity != record.meter.quantity:
        return None
    odds = compared(record.layout, was, now, record.meter_as_read(), before.meter_as_read()).odds
    suspect = max(odds, key=lambda one: odds[one], default=None)
    if suspect is None or isinstance(suspect, Bore) or odds[suspect] < LIKELY_FROM:
        return None
    return suspect
