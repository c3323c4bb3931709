"""Figures that one tap fills in beside a box: what the shop or the page advises, and what is likely.

Nothing is offered of what stops the engine or says how warm it is: that is looked at and typed.
"""

from app.shop.assessment.assessment import PhaseAssessment
from app.shop.procedure.items import Item
from app.shop.record.measures import Units
from app.shop.record.visit_record import VisitRecord
from app.sync.engine.units import THOU
from app.web.presenters.drawing import shown

SNAP = "snap-"
PARTS = 16
"""Parts of a turn that the preset is told in."""


def offers(judged: PhaseAssessment, item: Item, units: Units) -> tuple[str, ...]:
    """The figures offered for an item, as they are typed in these units."""
    if item.kind != "number" or item.stops:
        return ()
    if item.slug.startswith(SNAP):
        return tuple(shown(value, judged.record.meter) for value in _figures(judged, item))
    return tuple(item.shown(figure, units) for figure in _figures(judged, item))


def _figures(judged: PhaseAssessment, item: Item) -> tuple[float, ...]:
    """Figures in the unit of the item."""
    record = judged.record
    if item.offers:
        return item.offers
    if item.slug == "base-blade":
        return (round(record.settings.base_blade / THOU, 3),)
    if item.slug == "preset-turns":
        return (round(judged.preset.turns * PARTS) / PARTS,) if judged.preset is not None else ()
    if item.slug == "pulls":
        return (record.settings.pulls,)
    if item.slug.startswith(SNAP):
        return _about_last(record, int(item.slug.removeprefix(SNAP)))
    return _before(record, judged.phase.slug, item)


def _about_last(record: VisitRecord, bore: int) -> tuple[float, ...]:
    """What a bore read last, with a step of the meter either way."""
    values = [one.latest[bore].value for one in record.rounds if bore in one.latest]
    if not values or not (last := values[-1]):
        return ()
    step = record.meter.step
    return tuple(figure for figure in (last - step, last, last + step) if figure > 0)


def _before(record: VisitRecord, phase: str, item: Item) -> tuple[float, ...]:
    """What the same item said in an earlier phase of the visit."""
    said = (c.number for (slug, name), c in record.checks.items() if name == item.slug and slug != phase)
    return tuple(number for number in said if number is not None)[:1]
