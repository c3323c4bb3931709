"""What a visit lists in words: what is still open on a checklist, and what it wants next."""

from app.wording.message import Message, say

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


def items_open(count: int, required: int) -> str:
    """How many items of a checklist are not recorded yet, and how many of them cannot be waived."""
    if not count:
        return say(ALL_RECORDED)
    return say(OPEN_REQUIRED, count=count, required=required) if required else say(OPEN, count=count)
