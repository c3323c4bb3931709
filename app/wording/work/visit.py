"""What a visit lists in words: what is still open on a checklist, what it wants next, and what a start does not bring
back."""

from app.shop.procedure.limits import ITEMS, Stop
from app.shop.record.measures import Units
from app.wording.message import Message, say
from app.wording.work.phases import item_figure, item_short

OPEN = Message("{count} open", context="checklist", note="Items that are not recorded yet.")
OPEN_REQUIRED = Message(
    "{count} open, {required} required\u00a0(*)", context="checklist", note="Required items cannot be waived."
)
ALL_RECORDED = Message("All recorded")
STILL_MISSING = Message("Still missing: {what}")

HELD = Message("Off or led away? Tick it, to get it back", context="checklist")
AT_START = Message("Start the engine, then at once", context="checklist")
PUT_BACK = Message("After the last round: put back and seen to work", context="checklist")
ADJUSTED_SINCE = Message("Adjusted since: check again")
STARTED_SINCE = Message("Engine stopped since: check again")
STOPPED_BY_IT = Message("Beyond the limit: read again")

SIGN_OFF = Message("Sign off")
STOPPED = Message("Engine stopped: reading outside shop limits")
READ_BORE = Message("Read bore {bore}")
READ_DRIFT_CHECK = Message("Read bore {bore} again (drift check)")

ROUND_VOID = Message("Round {round} was left open and is void. A new round begins with bore {bore}.")
HEAT_AGAIN = Message("Then read the gauges again, in the heat-soaked recheck.")


def items_open(count: int, required: int) -> str:
    """How many items of a checklist are not recorded yet, and how many of them cannot be waived."""
    if not count:
        return say(ALL_RECORDED)
    return say(OPEN_REQUIRED, count=count, required=required) if required else say(OPEN, count=count)


def stop_figure(stop: Stop, units: Units) -> tuple[str, str]:
    """What was read beyond a limit, and the figure with its unit."""
    name = item_short(stop.check.item)
    figure = item_figure(ITEMS[stop.check.phase, stop.check.item], stop.check.number or 0.0, units)
    return name[:1].upper() + name[1:], figure
