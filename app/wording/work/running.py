"""The words of the stop screen and of the list before a start."""

from app.shop.procedure.limits import ITEMS, Stop
from app.shop.record.measures import Units
from app.wording.message import Message
from app.wording.work.phases import item_figure, item_short

ROUND_VOID = Message("Round {round} was left open and is void. A new round begins with bore {bore}.")
HEAT_AGAIN = Message("Then read the gauges again, in the heat-soaked recheck.")


def stop_figure(stop: Stop, units: Units) -> tuple[str, str]:
    """What was read beyond a limit, and the figure with its unit."""
    name = item_short(stop.check.item)
    figure = item_figure(ITEMS[stop.check.phase, stop.check.item], stop.check.number or 0.0, units)
    return name[:1].upper() + name[1:], figure
