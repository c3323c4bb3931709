"""What was unplugged, held, removed or led away for the work, and the items that ask for it back.

One declaration says both: ``Item.puts_back`` of the item that asks, by the slug of the one that holds.
"""

from app.shop.procedure.items import Item
from app.shop.procedure.phases import PHASES
from app.shop.record.visit_record import VisitRecord

BACK = {item.puts_back: item for phase in PHASES for item in phase.items if item.puts_back}
"""The item that asks for a thing back, by the slug of the one that holds it."""


def without_what_was_not_held(record: VisitRecord, items: tuple[Item, ...]) -> tuple[Item, ...]:
    """The items of a phase less those that ask for something back that was not ticked as held."""
    told = [slug for _, slug in record.checks]
    return tuple([item for item in items if not item.puts_back or item.puts_back in told])


def seen_to_work(record: VisitRecord) -> tuple[Item, ...]:
    """The items that tell what was put back, in their order."""
    told = {slug for _, slug in record.checks}
    return tuple(item for item in BACK.values() if item.slug in told)
